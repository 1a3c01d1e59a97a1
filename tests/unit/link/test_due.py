"""When to calibrate next, by name of the method."""

from __future__ import annotations

import math

import pytest

from excursions.link import next_due
from excursions.link.due import staircase_days
from excursions.plant import Plant, Point
from tests.unit.link.builders import DAY, calibration, level, shift

POINT = Point(name="ph", measurand="ph", plan_days=40.0)
PLANT = Plant(points=(POINT,))


@pytest.mark.parametrize(("error", "days"), [(0.05, 37.5), (0.09, 30.0), (0.2, 21.0)])
def test_the_staircase(error: float, days: float) -> None:
    """ILAC-G24 / OIML D 10, method 1: longer within 80 % of the permissible 0.1 pH, as it was up to it, shorter beyond."""
    history = [
        calibration(1.0, found={"zero_point": 7.0}, left={"zero_point": 7.0}),
        calibration(31.0, found={"zero_point": 7.0 + error}, left={"zero_point": 7.0 + error}),
    ]
    assert staircase_days(history, POINT, {"ph": level(7.0)}) == pytest.approx(days)


def test_one_calibration_is_no_staircase() -> None:
    assert math.isnan(staircase_days([calibration(1.0, left={"zero_point": 7.0})], POINT, {}))


def test_the_plan_counts_from_the_last_calibration_that_was_no_copy() -> None:
    rows = [calibration(1.0, left={"slope": 98.0}), calibration(30.0, left={"slope": 98.0}, copied=True)]
    (due,) = next_due(rows, [], {}, PLANT)
    assert (due.last, due.planned) == (1 * DAY, 41 * DAY)
    assert due.sentence == "not enough calibrations to say"


def test_a_steady_loss_is_carried_on_to_the_limit() -> None:
    """1 % a month from 98 % to 90 % (USP <791>): about eight months, with an interval around it."""
    shifts = [shift(-1.0, parameter="slope", u=0.1, start=30 * k, end=30 * k + 30) for k in range(12)]
    rows = [calibration(30.0 * k, found={"slope": 98.0}, left={"slope": 98.0}) for k in range(1, 13)]
    (due,) = next_due(rows, shifts, {}, PLANT)
    assert due.parameter == "slope"
    assert due.limit is not None
    assert due.limit_early is not None
    months = (due.limit - due.last) / (30 * DAY)
    assert months == pytest.approx(8.0, rel=0.15)
    assert due.limit_early < due.limit
    assert due.limit_late is None or due.limit < due.limit_late


def test_a_slope_beyond_its_limit_says_so() -> None:
    shifts = [shift(-1.0, parameter="slope", u=0.1, start=30 * k, end=30 * k + 30) for k in range(3)]
    (due,) = next_due([calibration(90.0, left={"slope": 85.0})], shifts, {}, PLANT)
    assert "beyond its limit already" in due.sentence
