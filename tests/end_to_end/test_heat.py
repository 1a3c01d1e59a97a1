"""The heat command as a person types it: from a scan and from a finished report."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from tests.end_to_end.conftest import PLANT, Finished, run_command

ANSWER = "F1-PH2: 146 °C on 26 Jun 12:23, 12 min above its 130 °C rating; reads about"


@pytest.mark.slow
def test_a_finished_report_answers_about_one_probe_and_about_all(sample_scan: tuple[Finished, Path]) -> None:
    _, report = sample_scan
    done = run_command("heat", "--report", report, "--probe", "qp-1131")
    assert done.status == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == ANSWER
    assert "check before use" in lines[1]
    assert max(len(line) for line in lines if not line.startswith("Page: ")) <= 80
    for head in ("Highest ", "Rated ", "Above ", "Rates ", "F0 ", "Dose ", "Reading ", "Noise ", "Calibrated ", "Life ", "Replace ", "Take care "):  # fmt: skip
        assert any(line.startswith(head) for line in lines), head
    every = run_command("heat", "--report", report)
    assert every.out.startswith("Most heat: QO-2204 at F1-DO")
    assert "regeneration: QP-1107" in " ".join(every.out.splitlines()[:3])
    warm = run_command(
        "heat", "--report", report, "--point", "f1-ph2", "--at", "20 Mar 03:30", "--display-units", "degF"
    )
    assert "a sterilisation within its 266 °F rating" in " ".join(warm.out.splitlines()[:2])
    assert "°C" not in warm.out


@pytest.mark.slow
def test_tables_of_lives_agree_with_the_truth_of_the_tally(sample_scan: tuple[Finished, Path]) -> None:
    _, report = sample_scan
    lives = pl.read_parquet(report / "tables" / "lives.parquet")
    exposures = pl.read_parquet(report / "tables" / "exposures.parquet")
    assert lives["probe"].to_list()[:3] == ["QO-2204", "QP-1107", "QP-1131"]
    bands = lives.select(
        pl.sum_horizontal(
            "hours_to_continuous_h", "hours_continuous_to_sterilisation_h", "hours_above_sterilisation_h"
        )
    )
    assert bands.to_series().to_list() == pytest.approx(
        lives["hours_with_temperature"].to_list(),
        abs=0.02,  # each of four figures is rounded to a hundredth
    )
    hot = exposures.group_by("probe").agg(pl.col("dose_h").sum())
    # Hours above the continuous rating outside any exposure are few: the two ways of adding up must nearly agree.
    for probe, dose in hot.iter_rows():
        whole = lives.filter(pl.col("probe") == probe)["dose_h"][0]
        assert dose <= whole * 1.0001 + 1e-6, probe
    both = lives.filter(pl.col("probe").is_in(["QP-1107", "QP-1131"]))["dose_h"].to_list()
    assert both == pytest.approx(
        [hot.filter(pl.col("probe") == p)["dose_h"][0] for p in ("QP-1107", "QP-1131")], rel=1e-3
    )
    assert (report / "probes" / "index.html").is_file()


def test_a_scan_answers_too_as_json_and_wrong_questions_say_how_to_ask(tmp_path: Path) -> None:
    only = PLANT / "long_export_wastewater_1.csv.gz"
    done = run_command("heat", only, "--point", "QM.N1-PH", "--json", "--out", tmp_path)
    assert done.status == 0, done.err
    facts = json.loads(done.out)
    assert facts["exposure"] is None
    assert facts["life"]["probe"] == "<QM.N1-PH>"
    assert Path(facts["page"]) == tmp_path / "index.html"
    for asked, mend in (
        ((), "excursions heat --report report"),
        ((only, "--report", tmp_path), "excursions heat --report report"),
        (("--report", tmp_path / "none"), "excursions scan EXPORT..."),
        (("--report", tmp_path, "--point", "QM.N1-PG"), 'Did you mean "QM.N1-PH"'),
        (("--report", tmp_path, "--at", "2026-04-01 12:00"), "leave --at out"),
    ):
        wrong = run_command("heat", *asked)
        assert wrong.status == 2, asked
        assert mend.casefold() in wrong.err.casefold(), wrong.err
        assert "Traceback" not in wrong.err
