"""One scan of everything: each row of each file is accounted for, and each guess stands on the point's page."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.end_to_end.conftest import run_command


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("account")
    random = np.random.default_rng(6)
    time = pl.datetime_range(pl.datetime(2026, 5, 1), pl.datetime(2026, 5, 3), "1m", eager=True)
    lines = [
        f"{w};{p:.2f};{t:.1f}"
        for w, p, t in zip(
            time.dt.strftime("%Y-%m-%d %H:%M:%S"),
            7.1 + 0.03 * random.standard_normal(time.len()),
            25 + 0.3 * random.standard_normal(time.len()),
            strict=True,
        )
    ]
    rows = ["time;AI-7.PV;AI-7.TEMP", *lines, lines[0], "not a time;7.1;25.0"]
    (folder / "export.csv").write_text("\n".join(rows) + "\n")
    (folder / "log.csv").write_text(
        "date,point,serial,action,slope [%],zero [pH]\n2026-05-01 08:00,AI-7,S1,calibration,98,7.0\nnever,AI-7,S1,calibration,97,7.0\n"
    )
    (folder / "lab.csv").write_text(
        "sample date,point,result,unit\n2026-05-02 08:00,AI-7,7.1,pH\n2026-05-02 09:00,AI-7,lost,pH\n"
    )
    out = folder / "out"
    run = run_command("scan", folder / "export.csv", folder / "log.csv", folder / "lab.csv", "--out", out)
    assert run.status in (0, 1), run.err
    return run.out, out


def test_rows_of_exports_logs_and_samples_add_up_in_print_and_in_run_json(done: tuple[str, Path]) -> None:
    printed, out = done
    run = json.loads((out / "run.json").read_text())
    rows, listed = run["rows"], run["list_rows"]
    assert rows["read"] == rows["used"] + rows["duplicates"] + rows["conflicts"] + rows["refused"]
    assert (rows["duplicates"], rows["refused"]) == (2, 2)
    assert listed == {"read": 4, "used": 2, "refused": 2}
    assert "Rows of logs and samples: 4 read = 2 used + 2 refused (refused.csv says why)" in printed


def test_refused_rows_stand_with_file_line_text_and_reason(done: tuple[str, Path]) -> None:
    refused = pl.read_csv(done[1] / "refused.csv")
    found = {(Path(file).name, line) for file, line in refused.select("file", "line").iter_rows()}
    assert found == {("export.csv", 2884), ("log.csv", 3), ("lab.csv", 3)}
    assert refused.filter(pl.col("text").is_null() | pl.col("reason").is_null()).is_empty()


def test_every_guess_about_a_point_is_on_its_page_and_in_run_json(done: tuple[str, Path]) -> None:
    out = done[1]
    (page,) = (out / "points").glob("*.html")
    text = html.unescape(
        re.sub(r"<[^>]+>", "", page.read_text())
    )  # names are held together by an element of their own
    inferred = [row["what"] for row in json.loads((out / "run.json").read_text())["inferences"]]
    for start in ("measurand:", "temperature:", "unit:", "heat ratings", "times"):
        mine = [what for what in inferred if what.startswith(start)]
        assert mine, start
        shown = mine[0].split(" °C")[0]
        assert shown in text, start
