"""A step that takes a walk back is its end."""

from __future__ import annotations

from dataclasses import replace

import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.detect.slow.taken_back import STAYED, taken_back
from excursions.records import Event

WALK = Event(
    point="T", kind="drift", start=0, end=23 * NS_PER_DAY, size=8.0, size_unit="NTU", confidence=0.54, origin="undecided",
    severity="act", evidence=("walked", STAYED),
)  # fmt: skip
BACK = replace(WALK, kind="step", start=WALK.end + 5 * NS_PER_HOUR, end=WALK.end + 5 * NS_PER_HOUR, size=-8.8)


def test_a_step_that_takes_a_walk_back_is_its_end_and_no_event() -> None:
    (one,) = taken_back((WALK, BACK))
    assert one.went_back
    assert one.back_at == BACK.start
    assert one.parts == (BACK.id,)
    assert one.evidence == ("walked", "a step of −8.8 at its end took it back to where it had been")


@pytest.mark.parametrize(
    "other",
    [
        {"size": 8.8},
        {"size": -4.0},
        {"start": WALK.end + 30 * NS_PER_DAY},
        {"start": 5 * NS_PER_DAY},
        {"origin": "process"},
    ],
    ids=["on", "half", "later", "amid", "process"],
)
def test_any_other_step_stays_what_it_is(other: dict[str, object]) -> None:
    step = replace(BACK, **other)  # type: ignore[arg-type]
    assert taken_back((WALK, step)) == (WALK, step)


def test_what_had_settled_may_stay_for_a_while_before_it_is_taken_off() -> None:
    """A film on a river probe: the season moved the process meanwhile, so that the step is larger than the walk."""
    walk = replace(WALK, size_low=7.0, size_high=9.0)
    (one,) = taken_back((walk, replace(BACK, start=walk.end + 10 * NS_PER_DAY, size=-12.0)))
    assert one.went_back
    assert walk.confidence < one.confidence < 0.7
    assert one.evidence[-1] == "a step of −12 took it back, 10 d after its end"


def test_one_step_ends_one_walk() -> None:
    later = replace(WALK, start=NS_PER_DAY)
    assert [one.went_back for one in taken_back((WALK, later, BACK))] == [True, False]
