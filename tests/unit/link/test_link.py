"""Events and shifts find each other by size, sign and time, and say how sure they are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import attribute, corrected, doubt_windows, error_at, outcome
from excursions.link.correct import hours_beyond
from excursions.plant import Plant, Point
from excursions.records import Calibration, Event, Shift

DAY = NS_PER_DAY
PLANT = Plant(points=(Point(name="P1", measurand="ph"),))


def made_shift(
    change: float, *, parameter: str = "zero_point", error: float | None = None, u: float = 0.02
) -> Shift:
    """A shift between day 0 and day 30; a zero move of +d makes a pH reading d lower."""
    return Shift(
        probe="S1",
        point="P1",
        measurand="ph",
        parameter=parameter,
        unit="pH" if parameter == "zero_point" else "%",
        start=0,
        end=30 * DAY,
        before=7.0 if parameter == "zero_point" else 99.0,
        after=(7.0 if parameter == "zero_point" else 99.0) + change,
        uncertainty=u,
        p_value=math.erfc(abs(change) / u / math.sqrt(2)),
        significant=abs(change) > 3 * u,
        reading_error=-change if error is None else error,
        reading_error_uncertainty=u,
    )


def made_event(kind: str, *, day: float, size: float, length_h: float = 1.0, **more: object) -> Event:
    start = int(day * DAY)
    facts: dict[str, object] = {
        "point": "P1",
        "probe": "S1",
        "kind": kind,
        "start": start,
        "end": start + int(length_h * NS_PER_HOUR),
        "size": size,
        "size_unit": "degC" if kind == "over_temperature" else "pH",
        "confidence": 0.9,
    }
    return Event(**(facts | more))  # type: ignore[arg-type]


def first_cause(shift: Shift, events: list[Event]) -> tuple[str, str, float]:
    link = attribute([shift], events, PLANT)[0]
    return link.cause, link.event, link.probability


def test_a_zero_move_belongs_to_the_step_of_its_size_and_opposite_sign() -> None:
    right = made_event("step", day=10, size=-0.42)
    wrong = made_event("step", day=20, size=+0.42)
    cause, event, probability = first_cause(made_shift(+0.45), [wrong, right])
    assert (cause, event) == ("event", right.id)
    assert probability > 0.9


def test_a_step_of_another_size_explains_nothing() -> None:
    cause, _, _ = first_cause(made_shift(+0.45), [made_event("step", day=10, size=+0.1)])
    assert cause == "unrecorded"


def test_a_small_move_is_ordinary_ageing() -> None:
    cause, _, probability = first_cause(made_shift(0.01), [made_event("step", day=10, size=-0.42)])
    assert cause == "ageing"
    assert probability > 0.8


def test_a_step_on_return_from_heat_is_laid_to_the_heat() -> None:
    heat = made_event("over_temperature", day=10, size=148.0, details={"dose_h": 2.0})
    step = made_event("step", day=10.1, size=-0.42)
    cause, event, _ = first_cause(made_shift(+0.43), [heat, step])
    assert (cause, event) == ("event", heat.id)


def test_lost_slope_is_laid_to_the_heat_and_not_to_the_step() -> None:
    heat = made_event("over_temperature", day=10, size=148.0, details={"dose_h": 5.0})
    step = made_event("step", day=20, size=-0.3)
    cause, event, _ = first_cause(made_shift(-5.0, parameter="slope", error=0.05, u=0.8), [heat, step])
    assert (cause, event) == ("event", heat.id)


def test_probabilities_of_one_shift_sum_to_one() -> None:
    events = [made_event("step", day=d, size=s) for d, s in ((5, -0.2), (9, -0.3), (20, 0.3))]
    links = attribute(
        [made_shift(0.25), made_shift(-2.0, parameter="slope", error=0.02, u=0.8)], events, PLANT
    )
    for shift in {link.shift for link in links}:
        mine = [link for link in links if link.shift == shift]
        assert sum(link.probability for link in mine) == pytest.approx(1.0)
        assert [link.rank for link in mine] == list(range(1, len(mine) + 1))


def test_events_of_another_probe_are_no_candidates() -> None:
    cause, _, _ = first_cause(made_shift(0.45), [made_event("step", day=10, size=-0.45, probe="S2")])
    assert cause == "unrecorded"


def test_the_error_starts_at_the_step_and_stays() -> None:
    step = made_event("step", day=10, size=-0.42)
    shift = made_shift(+0.42)
    found = Calibration(time=shift.end, point="P1", probe="S1", measurand="ph", action="calibration")
    (window,) = doubt_windows([shift], [step], [found], {}, PLANT)
    assert window.start == step.start
    assert window.end == shift.end
    assert not window.open_end
    assert window.hours_out_of_tolerance == pytest.approx(20 * 24)
    time = np.array([9 * DAY, 11 * DAY, 29 * DAY, 31 * DAY])
    assert error_at(time, window) == pytest.approx([0.0, -0.42, -0.42, 0.0], abs=0.02)
    assert corrected(time, np.full(4, 6.0), window) == pytest.approx([6.0, 6.42, 6.42, 6.0], abs=0.02)


def test_without_an_event_the_error_grows_linearly() -> None:
    """USGS TM 1-D3 (Wagner and others, 2006): drift is prorated linearly over the interval."""
    shift = made_shift(+0.4)
    (window,) = doubt_windows([shift], [], [], {}, PLANT)
    assert window.basis.startswith("linear proration")
    assert error_at(np.array([0, 15 * DAY]), window) == pytest.approx([0.0, -0.2])
    assert window.hours_out_of_tolerance == pytest.approx(0.75 * 30 * 24)


def test_an_error_within_tolerance_opens_no_window() -> None:
    shift = made_shift(+0.08)
    assert doubt_windows([shift], [], [], {}, PLANT) == ()


def test_a_step_that_no_calibration_has_seen_stays_open() -> None:
    step = made_event("step", day=40, size=-0.3, size_low=-0.33, size_high=-0.27)
    levels = {
        "P1": Levels(
            time=np.arange(0, 60 * 24) * NS_PER_HOUR,
            value=np.full(1440, 6.0),
            temperature=np.full(1440, 30.0),
        )
    }
    (window,) = doubt_windows([], [step], [], levels, PLANT)
    assert window.open_end
    assert window.start == step.start
    assert window.end == 60 * DAY
    assert window.knots[-1][1] == pytest.approx(-0.3, abs=0.03)


@pytest.mark.parametrize(
    ("knots", "hours"),
    [
        (((0, 0.0), (10 * NS_PER_HOUR, 0.2)), 5.0),
        (((0, -0.2), (10 * NS_PER_HOUR, 0.2)), 5.0),
        (((0, 0.1), (10 * NS_PER_HOUR, 0.1)), 0.0),
        (((0, 0.3), (4 * NS_PER_HOUR, 0.3)), 4.0),
    ],
)
def test_hours_out_of_tolerance(knots: tuple[tuple[int, float], ...], hours: float) -> None:
    assert hours_beyond(knots, 0.1) == pytest.approx(hours)


def test_what_became_of_each_event() -> None:
    borne_out = made_event("step", day=10, size=-0.42)
    idle = made_event("noise_growth", day=12, size=3.0)
    later = made_event("step", day=50, size=0.2)
    shift = made_shift(+0.42)
    events = [borne_out, idle, later]
    states = outcome(events, [shift], attribute([shift], events, PLANT), [])
    assert states[borne_out.id][0] == "verified by calibration"
    assert states[idle.id][0] == "not borne out"
    assert states[later.id][0] == "not verified yet"


def test_a_calibration_without_an_earlier_one_verifies_nothing() -> None:
    step = made_event("step", day=10, size=-0.42)
    after = Calibration(time=20 * DAY, point="P1", probe="S1", measurand="ph", action="calibration")
    state, sentence = outcome([step], [], [], [after])[step.id]
    assert state == "not verified yet"
    assert "none before it" in sentence
    # With one before it, what is missing is what this one found.
    before = Calibration(time=1 * DAY, point="P1", probe="S1", measurand="ph", action="calibration")
    assert "nobody entered what it found" in outcome([step], [], [], [before, after])[step.id][1]
