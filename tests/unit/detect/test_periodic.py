"""Periodic disturbances that come and go."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.noise.periodic import detect_periodic
from excursions.detect.series.live import Live
from excursions.detect.series.spectra import spectra_of
from tests.builders import T0, coloured, level, make_record

N = 60_000
SEEDS = pytest.mark.parametrize("seed", range(2))


def quiet(seed: int) -> np.ndarray:
    return coloured(N, 8.1, 0.02, 3_000, seed) + level(N, 0.0, 0.004, seed + 9)


def pumping(since: int) -> np.ndarray:
    """Forty minutes of every ninety from sample `since` on."""
    second = np.arange(N)
    return (second % 5_400 < 2_400) & (second >= since)


@SEEDS
def test_hum_that_comes_with_a_pump_is_one_event_with_its_offset(seed: int) -> None:
    hum = 0.06 * np.sin(2 * np.pi * np.arange(N) / 7.3) - 0.08
    (event,) = detect_periodic(make_record(quiet(seed) + pumping(27_000) * hum, every_s=1.0))
    assert event.details["period_s"] == pytest.approx(7.3, rel=0.02)
    assert event.size == pytest.approx(0.06, rel=0.15)
    assert event.details["times"] == 6
    assert event.details["offset"] == pytest.approx(-0.08, abs=0.03)
    assert abs((event.start - T0) / 1e9 - 27_000) < 600
    assert (event.open_end, event.severity) == (True, "check")


@SEEDS
def test_a_cycle_too_small_for_anybody_to_write_down_is_none(seed: int) -> None:
    """A hundredth of a pH is what a reading is written to: a tenth of the error that matters."""
    calm = coloured(N, 8.1, 0.02, 3_000, seed) + level(N, 0.0, 0.001, seed + 9)
    hum = np.sin(2 * np.pi * np.arange(N) / 7.3) * (np.arange(N) >= 27_000)
    found = [detect_periodic(make_record(calm + size * hum, every_s=1.0)) for size in (0.006, 0.02)]
    assert [len(events) for events in found] == [0, 1]


@SEEDS
def test_a_cycle_the_process_always_has_is_none(seed: int) -> None:
    hum = 0.06 * np.sin(2 * np.pi * np.arange(N) / 7.3)
    assert detect_periodic(make_record(quiet(seed) + hum, every_s=1.0)) == ()


@SEEDS
def test_hum_that_came_early_and_stayed_is_found(seed: int) -> None:
    came = int(0.35 * N)
    hum = 0.03 * np.sin(2 * np.pi * np.arange(N) / 7.3) * (np.arange(N) >= came)
    (event,) = detect_periodic(make_record(quiet(seed) + hum, every_s=1.0))
    assert abs((event.start - T0) / 1e9 - came) < 600
    assert event.open_end


@SEEDS
def test_a_cycle_the_process_has_until_it_stops_is_none(seed: int) -> None:
    hum = 0.03 * np.sin(2 * np.pi * np.arange(N) / 7.3) * (np.arange(N) < int(0.65 * N))
    assert detect_periodic(make_record(quiet(seed) + hum, every_s=1.0)) == ()


@SEEDS
def test_coloured_noise_has_no_line(seed: int) -> None:
    assert detect_periodic(make_record(quiet(seed), every_s=1.0)) == ()


def test_feed_pulses_that_come_with_a_lower_level_are_one_cycle_of_the_process() -> None:
    minute = np.arange(36_000) / 3
    day = minute % 1_440
    down = np.clip((day - 200) / 400, 0, 1) * (
        day < 1_200
    )  # falls for hours, is back at once in the next batch
    pulses = 15.0 * np.sign(np.sin(2 * np.pi * minute / 21)) * (down == 1)
    value = 95 - 55 * down + pulses + level(minute.size, 0.0, 0.3, 3)
    (event,) = detect_periodic(make_record(value, every_s=20.0, measurand="oxygen_saturation"))
    assert event.details["period_s"] == pytest.approx(21 * 60, rel=0.05)  # and none of its harmonics
    assert event.origin == "process"
    assert "offset" not in event.details


def test_a_control_cycle_that_changes_its_pace_all_along_is_the_process() -> None:
    minute = np.arange(30_000) / 3
    pace = 1 / (11.5 + 2.5 * np.sin(2 * np.pi * minute / 1_440))  # nine to fourteen minutes with the load
    value = 2.3 + 0.3 * (2 * (np.cumsum(pace / 3) % 1) - 1) + level(minute.size, 0.0, 0.01, 4)
    events = detect_periodic(make_record(value, every_s=20.0, measurand="oxygen"))
    assert all(event.origin == "process" for event in events)


def test_a_cycle_of_hours_never_comes_at_once() -> None:
    hour = np.arange(36_000) / 6
    on = (hour % 1_200) < 400
    value = 7.0 + on * (0.5 + 1.6 * np.sin(2 * np.pi * hour / 14)) + level(hour.size, 0.0, 0.02, 5)
    events = detect_periodic(make_record(value, every_s=600.0))
    assert events
    assert not any("offset" in event.details for event in events)
    assert {event.origin for event in events} == {"process"}


def test_two_samples_a_cycle_are_as_improbable_by_chance_as_any_other_cycle() -> None:
    """White noise: the largest of many exponential ratios is their logarithm, give or take a few, in the last bin as elsewhere."""
    n = 1_024 * 2_000
    time = np.arange(n, dtype=np.int64) * 10**9
    fresh = np.arange(n) == 0
    live = Live(time=time, value=level(n, 0.0, 1.0, 5), index=np.arange(n), fresh=fresh)
    spectra = spectra_of(live, floor=0.0)
    assert spectra is not None
    beyond = (spectra.ratio > np.log(100.0)).mean(axis=0)
    assert beyond[-1] == pytest.approx(np.median(beyond), abs=0.006)  # two errors of a hundredth of 2,000


@SEEDS
def test_a_cycle_of_two_samples_is_found(seed: int) -> None:
    value = quiet(seed) + 0.03 * (-1.0) ** np.arange(N) * (np.arange(N) > N // 2)
    (event,) = detect_periodic(make_record(value, every_s=1.0))
    assert event.details["period_s"] == pytest.approx(2.0, rel=0.02)
