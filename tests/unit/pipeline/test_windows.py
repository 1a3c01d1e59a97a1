"""A long record is searched month by month; what lies over a seam is found once, as in a search of the whole."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.pipeline import windows
from excursions.pipeline.point import PointInput, analyse_point, search_whole
from excursions.plant import Plant, Point
from excursions.records import TagSeries
from excursions.report.result import PointFindings
from tests.builders import T0
from tests.scenes import scene

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
def test_an_event_near_or_over_a_months_end_is_found_once(
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


def test_the_windows_of_a_record_leave_no_month_out() -> None:
    months = ["2024-11", "2024-12", "2025-01", "2025-02", "2025-05"]
    made = windows.windows_of(months)
    assert [str(np.datetime64(w.start, "ns").astype("datetime64[M]")) for w in made] == [
        "2024-11",
        "2025-02",
        "2025-05",
    ]
    assert made[0].end == made[1].start
    assert all(w.lead <= w.seam <= w.start < w.end for w in made)


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
