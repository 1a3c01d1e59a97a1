"""An exchange nobody logged: both probes were read with figures set for the old one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.calibrations import Exchange
from excursions.link import doubt_windows, error_at, exchange_doubts, outcome, told_once, weigh
from excursions.plant import Installation, Plant
from excursions.records import Doubt, Event
from tests.unit.link.builders import DAY, PLANT, calibration, event, level

STEP = event("step", 40, -0.3, size_low=-0.32, size_high=-0.28, origin="undecided", probe="S1, probe 2")
EXCHANGE = Exchange(
    point="ph", old="S1", new="S1, probe 2", at=STEP.start, step=STEP,
    before=calibration(5, left={"slope": 98.0, "zero_point": 7.0}),
    after=calibration(60, found={"slope": 98.0, "zero_point": 7.12}, probe="S1, probe 2"),
)  # fmt: skip
HERE = Plant(
    points=PLANT.points,
    installations=(
        Installation(probe="S1", point="ph", end=STEP.start),
        Installation(probe="S1, probe 2", point="ph", start=STEP.start),
    ),
)


def doubts(exchange: Exchange, *events: Event) -> list[Doubt]:
    line = {"ph": level(7.0, days=80)}
    return list(exchange_doubts((exchange,), events, line, HERE, weigh((), events, HERE, line)))


def at(when: int, doubt: Doubt) -> float:
    return float(error_at(np.array([when], dtype=np.int64), doubt)[0])


def test_the_new_probe_is_off_as_found_and_the_old_one_by_that_less_the_step() -> None:
    new, old = doubts(EXCHANGE, STEP)
    assert (new.probe, new.start, new.end, new.event) == ("S1, probe 2", STEP.start, 60 * DAY, STEP.id)
    assert at(50 * DAY, new) == pytest.approx(-0.12, abs=0.005)
    assert (old.probe, old.end, old.about) == ("S1", STEP.start, True)
    assert at(STEP.start - 1, old) == pytest.approx(0.18, abs=0.005)
    assert at(22 * DAY, old) == pytest.approx(0.09, abs=0.02)


def test_an_event_of_the_old_probe_shapes_its_error() -> None:
    shown = event("step", 30, 0.18)
    old = doubts(EXCHANGE, STEP, shown)[1]
    assert (old.event, old.start) == (shown.id, shown.start)


def test_without_a_step_the_error_of_neither_can_be_told() -> None:
    assert doubts(replace(EXCHANGE, step=None)) == []


def test_the_step_is_told_as_the_exchange() -> None:
    state, words = outcome((STEP,), (), (), (EXCHANGE.after,), (EXCHANGE,))[STEP.id]
    assert state == "verified by calibration"
    assert words.startswith("Another probe was put in then")


def test_a_new_probe_that_brought_its_own_figures_leaves_the_doubt_to_the_old_one() -> None:
    """With the old figures it would have read 0.12 low and the old one 0.48; with its own only the old one was wrong, by 0.36."""
    up = replace(STEP, size=0.36, size_low=0.34, size_high=0.38)
    (old,) = doubts(replace(EXCHANGE, step=up, named=True), up)
    assert (old.probe, old.end) == ("S1", STEP.start)
    assert at(STEP.start - 1, old) == pytest.approx(-0.36, abs=0.02)


def test_the_step_at_an_exchange_is_told_once() -> None:
    """Its probe has no calibration before it, so that the step alone shows a window too: the same, less well known."""
    line = {"ph": level(7.0, days=80)}
    found = calibration(60, found={"slope": 98.0, "zero_point": 7.3}, probe="S1, probe 2")
    step = replace(STEP, origin="probe")
    one = replace(EXCHANGE, after=found, step=step)
    alone = doubt_windows((), (step,), (one.before, one.after), line, HERE)
    exchanged = doubts(one, step)
    assert [(d.event, d.start, d.end) for d in alone] == [(step.id, step.start, 60 * DAY)]
    assert told_once(alone, exchanged) == tuple(exchanged)
    assert told_once(alone, ()) == tuple(alone)
    other = tuple(replace(d, event="another") for d in alone)
    assert told_once(other, exchanged) == (*other, *exchanged)
