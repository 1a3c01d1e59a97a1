"""Figures that stand for no reading: taken as bad only where the whole record shows it."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.condition import condition
from excursions.read.text.nothing import figures_for_nothing
from excursions.records import BAD
from tests.builders import T0, tag_series

MINUTE = 60_000_000_000


def series(values: list[float]):
    return tag_series(values)


@pytest.mark.parametrize("code", [-9999.0, -99.9, 32767.0, 9999.0, 3.4028235e38, -1e31, -999.25])
def test_a_figure_far_from_all_others_is_no_reading(code: float) -> None:
    done = condition(series([7.0, 7.1, code, code, 7.2, 7.1, 7.0]), measurand="ph")
    assert np.isnan(done.signal.value[2:4]).all()
    assert (done.signal.quality == BAD).sum() == 2
    (said,) = [d for d in done.decisions if "taken as bad" in d.what]
    assert "2 readings" in said.what
    assert "00:02:00" in said.what
    assert "quality_words" in said.option
    assert done.rows == 7


@pytest.mark.parametrize(
    "values",
    [
        [880.0, 950.0, 999.0, 980.0, 900.0],  # a reading among others
        [100.0, 9999.0, 4000.0, 5000.0, 9000.0],  # within reach of the others
        [-200.0, -99.0, 150.0, -80.0, 20.0],  # where others go below zero too
        [-9999.0, -9999.0, -9999.0, -9999.0, -9999.0],  # nothing to compare with
        [7.0, -9999.0],
        [7.0, 7.1, 7.2, 7.1, -9876.0],  # no such figure
    ],
)
def test_what_may_be_a_reading_stays_one(values: list[float]) -> None:
    assert figures_for_nothing(np.array(values), np.zeros(len(values), np.uint8)) == ()


def test_the_user_has_the_last_word() -> None:
    done = condition(
        series([7.0, 7.1, -9999.0, 7.2, 7.1]), measurand="other", quality_words={"-9999": "good"}
    )
    assert done.signal.value[2] == -9999.0


def test_two_figures_for_nothing_on_either_side_are_both_found() -> None:
    found = figures_for_nothing(np.array([7.0, 7.1, -9999.0, 7.2, 7.1, 9999.0]), np.zeros(6, np.uint8))
    assert {code.figure for code in found} == {-9999.0, 9999.0}


def test_of_rows_that_contradict_the_first_is_told_with_both_values() -> None:
    time = T0 + np.array([0, 1, 1, 2]) * MINUTE
    done = condition(tag_series([7.0, 7.1, 7.5, 7.2], time=time), measurand="ph")
    (said,) = [d for d in done.decisions if "contradict" in d.what]
    assert "7.1 dropped, 7.5 used" in said.what
    assert "--tz" in said.option
