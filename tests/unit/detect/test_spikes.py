"""Spikes and impossible readings, and what is neither."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.gone.spikes import detect_spikes
from excursions.plant import Plant, Point
from excursions.records import WASHING, Record
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    on_exception,
    state_line,
    swinging_door,
    with_ramp,
    with_step,
)

N = 20_000
SEEDS = range(3)


def live(seed: int = 0, noise: float = 0.01) -> np.ndarray:
    return coloured(N, 7.0, 0.1, 90, seed) + level(N, 0.0, noise, seed + 40)


def spiked(x: np.ndarray, count: int, size: float, seed: int, lo: int = 9000, hi: int = 9600) -> np.ndarray:
    at = np.random.default_rng(seed).choice(np.arange(lo, hi, 4), count, replace=False)
    out = x.copy()
    out[at] += size
    return out


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("measurand", ["ph", "other", "turbidity"])
def test_a_live_signal_has_none(measurand: str, seed: int) -> None:
    assert detect_spikes(make_record(live(seed), measurand=measurand)) == ()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("size", [-1.5, 0.5])
def test_a_bout_of_spikes_is_one_event_with_a_count(size: float, seed: int) -> None:
    (event,) = detect_spikes(make_record(spiked(live(seed), 12, size, seed)))
    assert event.kind == "spikes"
    assert event.details["count"] == pytest.approx(12, abs=1)
    assert event.size == pytest.approx(size, abs=0.15)
    assert (event.start - T0) / 6e10 >= 9000
    assert (event.end - T0) / 6e10 <= 9610


def test_chronic_spikes_are_a_few_events_for_the_record() -> None:
    events = detect_spikes(make_record(spiked(live(), 300, 1.0, 1, 100, N - 100)))
    assert len(events) <= 12
    assert sum(e.details["count"] for e in events) == pytest.approx(300, abs=6)


@pytest.mark.parametrize("width", [2, 3])
def test_spikes_may_last_a_few_samples(width: int) -> None:
    x = live()
    for at in range(9000, 9300, 60):
        x[at : at + width] += 1.0
    (event,) = detect_spikes(make_record(x))
    assert event.details["count"] == 5


def test_one_small_spike_is_no_event_and_one_huge_one_is() -> None:
    small, huge = live(), live()
    small[9000] += 0.5
    huge[9000] += 4.0
    assert detect_spikes(make_record(small)) == ()
    assert len(detect_spikes(make_record(huge))) == 1


@pytest.mark.parametrize(
    "shape",
    [
        lambda x: with_step(x, 9000, 2.0),
        lambda x: with_ramp(x, 9000, 9004, -2.0),
        lambda x: with_step(x, 9000, 2.0, 9010),
    ],
)
def test_steps_ramps_and_longer_stays_are_no_spikes(shape) -> None:
    assert detect_spikes(make_record(shape(live()))) == ()


def test_growing_noise_is_no_spike() -> None:
    x = live()
    x[9000:] += level(N - 9000, 0.0, 0.3, 5)
    assert detect_spikes(make_record(x)) == ()


def test_washes_are_not_searched() -> None:
    x = spiked(live(), 12, 2.0, 1)
    minute = 60 * 10**9
    line = state_line(
        [
            (T0, T0 + 8990 * minute, 0),
            (T0 + 8990 * minute, T0 + 9700 * minute, WASHING),
            (T0 + 9700 * minute, T0 + N * minute, 0),
        ]
    )
    assert detect_spikes(make_record(x, states=line)) == ()


def test_buffers_of_an_entered_calibration_are_no_spikes_where_samples_are_far_apart() -> None:
    """Standards of ten minutes are one average of a quarter of an hour each."""
    at = np.arange(1_000, 9_000, 2_000)
    value = live()[:10_000]
    value[at], value[at + 1] = 4.0 + level(at.size, 0.0, 0.02, 5), 4.9
    work = tuple(("A1", T0 + int(k) * 900 * NS_PER_S) for k in at)
    point = Point(name="A1", measurand="ph", value="A1")
    assert detect_spikes(make_record(value, every_s=900.0, point=point)) != ()
    noted = Plant(points=(point,), noted=work)
    assert detect_spikes(make_record(value, every_s=900.0, point=point, plant=noted)) == ()


def test_corners_of_a_swinging_door_record_are_no_spikes() -> None:
    time, kept = swinging_door(grid(N), 20 + 5 * np.sin(np.arange(N) / 50), 0.1, 3600.0)
    assert detect_spikes(make_record(kept, time=time, measurand="conductivity")) == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_of_a_long_bout_on_exception_every_spike_is_counted(seed: int) -> None:
    """A quiet reading leaves few samples: nearly all that is recorded within the bout is its spikes."""
    x = spiked(level(N, 7.0, 0.015, seed), 150, 1.0, seed, 9_000, 9_800)
    time, kept = on_exception(grid(N), x, 0.05, 1_800.0)
    (event,) = detect_spikes(make_record(kept, time=time))
    assert event.details["count"] == pytest.approx(150, abs=3)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_reading_that_stands_high_half_of_the_time_has_no_spikes_on_exception(seed: int) -> None:
    """Up and down by one step at random, for minutes at a time: both levels are the reading's."""
    up = np.random.default_rng(seed).random(N) < 0.4
    x = level(N, 7.0, 0.004, seed) + up
    time, kept = on_exception(grid(N), x, 0.05, 1_800.0)
    assert detect_spikes(make_record(kept, time=time)) == ()


def test_spikes_are_found_on_exception_too() -> None:
    x = spiked(live(noise=0.002), 15, 2.0, 3)
    time, kept = on_exception(grid(N), x, 0.03, 3600.0)
    (event,) = detect_spikes(make_record(kept, time=time))
    assert event.details["count"] == pytest.approx(15, abs=3)


def test_an_electrode_is_told_from_bubbles() -> None:
    (ph,) = detect_spikes(make_record(spiked(live(), 12, 2.0, 1)))
    (turbid,) = detect_spikes(make_record(spiked(live(), 12, 9.0, 1), measurand="turbidity"))
    assert (ph.origin, turbid.origin) == ("probe", "undecided")


def test_spikes_with_the_temperature_are_the_process() -> None:
    x = spiked(live(), 12, 2.0, 1)
    warm = 25 + 4 * (x - live()) + level(N, 0.0, 0.02, 9)
    (event,) = detect_spikes(make_record(x, warm))
    assert event.origin == "process"


def test_samples_of_many_minutes_are_no_spikes() -> None:
    assert detect_spikes(make_record(spiked(live(), 12, 2.0, 1), every_s=3600.0)) == ()


# --- impossible ----------------------------------------------------------------------------------


def test_a_reading_outside_physics_is_one_event() -> None:
    x = live()
    x[9000:9050] = 17.3
    (event,) = detect_spikes(make_record(x))
    assert (event.kind, event.origin) == ("out_of_range", "probe")
    assert event.size == 17.3
    assert ((event.start - T0) / 6e10, (event.end - T0) / 6e10) == (9000, 9050)


def test_the_live_range_of_the_output_reaches_a_little_beyond_its_ends() -> None:
    """NAMUR NE 43: 3.8 to 20.5 mA is measurement, -1.25 to 103.125 % of the span."""
    inside, outside = live(), live()
    inside[9000:9050], outside[9000:9050] = 14.4, 14.5
    point = Point(name="A1", measurand="ph", range=(0.0, 14.0))
    assert detect_spikes(make_record(inside, point=point)) == ()
    assert [e.kind for e in detect_spikes(make_record(outside, point=point))] == ["out_of_range"]


def test_impossible_to_the_end_calls_for_action() -> None:
    x = live()
    x[19_000:] = -5.0
    (event,) = detect_spikes(make_record(x))
    assert (event.severity, event.open_end) == ("act", True)


@pytest.mark.parametrize("n", [0, 1, 2, 8])
@pytest.mark.parametrize("at", [7.0, float("nan")])
def test_tiny_records(n: int, at: float) -> None:
    made: Record = make_record(level(n, at))
    assert detect_spikes(made) == ()


# --- bouts and lost signals ----------------------------------------------------------------------


def lasting(seed: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Fourteen days at a minute and the samples at which a bad cable spikes from day four on, about ten a day."""
    at = np.sort(np.random.default_rng(seed).choice(np.arange(6_000, N - 400, 4), 95, replace=False))
    return live(seed, noise=0.002), at


def test_spikes_at_random_are_one_bout_whatever_its_longest_pause() -> None:
    x, at = lasting()
    at = at[::3]
    at = at[(at < 11_000) | (at > 12_500)]  # four a day, and a day without any
    x[at] += 1.0
    (event,) = detect_spikes(make_record(x))
    assert event.details["count"] == at.size
    assert event.open_end


def test_a_bout_that_ended_days_ago_is_over() -> None:
    x, at = lasting()
    x[at[at < 12_000]] += 1.0
    (event,) = detect_spikes(make_record(x))
    assert not event.open_end


def test_falls_to_one_and_the_same_value_are_dropouts() -> None:
    x, at = lasting()
    for k, first in enumerate(at):
        x[first : first + 1 + k % 3] = 0.5
    (event,) = detect_spikes(make_record(np.round(x, 3)))
    assert (event.kind, event.origin, event.details["level"]) == ("dropout", "probe", 0.5)
    assert event.details["count"] == pytest.approx(at.size, abs=2)
    assert (event.start - T0) / 6e10 == at[0]


def test_falls_of_minutes_to_one_and_the_same_value_are_dropouts_too() -> None:
    x, at = lasting()
    at = at[::3]
    for k, first in enumerate(at):
        x[first : first + 5 + k % 7] = 0.0
    (event,) = detect_spikes(make_record(np.round(x, 3)))
    assert (event.kind, event.origin, event.details["level"]) == ("dropout", "probe", 0.0)
    assert event.details["count"] == pytest.approx(at.size, abs=2)
    assert (event.start - T0) / 6e10 == at[0]


def test_a_process_that_comes_to_rest_at_one_value_at_its_own_pace_or_very_often_is_no_lost_signal() -> None:
    x, at = lasting()
    slowly, often = x.copy(), x.copy()
    for k, first in enumerate(at[::3]):
        slowly[first : first + 20] = np.maximum(np.abs(np.arange(20) - 9.5) - 4 - k % 3, 0.0) * x[first] / 6
    for first in range(0, N - 10, 100):
        often[first : first + 10] = 0.0
    for value in (slowly, often):
        assert "dropout" not in [e.kind for e in detect_spikes(make_record(np.round(value, 3)))]


def test_spikes_that_end_anywhere_are_no_dropouts() -> None:
    x, at = lasting()
    x[at] += np.random.default_rng(1).uniform(0.5, 2.0, at.size)
    assert [e.kind for e in detect_spikes(make_record(np.round(x, 3)))] == ["spikes"]
