"""Calibration intervals by ILAC-G24 / OIML D 10, method 1 (automatic adjustment or staircase, calendar time).

The 2007 edition as quoted on a public page: extend the next interval where the error found is within, for example, 80 % of
the maximum permissible error, shorten it where it is outside; between the two it stays.  By how much is left to the user.
"""

from __future__ import annotations

import pytest

from excursions.link.due import STAIRCASE, staircase_days
from excursions.plant import Point
from tests.unit.link.builders import calibration, level

POINT = Point(name="ph", measurand="ph", tolerance=0.1)


@pytest.mark.parametrize(
    ("error", "way"),
    [(0.0, 1), (0.079, 1), (0.085, 0), (0.099, 0), (0.11, -1), (0.5, -1), (-0.079, 1), (-0.11, -1)],
)
def test_the_staircase_goes_the_way_the_guide_says(error: float, way: int) -> None:
    """Zero point moved by `error` at pH 7, where the reading is wrong by as much; permissible is 0.1 pH; 30 days apart."""
    left = {"slope": 100.0, "zero_point": 7.0}
    history = [
        calibration(1.0, found=left, left=left),
        calibration(31.0, found={**left, "zero_point": 7.0 + error}, left=left),
    ]
    days = staircase_days(history, POINT, {"ph": level(7.0)})
    assert (days > 30.0) - (days < 30.0) == way


def test_the_method_is_named() -> None:
    assert "ILAC-G24" in STAIRCASE
    assert "OIML D 10" in STAIRCASE
    assert "method 1" in STAIRCASE
