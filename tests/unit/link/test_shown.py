"""A log of figures as left alone: whether the probe had them before the work, the reading shows when they are set."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.calibrations import shifts
from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import doubt_windows, error_at, weigh, with_shown
from excursions.records import SHOWN, Calibration, Parameter
from tests.unit.link.builders import DAY, PLANT, calibration


def left(day: float, zero: float) -> Calibration:
    """An entry of a slope and a zero point as left, and nothing else."""
    figures = {
        "slope": Parameter(value=98.5, uncertainty=0.8, unit="%", basis="entered"),
        "zero_point": Parameter(value=zero, uncertainty=0.02, unit="pH", basis="entered"),
    }
    return Calibration(**{f: getattr(calibration(day), f) for f in ("time", "point", "probe", "measurand", "action")}, as_left=figures)  # fmt: skip


ENTRIES = (left(1.0, 7.0), left(30.0, 6.65))


def record(jump: float, *, scatter: float = 0.02) -> dict[str, Levels]:
    """Sixty days at pH 6 whose reading moves by `jump` when the second entry is made."""
    time = np.arange(0, 60 * 24, dtype=np.int64) * NS_PER_HOUR
    value = 6.0 + scatter * np.random.default_rng(4).standard_normal(time.size)
    value[time < 30 * DAY] -= jump
    return {"ph": Levels(time=time, value=value, temperature=np.full(time.size, 25.0))}


def test_a_reading_that_moves_by_the_change_of_the_figures_shows_that_the_probe_had_them() -> None:
    """Zero 7.0 used and 6.65 true: 0.35 pH too high until it is set, and nothing after."""
    levels = record(-0.35)
    first, second = with_shown(ENTRIES, levels, PLANT)
    assert first == ENTRIES[0]
    assert second.as_found["zero_point"].value == 6.65
    assert {p.basis for p in second.as_found.values()} == {SHOWN}
    assert "(−0.35 pH)" in second.checks[-1]
    found = shifts((first, second), PLANT, levels)
    assert all(s.chosen for s in found)
    (one,) = doubt_windows(found, [], (first, second), levels, PLANT)
    assert one.end == 30 * DAY
    assert error_at(np.array([int(29.9 * DAY)]), one)[0] == pytest.approx(0.35, abs=0.02)


@pytest.mark.parametrize(
    ("jump", "scatter"),
    [
        (0.0, 0.02),  # the work changed the probe, or nobody set anything: the reading stayed
        (0.35, 0.02),  # the other way
        (-0.35, 0.4),  # a process that does so by itself
    ],
)
def test_a_reading_that_does_not_show_it_leaves_open_what_was_found(jump: float, scatter: float) -> None:
    assert with_shown(ENTRIES, record(jump, scatter=scatter), PLANT) == ENTRIES


def test_figures_that_hardly_change_show_nothing() -> None:
    near = (ENTRIES[0], left(30.0, 6.97))
    assert with_shown(near, record(-0.03, scatter=0.001), PLANT) == near


def test_without_a_record_or_with_something_entered_as_found_nothing_is_added() -> None:
    assert with_shown(ENTRIES, {}, PLANT) == ENTRIES
    said = calibration(30.0, found={"zero_point": 6.9}, left={"zero_point": 6.65})
    assert with_shown((ENTRIES[0], said), record(-0.35), PLANT) == (ENTRIES[0], said)


def test_what_is_known_because_it_was_large_teaches_no_ageing() -> None:
    levels = record(-0.35)
    entries = with_shown(ENTRIES, levels, PLANT)
    found = shifts(entries, PLANT, levels)
    assert all(rate.shifts == 0 for rate in weigh(found, [], PLANT, levels).ageing.kinds.values())
