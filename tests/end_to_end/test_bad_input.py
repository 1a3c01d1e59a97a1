"""Bad input gives a sentence that mends it, never a traceback; the rest goes on."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.end_to_end.conftest import run_command


def good_export(path: Path, *, tag: str = "AT-1.PV") -> Path:
    """Two days of a quiet pH point and its temperature, one sample a minute."""
    random = np.random.default_rng(5)
    time = pl.datetime_range(
        pl.datetime(2026, 5, 1), pl.datetime(2026, 5, 3), "1m", eager=True, time_zone="UTC"
    )
    pl.DataFrame(
        {
            "time": time.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            tag: (7.1 + 0.02 * random.standard_normal(time.len())).round(3),
            tag.replace("PV", "TEMP"): (25 + 0.1 * random.standard_normal(time.len())).round(2),
        }
    ).write_csv(path)
    return path


HOPELESS = {
    "empty.csv": b"",
    "binary.csv": bytes(range(256)) * 40,
    "header_only.csv": b"tag,time,value\n",
    "no_time.csv": b"a,b\n1,2\n3,4\n",
    "bad_dates.csv": b"tag,time,value\nAT-1,yesterday,7.0\nAT-1,tomorrow,7.1\n",
}


@pytest.mark.parametrize("name", HOPELESS)
def test_a_hopeless_file_alone_is_named_and_ends_with_status_2(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(HOPELESS[name])
    done = run_command("scan", path, "--out", tmp_path / "out")
    assert done.status == 2
    assert "Traceback" not in done.out + done.err
    assert name in done.err
    assert "expected" in done.err
    assert not (tmp_path / "out" / "index.html").exists()


@pytest.mark.parametrize("name", HOPELESS)
def test_a_hopeless_file_does_not_stop_a_good_one(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(HOPELESS[name])
    done = run_command("scan", good_export(tmp_path / "good.csv"), tmp_path / name, "--out", tmp_path / "out")
    assert done.status in (0, 1)
    assert "Traceback" not in done.out + done.err
    assert name in done.err
    assert (tmp_path / "out" / "index.html").is_file()


def test_text_in_the_value_column_is_counted_and_the_rest_used(tmp_path: Path) -> None:
    path = good_export(tmp_path / "good.csv")
    lines = path.read_text().splitlines()
    lines[100] = "2026-05-01T01:39:00Z,Bad,25.0"
    lines[200] = "not a time,7.1,25.0"
    path.write_text("\n".join(lines) + "\n")
    done = run_command("scan", path, "--out", tmp_path / "out")
    assert done.status in (0, 1), done.err
    run = json.loads((tmp_path / "out/run.json").read_text())
    assert any(row["word"] == "Bad" and row["count"] == 1 for row in run["status_words"])
    refused = pl.read_csv(tmp_path / "out/refused.csv")
    assert refused["line"].to_list() == [201]
    assert "refused.csv" in done.out


def test_an_unknown_tag_in_the_register_is_named_with_the_nearest(tmp_path: Path) -> None:
    register = tmp_path / "plant.toml"
    register.write_text(
        '[[point]]\nname = "AT-1"\nmeasurand = "ph"\nvalue = "AT-1.PB"\ntemperature = "AT-1.TEMP"\n'
    )
    done = run_command(
        "scan", good_export(tmp_path / "good.csv"), "--register", register, "--out", tmp_path / "out"
    )
    assert done.status in (0, 1)
    assert "AT-1.PB" in done.err
    assert "AT-1.PV" in done.err
    assert "line 4" in done.err


def test_every_fault_of_a_register_comes_at_once(tmp_path: Path) -> None:
    register = tmp_path / "plant.toml"
    register.write_text(
        '[[point]]\nname = "AT-1"\nmeasurand = "phh"\nvalue = "AT-1.PV"\ntolerance = "much"\n'
    )
    done = run_command(
        "scan", good_export(tmp_path / "good.csv"), "--register", register, "--out", tmp_path / "out"
    )
    assert done.status == 2
    assert "line 3" in done.err
    assert "line 5" in done.err
    assert "Traceback" not in done.err


def test_a_calibration_of_an_unknown_probe_is_named_and_kept(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("date,point,serial,slope [%],zero point\n2026-05-02 10:00,AT-9,X-1,98.2,7.01\n")
    done = run_command(
        "scan", good_export(tmp_path / "good.csv"), "--calibrations", log, "--out", tmp_path / "out"
    )
    assert done.status in (0, 1)
    assert "AT-9" in done.err or "X-1" in done.err
    assert "line 2" in done.err


def test_names_are_harmless_everywhere(tmp_path: Path) -> None:
    hostile = '=cmd()<script>alert(1)</script>/../..\\"PV'
    frame = pl.read_csv(good_export(tmp_path / "good.csv"))
    frame.rename({"AT-1.PV": hostile}).write_csv(tmp_path / "good.csv")
    done = run_command("scan", tmp_path / "good.csv", "--out", tmp_path / "out")
    assert done.status in (0, 1), done.err
    for page in (tmp_path / "out").rglob("*.html"):
        assert "<script>alert(1)" not in page.read_text()
        assert page.resolve().is_relative_to((tmp_path / "out").resolve())
    for line in (tmp_path / "out/tables/points.csv").read_text().splitlines()[1:]:
        assert not line.lstrip('"').startswith(("=", "+", "-", "@"))


@pytest.mark.parametrize(
    "arguments", [("scan",), ("scan", "nowhere.csv"), ("scan", ".", "--tz", "Mars/Base"), ("scann", ".")]
)
def test_wrong_usage_ends_with_status_2(arguments: tuple[str, ...], tmp_path: Path) -> None:
    done = run_command(*arguments, cwd=tmp_path)
    assert done.status == 2
    assert "Traceback" not in done.out + done.err


def test_an_export_alone_says_what_it_inferred(tmp_path: Path) -> None:
    done = run_command("scan", good_export(tmp_path / "good.csv"), "--out", tmp_path / "out")
    assert done.status == 0, done.out
    decisions = pl.read_csv(tmp_path / "out/tables/decisions.csv")
    assert decisions.filter(pl.col("what").str.contains("pH")).height > 0
    points = pl.read_csv(tmp_path / "out/tables/points.csv")
    assert points.height == 1


def test_register_is_written_and_read_back(tmp_path: Path) -> None:
    export = good_export(tmp_path / "good.csv")
    done = run_command("register", export, "--out", tmp_path / "plant.toml")
    assert done.status == 0, done.err
    text = (tmp_path / "plant.toml").read_text()
    assert "AT-1.PV" in text
    assert "#" in text
    again = run_command("scan", export, "--register", tmp_path / "plant.toml", "--out", tmp_path / "out")
    assert again.status == 0, again.err


def test_samples_that_cannot_be_placed_are_named(tmp_path: Path) -> None:
    export = good_export(tmp_path / "good.csv")
    samples = tmp_path / "lab_samples.csv"
    rows = ["point,time,value,unit", "AT-1.PV,2026-05-01 10:00,7.1,pH", "AT-9,2026-05-01 10:00,7.1,pH",
            "AT-1.PV,2026-05-02 10:00,7.1,furlong"]  # fmt: skip
    samples.write_text("\n".join(rows) + "\n")
    done = run_command("scan", export, "--samples", samples, "--out", tmp_path / "out")
    assert done.status in (0, 1)
    assert 'samples of "AT-9"' in " ".join(done.err.split())  # lines are cut by the length of the path
    assert "furlong" in done.err


def test_a_wall_clock_taken_for_utc_and_a_file_left_alone_are_said_in_the_terminal(tmp_path: Path) -> None:
    random = np.random.default_rng(5)
    instants = pl.datetime_range(
        pl.datetime(2025, 10, 20), pl.datetime(2025, 11, 1), "5m", eager=True, time_zone="UTC"
    )
    pl.DataFrame(
        {
            "time": instants.dt.convert_time_zone("Europe/Berlin").dt.strftime("%Y-%m-%d %H:%M"),
            "AT-1 pH": (7.1 + 0.02 * random.standard_normal(instants.len())).round(3),
        }
    ).write_csv(tmp_path / "export.csv")
    (tmp_path / "plant.toml").write_text('timezone = "Europe/Berlin"\n')
    said = " ".join(run_command("scan", tmp_path, "--out", tmp_path / "out").err.split())
    assert "an hour comes twice on 2025-10-26 from 02:00 to 03:00" in said
    assert "--tz Europe/Berlin" in said
    assert "plant.toml: left out, a TOML file without points, probes or installations" in said
    told = run_command("scan", tmp_path, "--tz", "Europe/Berlin", "--out", tmp_path / "out").err
    assert "comes twice" not in told
