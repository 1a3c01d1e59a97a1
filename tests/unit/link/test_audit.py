"""The log beside the record, in neutral words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import audit
from excursions.link.audit import AuditFinding
from excursions.link.traces import shows_traces
from excursions.plant import Installation, Plant, Point
from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    MEASURING,
    NO_DATA,
    Calibration,
    Sampling,
    StandardReading,
    StateLine,
)
from tests.unit.link.builders import DAY, calibration

PLANT = Plant(points=(Point(name="ph", measurand="ph", temperature="T", plan_days=30.0),))
SAMPLING = {"ph": {"value": Sampling(interval_s=60.0), "temperature": Sampling(interval_s=60.0)}}


def states(*marks: tuple[float, int], days: float = 100.0, sure: float = 0.9) -> StateLine:
    """Measuring, but for an hour of another state at each (day, code)."""
    edges: list[tuple[int, int, int]] = []
    at = 0
    for day, code in sorted(marks):
        start = int(day * DAY)
        edges += [(at, start, MEASURING), (start, start + NS_PER_HOUR, code)]
        at = start + NS_PER_HOUR
    edges.append((at, int(days * DAY), MEASURING))
    return StateLine(
        start=np.array([e[0] for e in edges], dtype=np.int64),
        end=np.array([e[1] for e in edges], dtype=np.int64),
        code=np.array([e[2] for e in edges], dtype=np.uint8),
        confidence=np.full(len(edges), sure),
        evidence=("",) * len(edges),
    )


def found(entries: list[Calibration], line: StateLine, *, plant: Plant = PLANT) -> list[AuditFinding]:
    return [f for f in audit(entries, {"ph": line}, SAMPLING, plant) if f.kind != "overdue"]


TRACED = [(d, CALIBRATING) for d in (5.0, 30.0, 55.0)]
ENTRIES = [calibration(d + 0.03) for d in (5.0, 30.0, 55.0)]


def test_entries_with_traces_are_in_order() -> None:
    assert found(ENTRIES, states(*TRACED)) == []


def test_an_entry_without_a_trace_is_worded_as_what_the_record_shows() -> None:
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED))
    assert one.kind == "no trace"
    assert one.sentence.startswith("no trace of this calibration in the record between ")
    assert any("workshop" in reason for reason in one.could_hide)


def test_a_trace_without_an_entry() -> None:
    (one,) = found(ENTRIES, states(*TRACED, (80.0, CALIBRATING)))
    assert one.kind == "no entry"
    assert "no entry names it" in one.sentence


def test_work_at_a_point_of_which_no_log_was_given_is_told_once_and_held_against_nobody() -> None:
    (one,) = found([], states(*TRACED))
    assert one.kind == "cannot tell"
    assert "a calibration 3 times between " in one.sentence
    assert any("could not be read" in reason for reason in one.could_hide)


def test_a_trace_the_time_line_is_not_sure_of_is_not_held_against_anybody() -> None:
    told = found(ENTRIES[:2], states(*TRACED, sure=0.5))
    assert [f.kind for f in told] == ["cannot tell"]
    assert "would have shown none of the 2 that were entered" in told[0].sentence


def test_what_comes_more_often_than_entries_do_is_told_once() -> None:
    """An automatic cleaning every six days looks alike each time; three entries stand beside seven of them."""
    often = [(60.0 + 5.6 * k, CALIBRATING) for k in range(7)]
    (one,) = found(ENTRIES, states(*TRACED, *often))
    assert one.kind == "cannot tell"
    assert "7 times where no entry names one, and 3 entries name others" in one.sentence
    assert {f.kind for f in found(ENTRIES, states(*TRACED, *often[:3]))} == {"no entry"}


def test_what_looks_like_a_calibration_several_times_in_a_few_days_is_the_process() -> None:
    often = [(day, CALIBRATING) for day in (61.0, 61.5, 62.0, 62.6)]
    assert found(ENTRIES, states(*TRACED, *often)) == []
    assert [f.kind for f in found(ENTRIES, states(*TRACED, *often[:1]))] == ["no entry"]


@pytest.mark.parametrize(
    ("kind", "helped", "told"),
    [("exception", 3.0, "cannot tell"), ("exception", 0.0, "cannot tell"), ("grid", 3.0, "no trace")],
)
def test_recorded_on_change_work_behind_a_held_output_need_not_be_seen(
    kind: str, helped: float, told: str
) -> None:
    """Behind a held output a quiet process and work look alike, where only changes are recorded: also where others showed."""
    line = states(*TRACED, days=100.0)
    line = replace(line, helped=np.where(line.code == CALIBRATING, helped, 0.0))
    sampling = {
        "ph": {"value": Sampling(kind=kind, interval_s=60.0), "temperature": Sampling(interval_s=60.0)}
    }
    late = calibration(80.0)
    (one,) = [f for f in audit([*ENTRIES, late], {"ph": line}, sampling, PLANT) if f.calibration == late.id]
    assert one.kind == told
    # Figures that were not measured then are another sign, where traces show by themselves.
    late = replace(late, copied=True)
    rows = audit([*ENTRIES, late], {"ph": line}, sampling, PLANT)
    kinds = {f.kind for f in rows if f.calibration == late.id}
    assert kinds == {"copied", "cannot tell" if helped and kind == "exception" else "no trace"}


@pytest.mark.parametrize(
    ("warmth", "restless", "told"),
    [(37.0, 0.0, "no trace"), (24.0, 0.0, "cannot tell"), (37.0, 20.0, "cannot tell")],
)
def test_where_the_probe_would_have_walked_a_missing_walk_tells_however_few_entries_left_a_trace(
    warmth: float, restless: float, told: str
) -> None:
    """One of three entries left a trace, at 22 °C: the process at 37 °C leaves no doubt, one near 22 °C does."""
    line = states((5.0, CALIBRATING))
    line = replace(line, stood=np.where(line.code == CALIBRATING, 22.0, np.nan))
    time = np.arange(100 * 24, dtype=np.int64) * NS_PER_HOUR
    walk = warmth + restless * (np.arange(time.size) % 2)
    levels = {"ph": Levels(time=time, value=np.sin(np.arange(time.size)), temperature=walk)}
    entries = [calibration(5.03), calibration(30.03), calibration(55.03)]
    found = {f.calibration: f.kind for f in audit(entries, {"ph": line}, SAMPLING, PLANT, levels)}
    assert [found.get(c.id) for c in entries] == [None, told, told]


@pytest.mark.parametrize(("at", "told"), [(7.1, "cannot tell"), (8.5, "no trace")])
def test_work_in_a_standard_where_the_process_lies_need_not_show(at: float, told: str) -> None:
    """One buffer of pH 7 beside a process at 7.1 and as warm as the room."""
    time = np.arange(100 * 24, dtype=np.int64) * NS_PER_HOUR
    levels = {"ph": Levels(time=time, value=at + 0.01 * np.sin(time), temperature=np.full(time.size, 22.0))}
    late = with_standards(80.0, 7.0)
    rows = audit([*ENTRIES, late], {"ph": states(*TRACED)}, SAMPLING, PLANT, levels)
    (one,) = [f for f in rows if f.calibration == late.id]
    assert one.kind == told
    assert ("a process that lies where the standards do" in one.sentence) is (told == "cannot tell")


def test_a_hold_is_a_trace() -> None:
    assert found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.01, HOLD))) == []


def test_missing_data_leaves_it_open() -> None:
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.01, NO_DATA)))
    assert one.kind == "cannot tell"


def test_outside_the_record_nothing_is_looked_for() -> None:
    assert found([*ENTRIES, calibration(150.0)], states(*TRACED)) == []


def test_where_calibrations_leave_no_trace_one_more_says_nothing() -> None:
    kinds = {
        f.kind for f in found([calibration(d) for d in (5.0, 30.0, 55.0, 80.0)], states((5.0, CALIBRATING)))
    }
    assert kinds == {"cannot tell"}


@pytest.mark.parametrize("comment", ["workshop", "Calibrated in the LAB", "Werkstatt"])
def test_the_workshop_leaves_no_trace_at_the_point(comment: str) -> None:
    assert found([*ENTRIES, calibration(80.0, comment=comment)], states(*TRACED)) == []


def test_a_probe_put_in_after_its_calibration_left_no_trace_there() -> None:
    stays = (
        Installation(probe="S0", point="ph", end=int(80.02 * DAY)),
        Installation(probe="S1", point="ph", start=int(80.02 * DAY)),
    )
    entries = [calibration(d + 0.03, probe="S0") for d in (5.0, 30.0, 55.0)]
    plant = Plant(points=PLANT.points, installations=stays)
    assert found([*entries, calibration(80.0)], states(*TRACED), plant=plant) == []


def test_a_date_alone_means_that_day() -> None:
    entries = [calibration(d) for d in (5.0, 30.0, 55.0)]
    assert found(entries, states(*((d + 0.6, CALIBRATING) for d in (5.0, 30.0, 55.0)))) == []


def test_a_copied_entry_is_named() -> None:
    kinds = [f.kind for f in found([*ENTRIES[:2], calibration(55.03, copied=True)], states(*TRACED))]
    assert kinds == ["copied"]


def test_overdue_between_two_and_at_the_end() -> None:
    made = [f for f in audit([calibration(1.0), calibration(50.0)], {"ph": states((1.0, CALIBRATING), (50.0, CALIBRATING))}, SAMPLING, PLANT) if f.kind == "overdue"]  # fmt: skip
    assert [f.sentence for f in made] == [
        "49 days between two calibrations; 50 days without a calibration at the end of the record; the plan says 30",
    ]


def test_many_long_intervals_are_one_sentence() -> None:
    entries = [calibration(d) for d in (1.0, 41.0, 51.0, 97.0)]
    (one,) = (f for f in audit(entries, {"ph": states()}, SAMPLING, PLANT) if f.kind == "overdue")
    assert (one.start, one.end) == (entries[0].time, entries[3].time)  # the span of what is counted
    assert one.sentence == "2 of 3 intervals longer than planned, 40 to 46 days; the plan says 30"


def test_times_are_told_in_the_plant_zone() -> None:
    vienna = replace(PLANT, zone="Europe/Vienna")
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED), plant=vienna)
    assert one.sentence == (
        "no trace of this calibration in the record between 21 Mar 1970 23:00 and 22 Mar 1970 03:00"
    )


def test_what_could_hide_a_trace_follows_from_the_export() -> None:
    sampling = {"ph": {"value": Sampling(kind="averages", interval_s=600.0, deadband=0.02)}}
    limit, one = (
        f
        for f in audit([*ENTRIES, calibration(80.0)], {"ph": states(*TRACED)}, sampling, PLANT)
        if f.kind == "cannot tell"
    )
    assert "standards other than the entry's and adjustments not taken over need not show" in limit.sentence
    assert limit.could_hide == one.could_hide
    told = " ".join(one.could_hide)
    assert all(word in told for word in ("every 10 min", "averages", "0.02 pH", "no temperature signal"))


@pytest.mark.parametrize(
    ("kind", "shortest", "told"),
    [("exception", 60.0, False), ("exception", 600.0, True), ("grid", 60.0, True)],
)
def test_a_quiet_reading_kept_on_change_hides_no_plateau(kind: str, shortest: float, told: bool) -> None:
    """A sample every ten minutes on average is what a quiet process gives; in a standard the next look is kept."""
    value = Sampling(kind=kind, interval_s=600.0, shortest_s=shortest)
    rows = audit([*ENTRIES, calibration(80.0)], {"ph": states(*TRACED)}, {"ph": {"value": value}}, PLANT)
    assert any("can miss a short plateau" in words for f in rows for words in f.could_hide) is told


def test_a_point_without_a_record_is_not_judged() -> None:
    assert audit(ENTRIES, {}, {}, PLANT) == ()


def with_standards(day: float, *values: float) -> Calibration:
    standards = tuple(StandardReading(standard=v, raw=0.0, standard_unit="pH") for v in values)
    return calibration(day, standards=standards)


def seen(line: StateLine, *standards: tuple[str, ...]) -> StateLine:
    """The same line with the standards seen in its calibrating spans, in order."""
    told = iter(standards)
    return replace(line, standards=tuple(next(told) if c == CALIBRATING else () for c in line.code))


BOTH = ("pH 4", "pH 7")


def test_another_buffer_than_the_entry_names() -> None:
    entries = [with_standards(d + 0.03, 7.0, 10.01 if d > 50 else 4.01) for d in (5.0, 30.0, 55.0)]
    (one,) = found(entries, seen(states(*TRACED), BOTH, BOTH, BOTH))
    assert one.kind == "other plateaus"
    assert "the entry names pH 10 and pH 7; the record from " in one.sentence
    assert one.sentence.endswith("shows the reading still in pH 4 and pH 7")


def test_the_buffers_that_the_entry_names_are_in_order() -> None:
    entries = [with_standards(d + 0.03, 7.0, 4.01) for d in (5.0, 30.0, 55.0)]
    assert found(entries, seen(states(*TRACED), BOTH, BOTH, BOTH)) == []


def test_one_buffer_less_is_told_only_when_the_work_was_shorter_too() -> None:
    entries = [with_standards(d + 0.03, 7.0, 4.01) for d in (5.0, 30.0, 55.0)]
    line = seen(states(*TRACED), BOTH, BOTH, ("pH 7",))
    assert found(entries, line) == []
    last = np.flatnonzero(line.code == CALIBRATING)[-1]
    end = line.end.copy()
    end[last] = line.start[last] + NS_PER_HOUR // 2
    (one,) = found(entries, replace(line, end=end))
    assert one.sentence.endswith("shows the reading still in pH 7")
    # Recorded on change, a buffer read behind a held output leaves nothing.
    changes = {"ph": {"value": Sampling(kind="exception", interval_s=60.0)}}
    told = audit(entries, {"ph": replace(line, end=end)}, changes, PLANT)
    assert "other plateaus" not in {f.kind for f in told}
    # A process at pH 4.1 that day: the probe put into pH 4 would show nothing.
    near = Levels(time=np.arange(100 * 24, dtype=np.int64) * NS_PER_HOUR, value=np.full(100 * 24, 4.1))
    told = audit(entries, {"ph": replace(line, end=end)}, SAMPLING, PLANT, {"ph": near})
    assert [f.kind for f in told if f.kind != "overdue"] == []
    # Or one that visits pH 4 at times: no reading there was taken for a standard.
    visits = replace(near, value=np.where(np.arange(100 * 24) % 10 < 3, 4.1, 3.6))
    told = audit(entries, {"ph": replace(line, end=end)}, SAMPLING, PLANT, {"ph": visits})
    assert [f.kind for f in told if f.kind != "overdue"] == []


def far_off(line: StateLine, *rests: tuple[str, ...]) -> StateLine:
    """The same line with standards in which only a probe far off may have been."""
    told = iter(rests)
    return replace(line, rests=tuple(next(told) if c == CALIBRATING else () for c in line.code))


def in_millivolts(day: float, *pairs: tuple[float, float]) -> Calibration:
    standards = tuple(
        StandardReading(standard=v, raw=raw, standard_unit="pH", raw_unit="mV", temperature_degc=25.0)
        for v, raw in pairs
    )
    return calibration(day, standards=standards)


def test_a_probe_far_off_shows_another_buffer_too_unless_its_own_millivolts_explain_the_reading() -> None:
    """The reading stood near pH 4, and the entry names pH 10: 177 mV are no pH 10, unless the glass reads pH 7 as 8.6."""
    line = far_off(states(*TRACED), (), (), ("pH 4",))
    sound = [in_millivolts(d + 0.03, (7.0, -20.0), (10.01, 157.0)) for d in (5.0, 30.0, 55.0)]
    (one,) = found(sound, line)
    assert one.kind == "other plateaus"
    assert one.start == int(55.0 * DAY)
    astray = [in_millivolts(d + 0.03, (7.0, -120.0), (10.01, 30.0)) for d in (5.0, 30.0, 55.0)]
    assert found(astray, line) == []


def test_one_standard_is_another_only_whatever_the_transmitter_used_before() -> None:
    """A new redox probe in 220 mV, read with the old probe's offset of -230 mV, shows 450 mV: no 470 mV solution was used."""
    plant = Plant(points=(Point(name="orp", measurand="redox", temperature="T"),))

    def entry(day: float, raw: float, probe: str, left: float) -> Calibration:
        told = StandardReading(
            standard=220.0, raw=raw, standard_unit="mV", raw_unit="mV", temperature_degc=25.0
        )
        return calibration(day + 0.03, point="redox", probe=probe, left={"offset": left}, standards=(told,))

    line = seen(states(*TRACED), ("220 mV",), ("220 mV",), ("470 mV",))
    for offset, kinds in ((-230.0, []), (2.0, ["other plateaus"])):
        rows = [(5.0, 218.0, "A", -2.0), (30.0, 220.0 + offset, "A", offset), (55.0, 218.0, "B", -2.0)]
        entries = [replace(entry(*row), point="orp") for row in rows]
        told = audit(entries, {"orp": line}, {"orp": SAMPLING["ph"]}, plant)
        assert [f.kind for f in told if f.kind != "overdue"] == kinds


def test_a_rest_of_a_probe_far_off_is_no_missing_buffer() -> None:
    entries = [with_standards(d + 0.03, 7.0, 4.01) for d in (5.0, 30.0, 55.0)]
    line = seen(states(*TRACED), BOTH, BOTH, ())
    last = np.flatnonzero(line.code == CALIBRATING)[-1]
    end = line.end.copy()
    end[last] = line.start[last] + NS_PER_HOUR // 2
    assert found(entries, far_off(replace(line, end=end), (), (), ("pH 4",))) == []


def test_the_buffers_of_a_copied_entry_are_not_asked_about() -> None:
    entries = [with_standards(d + 0.03, 7.0, 10.01 if d > 50 else 4.01) for d in (5.0, 30.0, 55.0)]
    line = seen(states(*TRACED), BOTH, BOTH, BOTH)
    told = found([*entries[:2], replace(entries[2], copied=True)], line)
    assert [f.kind for f in told] == ["copied"]


def test_heat_hides_no_calibration_that_had_room_beside_it() -> None:
    """An hour of cleaning two hours before the entry: the probe was in the line then, and free when it was calibrated."""
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.0 - 2.1 / 24, CLEANING)))
    assert one.kind == "no trace"
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.0 + 0.8 / 24, CLEANING)))
    assert one.kind == "no trace"
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.0 + 0.3 / 24, CLEANING)))
    assert one.kind == "cannot tell"


def test_a_reading_that_stands_still_for_hours_shows_no_work() -> None:
    time = np.arange(100 * 24, dtype=np.int64) * NS_PER_HOUR
    lively = 6.0 + 0.01 * np.sin(time / DAY * 5)
    for value, kind in (
        (lively, "no trace"),
        (np.where(np.abs(time - 80 * DAY) < DAY, 14.0, lively), "cannot tell"),
    ):
        levels = {"ph": Levels(time=time, value=value, temperature=np.full(time.size, np.nan))}
        told = audit([*ENTRIES, calibration(80.0)], {"ph": states(*TRACED)}, SAMPLING, PLANT, levels)
        assert [f.kind for f in told if f.kind != "overdue"] == [kind]


def test_a_piece_many_times_longer_than_the_entered_ones_is_no_calibration() -> None:
    line = states(*TRACED, (80.0, CALIBRATING), (80.0 + 1 / 24, CALIBRATING), (80.0 + 2 / 24, CALIBRATING))
    assert [f.kind for f in found(ENTRIES, line)] == ["no entry"]  # three times as long
    longer = states(*TRACED, *((80.0 + hour / 24, CALIBRATING) for hour in range(4)))
    assert found(ENTRIES, longer) == []
    known = seen(longer, *[()] * 3, ("pH 7",), (), (), ())
    assert [f.kind for f in found(ENTRIES, known)] == ["no entry"]


def test_a_piece_that_runs_into_heat_is_the_cleaning_unless_two_standards_show() -> None:
    line = states(*TRACED, (80.0, CALIBRATING), (80.0 + 1 / 24, CLEANING))
    assert found(ENTRIES, line) == []
    known = seen(line, *[()] * 3, BOTH)
    assert [f.kind for f in found(ENTRIES, known)] == ["no entry"]


def test_broken_glass_shows_no_calibration() -> None:
    """By its own entry the probe reads the same in both buffers: so it does in the record."""
    entries = [*ENTRIES, calibration(80.0, found={"slope": 1.0, "zero_point": 6.3})]
    (one,) = found(entries, states(*TRACED))
    assert one.kind == "cannot tell"
    assert one.sentence.startswith("a probe that by its own entry tells its standards no longer apart")
    sound = [*ENTRIES, calibration(80.0, found={"slope": 97.0, "zero_point": 6.9})]
    assert [f.kind for f in found(sound, states(*TRACED))] == ["no trace"]


def test_what_an_entry_made_sure_is_not_counted_as_told_alone() -> None:
    """Log odds of 2.9 of which the entries gave 3: without them none of these calibrations would be told."""
    line = states(*TRACED, sure=0.95)
    assert found(ENTRIES, line) == []
    for much in (3.0, math.inf):  # infinite: nobody would have looked there
        helped = replace(line, helped=np.where(line.code == CALIBRATING, much, 0.0))
        (one,) = found(ENTRIES, helped)
        assert "would have shown none of the 3 that were entered" in one.sentence


def test_a_cleaning_at_that_time_leaves_it_open() -> None:
    (one,) = found([*ENTRIES, calibration(80.0)], states(*TRACED, (80.01, CLEANING)))
    assert one.kind == "cannot tell"
    assert one.sentence.startswith("cleaning or steam in part of the time between ")


def test_a_probe_exchanged_is_no_calibration_without_an_entry() -> None:
    stays = (
        Installation(probe="S1", point="ph", end=int(80.01 * DAY)),
        Installation(probe="S2", point="ph", start=int(80.01 * DAY)),
    )
    plant = Plant(points=PLANT.points, installations=stays)
    assert found(ENTRIES, states(*TRACED, (80.0, CALIBRATING)), plant=plant) == []


@pytest.mark.parametrize(
    ("traced", "bare", "telling"),
    [(0, 1, False), (1, 1, True), (2, 1, True), (4, 2, True), (5, 3, False), (1, 3, False)],
)
def test_a_points_own_entries_decide_whether_a_missing_trace_says_anything(
    traced: int, bare: int, telling: bool
) -> None:
    assert shows_traces(traced, bare) is telling


def test_a_point_that_was_never_calibrated_is_not_called_overdue() -> None:
    assert audit([], {"ph": states()}, SAMPLING, PLANT) == ()


def test_a_wash_of_half_a_minute_is_no_trace() -> None:
    line = states(*TRACED, (80.01, HOLD))
    end = line.end.copy()
    at = np.flatnonzero(line.code == HOLD)[0]
    end[at] = line.start[at] + 30 * 1_000_000_000
    (one,) = found([*ENTRIES, calibration(80.0)], replace(line, end=end))
    assert one.kind == "no trace"


@pytest.mark.parametrize(("stood", "kind"), [(200.0, "cannot tell"), (math.nan, "no trace")])
def test_where_the_element_had_failed_a_missing_trace_tells_nothing(stood: float, kind: str) -> None:
    """The temperature stands at the end of its range for ten days about the second of three calibrations; or is as ever."""
    time = np.arange(100 * 24, dtype=np.int64) * NS_PER_HOUR
    wave = np.sin(time / DAY)
    temperature = 35.0 + wave
    temperature[(time >= 25 * DAY) & (time < 35 * DAY) & math.isfinite(stood)] = stood
    levels = {"ph": Levels(time=time, value=7.5 + 0.1 * wave, temperature=temperature)}
    line = states((5.0, CALIBRATING), (55.0, CALIBRATING))
    told = [
        f for f in audit(ENTRIES, {"ph": line}, SAMPLING, PLANT, levels) if f.calibration == ENTRIES[1].id
    ]
    assert [f.kind for f in told] == [kind]
    assert ("a temperature element that had failed" in told[0].sentence) == (kind == "cannot tell")
