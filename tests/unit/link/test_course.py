"""What the reading says of how an unexplained shift came about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import attribute, with_course
from excursions.records import Link, Shift
from tests.unit.link.builders import PLANT, calibration, event, shift

ZERO = {"slope": 99.0, "zero_point": 7.0}
FOUND = {"slope": 99.0, "zero_point": 6.7}


def line(*, off_from: float, back: bool, still: float = 0.02, gap: bool = False) -> Levels:
    """Sixty days at pH 7.5; the reading walks up by 0.3 from a day on, and falls back at day 30 when it is set."""
    time = np.arange(60 * 24, dtype=np.int64) * NS_PER_HOUR
    days = time / NS_PER_DAY
    value = 7.5 + still * np.random.default_rng(4).standard_normal(time.size)
    value += 0.3 * np.clip((days - off_from) / (30 - off_from), 0, 1) * ((days < 30) | (not back))
    value[(days > 3) & (days < 12) & gap] = np.nan
    return Levels(time=time, value=value, temperature=np.full(time.size, 25.0))


def told(levels: Levels, *, least: float = 0.1, found: Shift | None = None, step: float = 0.0) -> Link:
    one = found or replace(shift(-0.3), reading_error=0.3)
    events = [event("step", 12, step)] if step else []
    entries = [calibration(0, left=ZERO), calibration(30, found=FOUND, left=FOUND)]
    links = attribute([one], events, PLANT, {"ph": levels})
    return with_course(links, [one], entries, {"ph": levels}, {"ph": least})[0]


def test_what_a_step_would_have_shown_and_the_adjustment_took_back_came_bit_by_bit() -> None:
    link = told(line(off_from=5, back=True))
    assert link.cause == "unrecorded"
    assert link.reasons == (
        "a sudden change of 0.3 pH would have shown in the reading: it came bit by bit, without an event that marks it",
        "the reading went back by about as much when it was set: the readings before were off",
    )


def test_a_reading_that_stays_when_it_is_set_was_right_or_goes_on_as_it_was() -> None:
    link = told(line(off_from=5, back=False))
    assert link.reasons[0].startswith(
        "the reading did not move when this was set: either the probe changed at the work itself"
    )


def test_where_the_process_moves_as_much_only_the_missing_step_tells() -> None:
    link = told(line(off_from=5, back=True, still=0.3))
    assert link.reasons == (
        "a sudden change of 0.3 pH would have shown in the reading: it came bit by bit, or at the work itself",
    )


@pytest.mark.parametrize(
    "levels", [line(off_from=5, back=True, still=0.3, gap=True), line(off_from=5, back=True, still=0.3)]
)
def test_what_the_record_could_not_have_shown_is_not_excluded(levels: Levels) -> None:
    """A step below the limit, or nine days without a reading: nothing is said."""
    hidden = 0.1 if np.isnan(levels.value).any() else 0.5
    link = told(levels, least=hidden)
    assert link.reasons == (
        "what changed a probe need not show in the record (a knock, work without an entry)",
    )


def test_the_adjustment_alone_tells_that_the_readings_before_were_off() -> None:
    link = told(line(off_from=5, back=True), least=0.5)
    assert link.reasons == (
        "the reading went back by about as much when it was set: the readings before were off",
        "no event in the record marks when it came",
    )


def test_what_an_event_explains_and_what_a_cleaning_took_off_keep_their_reasons() -> None:
    levels = line(off_from=5, back=True)
    assert told(levels, step=0.3).cause == "event"
    coated = replace(shift(-0.3), reading_error=0.3, taken_off=-0.29)
    assert told(levels, found=coated).reasons[0].startswith("a coating")


def walking(*, against: bool, back: bool) -> Levels:
    """The same, in a process that every fifth day falls by 0.3 within two hours, or rises, and takes the days between to return."""
    levels = line(off_from=5, back=back)
    days = levels.time / NS_PER_DAY
    saw = 0.3 * ((days % 5 + 2.5) % 5) / 5  # falls in the midst between two calibrations' days
    return replace(levels, value=levels.value + (-saw if against else saw))


@pytest.mark.parametrize("back", [True, False])
def test_what_the_process_does_the_other_way_explains_nothing(back: bool) -> None:
    """A reading that falls when it is set is explained by falls of the process; one that stands, by its rises."""
    went = "the reading went back by about as much when it was set: the readings before were off"
    stood = "the reading did not move when this was set"
    for against in (True, False):
        told_so = told(walking(against=against, back=back)).reasons
        assert any(r.startswith(went if back else stood) for r in told_so) == (against == back), told_so
