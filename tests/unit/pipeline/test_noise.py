"""Of a point's noise a page's worth is kept, and around heat what the day before and the day after say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.conclusions import NoiseBeside
from excursions.detect.catalogue import noise_trace
from excursions.detect.series.survey import surveyed
from excursions.kinds import TOLD_AS_HEAT
from excursions.pipeline import windows
from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.noise import noise_kept
from excursions.pipeline.point import PointInput, search_whole
from excursions.plant import Plant, Point
from excursions.records import Event, Record, TagSeries
from excursions.report.result import PointFindings
from tests.builders import T0, make_record
from tests.scenes import scene

POINT = Point(name="A1", measurand="ph", value="A1.PV", temperature="A1.T")
HOT = (20.0, 55.0, 118.5, 119.4, 160.0)  # days of an hour at 146 degC; two lie close to a seam


@pytest.fixture(scope="module")
def record() -> Record:
    draw = np.random.default_rng(41)
    return surveyed(make_record(7.0 + np.linspace(0.01, 0.05, 90_000) * draw.standard_normal(90_000)))


def heat(start: int, end: int) -> Event:
    return Event(
        point="A1", kind=sorted(TOLD_AS_HEAT)[0], start=start, end=end, size=124.0, size_unit="degC", confidence=1.0,
        origin="process", severity="note",
    )  # fmt: skip


def test_a_page_s_worth_of_noise_is_kept_with_its_extremes(record: Record) -> None:
    whole = noise_trace(record)
    assert whole is not None
    trace, _ = noise_kept(record, (), budget=400, counted_from=int(whole[0][100]))
    assert trace is not None
    assert 200 < trace.value.size <= 420 < whole[1].size
    assert np.isin(trace.time, whole[0]).all()
    assert (np.nanmin(trace.value), np.nanmax(trace.value)) == (np.nanmin(whole[1]), np.nanmax(whole[1]))
    assert trace.samples == whole[0].size - 100


def test_noise_beside_heat_is_of_all_blocks_not_of_those_that_are_drawn(record: Record) -> None:
    whole = noise_trace(record)
    assert whole is not None
    time, noise = whole
    start = int(time[time.size // 2])
    end = start + 3 * NS_PER_HOUR
    _, beside = noise_kept(record, (heat(start, end),), budget=40, counted_from=0)
    before, after = beside.around(start, end)
    assert before == np.nanmedian(noise[(time >= start - NS_PER_DAY) & (time < start)])
    assert after == np.nanmedian(noise[(time >= end) & (time < end + NS_PER_DAY)])
    assert before < after


def test_beside_an_instant_that_was_not_looked_at_noise_is_not_known() -> None:
    assert all(math.isnan(one) for one in NoiseBeside().around(0, 1))
    one = NoiseBeside(time=np.array([5, 9]), before=np.array([1.0, 2.0]), after=np.array([3.0, 4.0]))
    assert one.around(5, 9) == (1.0, 4.0)
    assert math.isnan(one.around(6, 9)[0])
    assert math.isnan(one.around(5, 10)[1])


def test_before_the_seam_noise_beside_heat_stays_as_it_was() -> None:
    old = NoiseBeside(time=np.array([1, 4, 8]), before=np.array([1.0, 4.0, 8.0]), after=np.array([1.0, 4.0, 8.0]))  # fmt: skip
    new = NoiseBeside(time=np.array([3, 4, 7]), before=np.array([3.1, 4.1, 7.1]), after=np.array([3.1, 4.1, 7.1]))  # fmt: skip
    joined = windows._noise(old, new, 6)
    assert joined.time.tolist() == [1, 3, 4, 7]
    assert joined.before.tolist() == joined.after.tolist() == [1.0, 3.1, 4.0, 7.1]


@pytest.fixture(scope="module")
def both() -> tuple[PointFindings, PointFindings]:
    """Half a year with heat, its noise three times as large from day 119, searched whole and in windows."""
    made = scene(170.0, every_s=600.0, seed=6)
    day = made.second / 86_400
    draw = np.random.default_rng(7)
    made.value += np.where(day >= 119, 0.03, 0.01) * draw.standard_normal(day.size)
    for hot in HOT:
        made.warm(hot * 86_400, [(0, 30.0), (40, 146.0), (100, 146.0), (160, 30.0)])
    time = T0 + (made.second * NS_PER_S).astype(np.int64)
    good = np.zeros(time.size, np.uint8)
    given = PointInput(
        point=POINT,
        plant=Plant(points=(POINT,)),
        series={
            "value": TagSeries(tag="A1.PV", time=time, value=np.round(made.value, 3), quality=good),
            "temperature": TagSeries(tag="A1.T", time=time, value=np.round(made.temperature, 2), quality=good),
        },
    )  # fmt: skip
    cut = windows.LONG_ROWS
    windows.LONG_ROWS = 10_000
    try:
        return search_whole(given)[0], analyse_point(given)[0]
    finally:
        windows.LONG_ROWS = cut


@pytest.mark.slow
def test_a_long_record_knows_the_noise_beside_all_of_its_heat(
    both: tuple[PointFindings, PointFindings],
) -> None:
    whole, cut = ([e for e in found.events if e.kind in TOLD_AS_HEAT] for found in both)
    assert len(whole) == len(cut) == len(HOT)
    for one, other in zip(whole, cut, strict=True):
        # Windows cut their blocks of noise anew, so that medians of a day differ by what a few blocks of it do.
        expected = both[0].noise_beside.around(one.start, one.end)
        assert both[1].noise_beside.around(other.start, other.end) == pytest.approx(expected, rel=0.3)
    before, after = both[1].noise_beside.around(cut[0].start, cut[-1].end)
    assert after > 1.5 * before


@pytest.mark.slow
def test_noise_of_a_long_record_is_thinned_window_by_window(
    both: tuple[PointFindings, PointFindings],
) -> None:
    _, cut = both
    trace = cut.traces["noise"]
    assert (np.diff(trace.time) > 0).all()
    opening, later = np.searchsorted(trace.time, [T0 + 60 * NS_PER_DAY, cut.end])
    assert later - opening < windows.WINDOW_BUDGET * 8  # eight windows
    assert trace.samples > trace.value.size
