"""A long record is searched fortnight by fortnight, then as a whole; what lies over a seam is found once, as in a search of the whole."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.pipeline import windows
from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.point import PointInput, search_whole
from excursions.plant import Plant, Point
from excursions.records import FloatArray, TagSeries
from excursions.report.result import PointFindings
from tests.builders import T0
from tests.scenes import scene

pytestmark = pytest.mark.slow

POINT = Point(name="A1", measurand="ph", value="A1.PV", temperature="A1.T")


def given(days: float = 170.0) -> PointInput:
    """A quiet half year from 1 January; stuck over the end of April, a step two days before the end of May."""
    made = scene(days, every_s=600.0, seed=5)
    day = made.second / 86_400
    made.value[(day >= 119) & (day < 123)] = 6.8  # 29 April to 3 May
    made.value[day >= 150] += 0.5  # 30 May
    time = T0 + (made.second * NS_PER_S).astype(np.int64)
    good = np.zeros(time.size, np.uint8)
    series = {
        "value": TagSeries(tag="A1.PV", time=time, value=np.round(made.value, 3), quality=good),
        "temperature": TagSeries(tag="A1.T", time=time, value=np.round(made.temperature, 2), quality=good),
    }
    return PointInput(point=POINT, plant=Plant(points=(POINT,)), series=series)


@pytest.fixture(scope="module")
def both() -> tuple[PointFindings, PointFindings]:
    """The same record searched whole and in windows."""
    record = given()
    cut = windows.LONG_ROWS
    windows.LONG_ROWS = 10_000
    try:
        return search_whole(record)[0], analyse_point(record)[0]
    finally:
        windows.LONG_ROWS = cut


def days(found: PointFindings, kind: str) -> list[float]:
    return [(event.start - T0) / NS_PER_DAY for event in found.events if event.kind == kind]


@pytest.mark.parametrize(("kind", "day"), [("stuck", 119.0), ("step", 150.0)])
def test_an_event_near_or_over_a_seam_is_found_once(
    both: tuple[PointFindings, PointFindings], kind: str, day: float
) -> None:
    whole, cut = both
    near = [at for at in days(cut, kind) if abs(at - day) < 1.5]
    assert len(near) == 1
    assert near == pytest.approx([at for at in days(whole, kind) if abs(at - day) < 1.5], abs=0.1)
    stuck = [event for event in cut.events if event.kind == "stuck"]
    assert all(
        abs(e.end - (T0 + 123 * NS_PER_DAY)) < 2 * NS_PER_HOUR
        for e in stuck
        if (e.start - T0) / NS_PER_DAY > 118
    )


def test_states_levels_traces_and_counts_have_no_seam(both: tuple[PointFindings, PointFindings]) -> None:
    whole, cut = both
    assert (cut.states.start[1:] == cut.states.end[:-1]).all()
    assert (cut.states.start[0], cut.states.end[-1]) == (whole.states.start[0], whole.states.end[-1])
    assert (np.diff(cut.levels.time) > 0).all()
    assert cut.levels.time.size == whole.levels.time.size
    assert all((np.diff(trace.time) > 0).all() for trace in cut.traces.values())
    assert (cut.start, cut.end, cut.samples) == (whole.start, whole.end, whole.samples)
    for role in ("value", "temperature"):
        assert cut.traces[role].samples == whole.traces[role].samples


def test_the_windows_of_a_record_leave_no_instant_out() -> None:
    first = int(np.datetime64("2024-11-19T07:00", "ns").astype(np.int64))
    made = windows.windows_of(first, first + 100 * NS_PER_DAY)
    assert made[0].start <= first < made[0].start + windows.STEP
    assert made[-1].start <= first + 100 * NS_PER_DAY < made[-1].end
    assert all(one.end == other.start for one, other in pairwise(made))
    assert all(w.lead <= w.seam <= w.start < w.end for w in made)
    assert all(w.seam % NS_PER_DAY == 0 for w in made)  # heat is tallied by the day


def walking(walk: Callable[[FloatArray], FloatArray], every_s: float = 1800.0) -> PointFindings:
    """A year in windows, with a walk [pH] over its days."""
    made = scene(365.0, every_s=every_s, seed=9)
    made.value += walk(made.second / 86_400)
    time = T0 + (made.second * NS_PER_S).astype(np.int64)
    series = TagSeries(
        tag="A1.PV", time=time, value=np.round(made.value, 3), quality=np.zeros(time.size, np.uint8)
    )
    record = PointInput(point=POINT, plant=Plant(points=(POINT,)), series={"value": series})
    cut = windows.LONG_ROWS
    windows.LONG_ROWS = 10_000
    try:
        return analyse_point(record)[0]
    finally:
        windows.LONG_ROWS = cut


def test_a_walk_of_a_year_that_no_window_shows_is_found_in_the_whole() -> None:
    """A fifth of a pH in a year is a fiftieth in five weeks, less than the process moves in a day."""
    (walk,) = [event for event in walking(lambda day: 0.2 * day / 365).events if event.kind == "drift"]
    assert walk.size == pytest.approx(0.2, rel=0.25)
    assert walk.start < T0 + 30 * NS_PER_DAY
    assert walk.open_end
    assert "drift" not in {event.kind for event in walking(lambda day: 0.0 * day).events}


def test_a_walk_over_many_windows_is_one_event_of_its_whole_size() -> None:
    found = walking(lambda day: np.interp(day, [100, 300], [0.0, 0.5]))
    (walk,) = [event for event in found.events if event.kind == "drift"]
    assert walk.size == pytest.approx(0.5, rel=0.2)
    assert walk.size_low < 0.5 < walk.size_high
    assert abs((walk.start - T0) / NS_PER_DAY - 100) < 20
    assert abs((walk.end - T0) / NS_PER_DAY - 300) < 20
    assert not walk.open_start
    assert not walk.open_end


def test_repeats_do_not_make_a_record_long(monkeypatch: pytest.MonkeyPatch) -> None:
    record = given(10.0)
    rows = sum(series.time.size for series in record.series.values())
    monkeypatch.setattr(windows, "LONG_ROWS", rows)
    twice = {
        role: TagSeries(
            tag=s.tag, time=np.tile(s.time, 2), value=np.tile(s.value, 2), quality=np.tile(s.quality, 2)
        )
        for role, s in record.series.items()
    }
    from dataclasses import replace

    found = analyse_point(replace(record, series=twice))[0]
    assert found.events == analyse_point(record)[0].events


def test_what_could_have_been_found_is_told_of_the_newest_window(
    both: tuple[PointFindings, PointFindings],
) -> None:
    whole, cut = both
    assert [limit.kind for limit in cut.limits] == [limit.kind for limit in whole.limits]
