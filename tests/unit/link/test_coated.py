"""What a cleaning at the calibration took off again was a coating: it grew, and nobody need have seen it begin."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.calibrations import evaluate, shifts
from excursions.clock import NS_PER_DAY
from excursions.link import attribute, doubt_windows, error_at
from excursions.records import COATED, RETURNED, CalibrationEntry, Doubt, Event, Link, Shift
from excursions.report.wording import doubt_sentence
from tests.unit.calibrations.builders import PLANT as CALIBRATED
from tests.unit.calibrations.builders import entry, standard
from tests.unit.link.builders import PLANT, calibration, event, level, shift

CLEAN = {"gain": 1.0, "zero": 0.0}


def film(size: float, off: float) -> list[Shift]:
    zero = replace(shift(size, parameter="zero", point="turbidity", u=0.05), taken_off=off)
    return [zero, shift(0.0, parameter="gain", point="turbidity", u=0.01)]


def first(found: list[Shift], *events: Event) -> Link:
    rows = attribute(found, events, PLANT, {"turbidity": level(4.0)})
    return next(link for link in rows if link.shift == found[0].id and link.rank == 1)


def test_a_film_that_was_wiped_off_is_told_as_one() -> None:
    link = first(film(3.0, 2.95))
    assert link.cause == "unrecorded"
    assert link.reasons == (
        "a coating: the cleaning at the calibration took +2.95 NTU ± 0.05 off again, and no event marks when it began",
    )


@pytest.mark.parametrize("off", [float("nan"), 0.1, -2.9])
def test_what_cleaning_left_there_was_none(off: float) -> None:
    assert not any("coating" in reason for reason in first(film(3.0, off)).reasons)


def test_a_film_grew_and_was_not_there_of_a_sudden() -> None:
    rows = [calibration(0.0, point="turbidity", found=CLEAN, left=CLEAN), calibration(30.0, point="turbidity", found={**CLEAN, "zero": 3.0}, left=CLEAN)]  # fmt: skip

    def told(found: list[Shift]) -> Doubt:
        (one,) = doubt_windows(found, [], rows, {"turbidity": level(4.0)}, PLANT)
        return one

    coat, unknown = told(film(3.0, 2.95)), told(film(3.0, float("nan")))
    assert COATED in " ".join(coat.reasons)
    assert "a coating, which the cleaning took off" in doubt_sentence(coat, "NTU", ZoneInfo("UTC"))
    assert not any("coating" in reason for reason in unknown.reasons)
    at = np.array([29 * NS_PER_DAY], dtype=np.int64)
    assert error_at(at, coat)[0] == pytest.approx(2.9, abs=0.1)
    # A day before the calibration it stood at nearly its full size, which of what nobody recorded is not known.
    assert coat.band[-2] < 0.5 * unknown.band[-2]


def test_a_drift_that_the_calibration_put_right_is_what_it_found() -> None:
    """It came back only with the calibration, which the slow search dates two days late; one that was back before is none."""
    lasting = 31 * 86_400.0

    def walk(back_s: float) -> Event:
        return event(
            "drift",
            1.0,
            3.1,
            length_h=31 * 24,
            point="turbidity",
            origin="process",
            details={RETURNED: back_s},
        )

    assert first(film(3.0, 2.95), walk(lasting)).cause == "event"
    assert first(film(3.0, 2.95), walk(20 * 86_400.0)).cause == "unrecorded"


def test_what_was_found_again_clean_says_how_much_the_cleaning_took_off() -> None:
    def film_of(zero: float, minute: int, phase: str) -> CalibrationEntry:
        rows = (standard(0.0, zero, unit="NTU", raw_unit="NTU"), standard(20.0, 20.0 + zero, unit="NTU", raw_unit="NTU"))  # fmt: skip
        return entry("turbidity", 30.0 + minute / 1440.0, *rows, phase=phase)

    first_rows = [entry("turbidity", 1.0, standard(0.0, 0.0, unit="NTU", raw_unit="NTU"), standard(20.0, 20.0, unit="NTU", raw_unit="NTU"))]  # fmt: skip
    made = evaluate([*first_rows, film_of(3.0, 0, "as_found"), film_of(0.1, 5, "as_found"), film_of(0.0, 9, "as_left")], CALIBRATED)  # fmt: skip
    assert made[-1].found_clean["zero"].value == pytest.approx(0.1, abs=1e-9)
    zero = next(s for s in shifts(made, CALIBRATED, {}) if s.parameter == "zero")
    assert zero.change == pytest.approx(3.0, abs=1e-9)
    assert zero.taken_off == pytest.approx(2.9, abs=1e-9)
    assert zero.coated
