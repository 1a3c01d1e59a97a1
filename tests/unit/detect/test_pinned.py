"""Pinned at the end of the stated range, however short; and a process that is simply there."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.catalogue import detect
from excursions.detect.still.pinned import detect_pinned
from excursions.plant import Point
from excursions.records import Record
from tests.builders import T0, coloured, level, make_record, quantised

N = 20_000
MINUTE = 60_000_000_000


def record(value: np.ndarray, low: float = 0.0, high: float = 14.0) -> Record:
    return make_record(value, point=Point(name="A1", measurand="ph", value="A1", range=(low, high)))


def live(seed: int) -> np.ndarray:
    return quantised(coloured(N, 7.0, 0.1, 90, seed) + level(N, 0.0, 0.01, seed + 30), 0.01)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("end", "samples"), [(14.0, 2), (0.0, 3), (14.0, 40)])
def test_a_few_samples_at_the_very_end_are_enough(end: float, samples: int, seed: int) -> None:
    value = live(seed)
    value[9_000 : 9_000 + samples] = end
    (event,) = detect_pinned(record(value))
    assert (event.kind, event.origin, event.size) == ("pinned", "probe", end)
    assert (event.start, event.end) == (T0 + 9_000 * MINUTE, T0 + (9_000 + samples) * MINUTE)


def test_a_low_process_that_falls_to_nothing_at_once_is_seen_too() -> None:
    value = quantised(coloured(N, 1.5, 0.1, 90, 6) + level(N, 0.0, 0.01, 7), 0.01)
    value[9_000:9_012] = 0.0
    (event,) = detect_pinned(record(value, 0.0, 20.0))
    assert (event.kind, event.origin, event.size) == ("pinned", "probe", 0.0)


def test_a_reading_far_below_a_wide_range_that_falls_to_nothing_at_once_is_seen_too() -> None:
    value = quantised(coloured(N, 850.0, 6.0, 90, 8) + level(N, 0.0, 0.5, 9), 0.1)
    value[9_000:9_099] = 0.0
    (event,) = detect_pinned(record(value, 0.0, 100_000.0))
    assert (event.kind, event.size) == ("pinned", 0.0)
    assert event.origin != "process"


@pytest.mark.parametrize("seed", range(3))
def test_a_probe_held_in_air_for_a_while_did_not_fail(seed: int) -> None:
    """The cell reads nothing while the temperature walks towards that of the room, and both come back."""
    value = quantised(coloured(N, 640.0, 4.0, 90, seed) + level(N, 0.0, 0.5, seed + 9), 0.1)
    degc = coloured(N, 15.6, 0.1, 200, seed + 20) + level(N, 0.0, 0.03, seed + 21)
    value[9_000:9_012] = 0.0
    point = Point(name="A1", measurand="conductivity", value="A1", temperature="A1.T", range=(0.0, 2_000.0))
    (stayed,) = detect_pinned(make_record(value, degc, point=point))
    degc[9_001:9_010] += 4.0 * (1 - np.exp(-np.arange(9) / 3.0))
    out = detect_pinned(make_record(value, degc, point=point))
    assert stayed.origin == "probe"
    assert all(event.origin != "probe" for event in out)


def test_stays_that_follow_one_another_are_one_bout() -> None:
    value = live(1)
    for at in (9_000, 9_050, 9_200):
        value[at : at + 4] = 14.0
    (event,) = detect_pinned(record(value))
    assert event.details["stays"] == 3.0


def test_a_process_that_goes_over_the_range_by_itself_is_not_the_probe() -> None:
    value = np.minimum(live(2) + 6.5 * np.exp(-(((np.arange(N) - 9_000) / 300) ** 2)) * 1.2, 14.0)
    assert np.count_nonzero(value == 14.0) > 50
    assert detect_pinned(record(value)) == ()


def test_a_process_that_lives_at_the_end_is_left_alone() -> None:
    value = np.maximum(quantised(coloured(N, 0.2, 0.3, 90, 3), 0.01), 0.0)
    assert detect_pinned(record(value, 0.0, 20.0)) == ()


def test_a_long_stay_is_told_once_by_all_detectors_together() -> None:
    value = live(4)
    value[9_000:9_600] = 14.0
    told = [event for event in detect(record(value)) if event.kind in ("pinned", "stuck", "step")]
    assert [event.kind for event in told] == ["pinned"]
