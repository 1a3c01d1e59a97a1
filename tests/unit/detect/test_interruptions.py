"""Holes, bad quality and drawn lines: grouped, graded, and whose doing they are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from excursions.clock import NS_PER_MINUTE
from excursions.detect.gone.interruptions import detect_interruptions
from excursions.plant import Plant, Point
from excursions.records import BAD, HOLD, Event, Record
from excursions.states import recognise
from tests.builders import (
    T0,
    all_measuring,
    coloured,
    grid,
    level,
    make_signal,
    on_exception,
    state_line,
    with_bridge,
)

N = 20_000
POINT = Point(name="A1", measurand="ph")
PLANT = Plant(points=(POINT,))


def record(
    *,
    lost: Sequence[tuple[int, int]] = (),
    lost_temperature: Sequence[tuple[int, int]] | None = None,
    bad: Sequence[tuple[int, int]] = (),
    value: np.ndarray | None = None,
    temperature: bool = True,
) -> Record:
    """A minute record with holes; the temperature has its own unless told otherwise."""
    x = coloured(N, 7.0, 0.1, 60, 1) + level(N, 0.0, 0.01, 2) if value is None else value
    quality = np.zeros(N, int)
    for a, b in bad:
        quality[a:b] = BAD
    keep, warm = np.ones(N, bool), np.ones(N, bool)
    for a, b in lost:
        keep[a:b] = False
    for a, b in lost_temperature or ():
        warm[a:b] = False
    time = grid(N)
    signal = make_signal(x[keep], time=time[keep], quality=quality[keep], measurand="ph")
    other = make_signal(coloured(N, 25, 0.3, 90, 3)[warm], time=time[warm], measurand="temperature")
    other_or_none = other if temperature else None
    states = recognise(POINT, PLANT, signal, other_or_none, None, None)
    return Record(point=POINT, plant=PLANT, value=signal, temperature=other_or_none, states=states)


def minutes(event: Event) -> tuple[float, float]:
    return (event.start - T0) / NS_PER_MINUTE, (event.end - T0) / NS_PER_MINUTE


def test_a_complete_record_has_none() -> None:
    assert detect_interruptions(record()) == ()


@pytest.mark.parametrize("width", [1, 2])
def test_a_late_sample_or_two_is_no_dropout(width: int) -> None:
    lost = [(k, k + width) for k in range(500, N - 500, 1440)]
    assert detect_interruptions(record(lost=lost)) == ()


def test_a_hole_is_found_to_the_sample() -> None:
    (event,) = detect_interruptions(record(lost=[(8000, 8120)]))
    assert (event.kind, minutes(event)) == ("dropout", (8000, 8120))
    assert event.size == pytest.approx(2.0)
    assert event.size_unit == "h"


def test_holes_in_a_row_are_one_bout_with_a_count() -> None:
    lost = [(8000 + 100 * k, 8010 + 100 * k) for k in range(8)]
    (event,) = detect_interruptions(record(lost=lost))
    assert event.details["count"] == 8
    assert event.size == pytest.approx(8 * 10 / 60)


def test_chronic_holes_are_one_event_for_the_record() -> None:
    lost = [(k, k + 10) for k in range(600, N - 600, 700)]
    (event,) = detect_interruptions(record(lost=lost))
    assert event.details["count"] == len(lost)


def test_when_the_temperature_is_missing_too_it_was_the_recording() -> None:
    lost = [(8000, 8120)]
    (both,) = detect_interruptions(record(lost=lost, lost_temperature=lost))
    (one,) = detect_interruptions(record(lost=lost))
    (alone,) = detect_interruptions(record(lost=lost, temperature=False))
    assert (both.origin, one.origin, alone.origin) == ("record", "undecided", "undecided")


def test_a_reading_that_ends_before_its_point_does_is_open() -> None:
    (event,) = detect_interruptions(record(lost=[(18_000, N)]))
    assert event.open_end
    assert event.severity == "check"


def test_silences_of_a_quiet_signal_on_exception_are_none() -> None:
    x = coloured(40_000, 7.0, 0.1, 400, 4)
    x[10_000:20_000] = 7.0
    time, kept = on_exception(grid(40_000, 10.0), x, 0.03, 1800.0)
    signal = make_signal(kept, time=time, measurand="ph")
    made = Record(point=POINT, plant=PLANT, value=signal, temperature=None, states=all_measuring(signal))
    assert detect_interruptions(made) == ()


def test_a_missed_heartbeat_is_a_hole() -> None:
    x = coloured(40_000, 7.0, 0.1, 400, 4)
    time, kept = on_exception(grid(40_000, 10.0), x, 0.03, 1800.0)
    quiet = (time > T0 + 150_000 * 10**9) & (time < T0 + 165_000 * 10**9)
    signal = make_signal(kept[~quiet], time=time[~quiet], measurand="ph")
    made = Record(point=POINT, plant=PLANT, value=signal, temperature=None, states=all_measuring(signal))
    (event,) = detect_interruptions(made)
    assert event.size == pytest.approx(15_000 / 3600, rel=0.05)


# --- bad quality ---------------------------------------------------------------------------------


def test_bad_samples_are_bouts_of_unknown_origin() -> None:
    (event,) = detect_interruptions(record(bad=[(8000, 8100), (8200, 8250)]))
    assert (event.kind, event.origin) == ("bad_quality", "undecided")
    assert event.details["samples_bad"] == 150
    assert event.size == pytest.approx(2.5)


def test_a_bad_sample_or_two_is_no_event() -> None:
    assert detect_interruptions(record(bad=[(8000, 8001), (15_000, 15_002)])) == ()


def test_a_reading_that_jumps_before_it_goes_bad_points_at_the_probe() -> None:
    value = coloured(N, 7.0, 0.1, 60, 1) + level(N, 0.0, 0.01, 2)
    value[[7998, 7999, 8199]] += 2.5
    (event,) = detect_interruptions(record(value=value, bad=[(8000, 8100), (8200, 8250)]))
    assert event.origin == "probe"


def test_bad_quality_under_hold_is_routine() -> None:
    made = record(bad=[(8000, 8100)])
    held = state_line(
        [(T0, T0 + 7990 * NS_PER_MINUTE, 0), (T0 + 7990 * NS_PER_MINUTE, T0 + N * NS_PER_MINUTE, HOLD)]
    )
    (event,) = detect_interruptions(
        Record(point=POINT, plant=PLANT, value=made.value, temperature=None, states=held)
    )
    assert event.origin == "routine"


def test_bad_to_the_end_calls_for_action() -> None:
    (event,) = detect_interruptions(record(bad=[(19_000, N)]))
    assert (event.open_end, event.severity) == (True, "act")


# --- bridged and edges ---------------------------------------------------------------------------


def test_a_drawn_line_is_bridged_and_nobody_s_fault() -> None:
    value = with_bridge(coloured(N, 7.0, 0.1, 60, 1) + level(N, 0.0, 0.01, 2), 8000, 8300)
    (event,) = detect_interruptions(record(value=value))
    assert (event.kind, event.origin, event.severity) == ("bridged", "record", "note")
    assert minutes(event) == (8001, 8300)


@pytest.mark.parametrize("n", [0, 1, 2])
@pytest.mark.parametrize("at", [7.0, float("nan")])
def test_tiny_records(n: int, at: float) -> None:
    signal = make_signal([at] * n, measurand="ph")
    made = Record(point=POINT, plant=PLANT, value=signal, temperature=None, states=all_measuring(signal))
    assert detect_interruptions(made) == ()


def test_a_record_without_a_single_number_is_one_event() -> None:
    signal = make_signal(level(500, np.nan), measurand="ph")
    made = Record(point=POINT, plant=PLANT, value=signal, temperature=None, states=all_measuring(signal))
    (event,) = detect_interruptions(made)
    assert (event.kind, event.open_end) == ("bad_quality", True)
