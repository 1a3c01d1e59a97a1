"""Calibrations against a sample of the process: what the laboratory found is no buffer, and the reading beside it is as found."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.read.logs.log import read_calibrations
from excursions.records import CalibrationEntry


def entries(tmp_path: Path, text: str) -> tuple[CalibrationEntry, ...]:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return tuple(read_calibrations(path).entries)


@pytest.mark.parametrize(
    ("head", "action", "remark"),
    [
        ("lab value [pH];reading [pH]", "calibration", ""),
        ("standard [pH];reading [pH]", "process calibration", ""),
        ("standard [pH];reading [pH]", "calibration", "grab sample taken at the sink"),
        ("Sollwert [pH];Anzeige [pH]", "Prozesskalibrierung", "Probenahme"),
    ],
)
def test_a_row_against_a_sample_tells_what_the_reading_was_before(
    tmp_path: Path, head: str, action: str, remark: str
) -> None:
    text = f"date;point;serial;action;{head};remark\n26.03.2027 10:45;R7;S1;{action};6.23;6.10;{remark}\n"
    (one,) = entries(tmp_path, text)
    (standard,) = one.standards
    assert (one.action, one.phase, standard.label) == ("calibration", "as_found", "sample")
    assert (standard.standard, standard.raw, standard.raw_unit) == (6.23, 6.10, "pH")


def test_two_buffers_in_the_laboratory_stay_buffers(tmp_path: Path) -> None:
    text = (
        "date;point;serial;action;buffer 1 [pH];mV 1;buffer 2 [pH];mV 2\n"
        "26.03.2027 10:45;R7;S1;lab calibration;7.00;-1.2;4.01;176.9\n"
    )
    (one,) = entries(tmp_path, text)
    assert "sample" not in {standard.label for standard in one.standards}
    assert one.phase != "as_found"


def test_one_buffer_calibrated_in_the_laboratory_by_its_remark_stays_a_buffer(tmp_path: Path) -> None:
    text = "date;point;serial;action;buffer [pH];mV;remark\n26.03.2027 10:45;R7;S1;calibration;7.00;-1.2;done in the lab\n"
    (one,) = entries(tmp_path, text)
    assert one.standards[0].label != "sample"
