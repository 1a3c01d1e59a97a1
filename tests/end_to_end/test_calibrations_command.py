"""``excursions calibrations`` on the sample plant: what a person reads, and what a machine does."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from tests.end_to_end.conftest import PLANT, ROOT, run_command


def test_a_damaged_probe_in_words_on_a_narrow_terminal() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "excursions", "calibrations", str(PLANT), "--point", "f1-ph", "--since", "2026-06-01"],
        capture_output=True, cwd=ROOT, check=False, timeout=300,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "44", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    text = done.stdout.decode()
    assert done.returncode == 0, done.stderr
    assert max(map(len, text.splitlines())) <= 44
    told = " ".join(text.split())
    assert told.startswith("F1-PH QP-1107 calibration: 5 Jun 2026")
    for words in (
        "as found: slope 85.6 %",
        "shift: slope −11.5 % ± 0.6, +0.133 pH on the reading cause",
        "Over-temperature to 148 °C on 25 May",
        "USP <791>",
        "h out of tolerance",
        "next due: by the plan",
        "overdue: F1-PH: 3 of 4 intervals longer than planned",
        "± beside a figure is one standard uncertainty; a shift counts beyond 2.6 of them",
    ):
        assert words in told


def test_a_calibration_without_a_trace_as_json() -> None:
    done = run_command("calibrations", PLANT, "--probe", "QT-5520", "--json")
    assert done.status == 0, done.err
    facts = json.loads(done.out)
    assert {c["probe"] for c in facts["calibrations"]} == {"QT-5520"}
    kinds = {f["kind"] for c in facts["calibrations"] for f in c["audit"]}
    assert {"no trace", "copied"} <= kinds
    newest = facts["calibrations"][-1]
    assert newest["due"]["staircase"].endswith("Z")
    assert abs(sum(link["probability"] for link in newest["shifts"][0]["links"]) - 1.0) < 1e-9


def test_readings_in_standards_are_told_as_they_were_entered(tmp_path: Path) -> None:
    """Who entered grams a litre is not left with the zero point of an inner electrode alone."""
    rows = [
        f"2025-0{3 + day // 31}-{day % 31 + 1:02} {hour:02}:00,{5 + hour / 40},6"
        for day in range(56)
        for hour in range(24)
    ]
    (tmp_path / "export.csv").write_text("Time,TK7-CO2 [g/L],TK7-T [degC]\n" + "\n".join(rows))
    (tmp_path / "calibrations.csv").write_text(
        "date,point,serial,standard [g/L],reading as found [g/L],reading as left [g/L]\n"
        "2025-03-20 10:15,TK7-CO2,C77,4.00,4.01,4.00\n2025-04-20 10:15,TK7-CO2,C77,4.00,4.48,4.00\n"
    )
    done = run_command("calibrations", tmp_path)
    assert done.status == 0, done.err
    told = " ".join(done.out.split())
    assert "entered 4.48 g/L in 4.00 g/L as found zero point 7.05 pH" in told
    assert "g/L on the reading, which may be chance" in told


def test_an_unknown_probe_is_named_with_what_would_do() -> None:
    log = PLANT / "calibrations.csv"
    done = run_command(
        "calibrations", PLANT / "export_cellar.parquet", "--calibrations", log, "--probe", "QT-5521"
    )
    assert done.status == 2
    assert 'Did you mean "QT-5520"?' in done.err


def test_the_unit_of_a_standard_is_told_once_however_it_is_spelt(tmp_path: Path) -> None:
    rows = [f"2026-01-{day:02} 00:00,{1400 + day}" for day in range(1, 29)]
    (tmp_path / "export.csv").write_text("time,LF-61 [uS/cm]\n" + "\n".join(rows))
    (tmp_path / "calibrations.csv").write_text(
        "date;point;standard;reading as found\n2026-01-14 09:00;LF-61;1413 µS/cm;1,38 mS/cm\n",
        encoding="utf-8",
    )
    told = " ".join(run_command("calibrations", tmp_path).out.split())
    assert "entered 1.38 mS/cm in 1413 µS/cm as found cell constant 1.02" in told
