"""The heat of a long record put together month by month equals that of the record as a whole."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.conclusions import HeatTally
from excursions.detect.heat import bands as heat_bands
from excursions.detect.heat.bands import tally_heat
from excursions.pipeline.windows import _heat

EDGES = np.array([60.0, 100.0, 130.0])


def part(time: np.ndarray, temp: np.ndarray, start: int, end: int) -> HeatTally:
    first, last = np.searchsorted(time, [start, end])
    return tally_heat(time[first:last], temp[first:last], EDGES, gap_s=9_000.0)


def test_windows_that_overlap_neither_lose_nor_repeat_an_hour() -> None:
    time = np.arange(0, 120 * 24, dtype=np.int64) * NS_PER_HOUR + 7
    temp = 40 + 50 * np.abs(np.sin(np.arange(time.size) / 31.0)) + 40 * (np.arange(time.size) % 240 == 5)
    whole = tally_heat(time, temp, EDGES, gap_s=9_000.0)
    before = part(time, temp, 0, 90 * NS_PER_DAY)
    newer = part(time, temp, 30 * NS_PER_DAY, 120 * NS_PER_DAY)
    joined = _heat(before, newer, 76 * NS_PER_DAY)
    assert joined.start.tolist() == whole.start.tolist()
    assert joined.hours.sum(axis=0) == pytest.approx(whole.hours.sum(axis=0))
    assert joined.ageing_h == pytest.approx(whole.ageing_h)
    assert joined.peak_degc.tolist() == whole.peak_degc.tolist()
    assert _heat(HeatTally(), newer, 76 * NS_PER_DAY) is newer


def test_what_is_added_up_day_by_day_or_at_once_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    draw = np.random.default_rng(23)
    time = np.cumsum(draw.integers(1, 1_200, 6_000)) * NS_PER_S
    temp = 40 + 70 * np.abs(np.sin(np.arange(time.size) / 90.0)) + draw.normal(size=time.size)
    left_out = draw.random(time.size) < 0.01
    made = []
    for most in (10**9, 700, 1):
        monkeypatch.setattr(heat_bands, "_MOST_PIECES", most)
        made.append(
            tally_heat(
                time, temp, EDGES, gap_s=1_000.0, cuts=np.array([9 * NS_PER_DAY + 5]), left_out=left_out
            )
        )
    whole, *parts = made
    assert whole.start.size > 30
    for part in parts:
        for name in ("start", "end", "hours", "ageing_h", "peak_degc", "peak_time"):
            np.testing.assert_array_equal(getattr(part, name), getattr(whole, name))
