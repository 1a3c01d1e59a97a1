"""Windows of doubt that no calibration closed by what it found: still open, over by themselves, or up to one that says nothing."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from excursions.calibrations import models
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_HOUR
from excursions.digits import written
from excursions.kinds import DOUBTED, GRADUAL
from excursions.link.candidates import causes, with_chances
from excursions.link.effects import believed_chance
from excursions.link.grounds import Known, sampled_events, stays_of, with_setting
from excursions.link.in_use import InUse
from excursions.link.intervals import intervals, is_of
from excursions.link.pins import off_at_last, pins_of
from excursions.link.posterior import posterior, weigh_sets
from excursions.link.shape import OPENS_AT, is_off_at_first, off_at_first, span_of, window
from excursions.link.unsaid import before_the_unsaid, says_nothing, with_finding, with_return
from excursions.plant import Point
from excursions.records import (
    RETURNED,
    Calibration,
    Doubt,
    Event,
    Parameter,
    Shift,
)

_FIRST = (
    "no calibration before the one at its end to compare with: error judged from events and the reading alone"
)
_UNSAID = (
    "what the calibration at its end found, nobody entered: error judged from events and the reading alone"
)
_BACK = "the reading was back at once where samples agree: error judged from the event and the samples"


def unsaid_windows(
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    known: Known,
    standing: Collection[str],
) -> Iterator[Doubt]:
    """Windows up to a calibration that says nothing of what it found, or has none before it, from the events before it alone.

    Told is what was rather out of tolerance than not: no calibration bears out the rest, and none refutes it.
    """
    real = _entered(calibrations)
    may = [
        e for e in events
        if e.kind in DOUBTED and e.may_be_probe and not e.went_back and e.id not in standing
    ]  # fmt: skip
    for closing, rows in before_the_unsaid(may, real):
        entered = [c.time for c in calibrations if c.point == closing.point]
        before = {e.id: believed_chance(e, known.beliefs) for e in rows}
        after = [
            with_finding(e, before[e.id], closing, known.levels, known.plant)
            or with_return(e, before[e.id], closing, known.levels, entered, known.plant)
            for e in rows
        ]
        seen = [e for e, chance in after if chance >= OPENS_AT]
        chances = {e.id: chance for e, chance in after if chance != before[e.id]}
        point = known.plant.point(closing.point)
        if not seen or point is None or point.measurand == "other":
            continue
        last = _last(seen[0], [c for c in real if c.time < closing.time], math.inf)
        why = _UNSAID if says_nothing(closing) else _FIRST
        for made in _open_one(point, seen, last, known, until=closing.time, why=why, chances=chances):
            if made.hours_out_of_tolerance > 0:
                yield made


def _entered(calibrations: Sequence[Calibration]) -> list[Calibration]:
    """Calibrations in order of time, those left out that repeat the entry before them."""
    return sorted((c for c in calibrations if not c.copied), key=lambda c: c.time)


def back_windows(
    events: Sequence[Event], calibrations: Sequence[Calibration], known: Known
) -> Iterator[Doubt]:
    """Windows of slow changes that samples saw and that were over before any calibration, which then had nothing left to find."""
    real = _entered(calibrations)
    for event in events:
        point, back = known.plant.point(event.point), event.back_at
        if point is None or back is None or event.kind not in GRADUAL or not sampled_events((event,), point):
            continue
        last = _last(event, real, back)
        if last is not None and last.time > event.start:
            continue
        as_it_was = replace(event, details={n: v for n, v in event.details.items() if n != RETURNED})
        for made in _open_one(point, [as_it_was], last, known, until=back, why=_BACK):
            if made.hours_out_of_tolerance > 0:
                yield made


def open_windows(
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    known: Known,
    standing: Collection[str],
) -> list[Doubt]:
    """Windows after the last calibration of each probe, from the events since then alone."""
    real = _entered(calibrations)
    since: dict[tuple[str, str], list[Event]] = {}  # by probe, or by point where nobody says which
    for event in events:
        may = event.kind in DOUBTED and event.may_be_probe and not event.went_back
        chance = believed_chance(event, known.beliefs)
        if may and chance >= OPENS_AT and (event.id in standing or _unverified(event, real)):
            owner = (event.probe, "") if event.probe else ("", event.point)
            since.setdefault(owner, []).append(event)
    last_of = {
        owner: _last(rows[0], real, min((e.start for e in rows if e.id in standing), default=math.inf))
        for owner, rows in since.items()
    }
    seen = {id(last) for last in last_of.values()}
    windows: list[Doubt] = []
    for owner, rows in sorted(since.items()):
        point = known.plant.point(rows[0].point)
        # A quantity that is no probe's (a flow, a level) has no parameters whose error could be judged.
        if point is not None and point.measurand != "other":
            windows += _open_one(point, rows, last_of[owner], known)
    for history in histories(real, known.plant):
        point = known.plant.point(history[-1].point)
        # An error that was found and left, or put right on paper only, stands open even if nothing happened since.
        left = history[-1].action == "verification" or known.set_by(history[-1]).kept
        if point is not None and left and id(history[-1]) not in seen:
            windows += _open_one(point, (), history[-1], known)
    return windows


def sampled_windows(
    calibrations: Sequence[Calibration], shifts: Sequence[Shift], known: Known, open_at: Collection[str]
) -> Iterator[Doubt]:
    """Windows at points without another open one, where the last laboratory samples since the last calibration agree that the
    reading is off: each beyond its own uncertainty, more than one, all the same way."""
    real = _entered(calibrations)
    for point in known.plant.points:
        line = known.levels.get(point.name)
        if point.name in open_at or line is None or not line.time.size or point.measurand == "other":
            continue
        last = next((c for c in reversed(real) if c.point == point.name), None)
        compared = (shift.end for shift in shifts if shift.point == point.name)
        begun = max((last.time if last else int(line.time[0]), *compared))
        pins = pins_of(point, known.levels, (begun, int(line.time[-1]) + NS_PER_HOUR), known.samples)
        run = off_at_last(pins)
        if run:
            since = pins[-run - 1].time if run < len(pins) else begun
            why = f"no event in the record explains what the last {run} laboratory samples say, each beyond its own uncertainty"
            yield from _open_one(point, (), last, known, since=since, why=why)


def _unverified(event: Event, calibrations: Sequence[Calibration]) -> bool:
    """Whether no calibration has looked at an event, or a gradual one went on after the last that did."""
    last = _last(event, calibrations, math.inf)
    return (
        last is None or last.time < event.start or (event.kind in GRADUAL and last.time < event.nearly_over)
    )


def _last(event: Event, calibrations: Sequence[Calibration], before: float) -> Calibration | None:
    """Last calibration of an event's probe up to an instant, of calibrations in time order."""
    mine = [c for c in calibrations if c.time <= before and is_of(event, c.probe, c.point)]
    return mine[-1] if mine else None


def _open_one(
    point: Point,
    events: Sequence[Event],
    last: Calibration | None,
    known: Known,
    *,
    until: int | None = None,
    since: int | None = None,
    why: str = "",
    chances: Mapping[str, float] | None = None,
) -> Iterator[Doubt]:
    """Windows of a probe after a calibration, one for each place it stood at since then; `until` an instant [ns], if it is over;
    `since` one from which samples show an error that no event does.

    chances : event id -> chance that it left an error, where the record says more of that than the table
    """
    plant, levels = known.plant, known.levels
    began = last.time if last else min((e.start for e in events), default=0) - NS_PER_HOUR
    start = began if since is None else since
    probe = events[0].probe if events else last.probe if last else ""
    seated = probe or plant.probe_at(point.name, start) or ""
    places = {point.name, *(row.point for row in plant.installations if seated and row.probe == seated)}
    ends = [int(levels[p].time[-1]) + NS_PER_HOUR for p in places if p in levels and levels[p].time.size]
    end = until if until else max([0, *ends, *(max(e.end, e.start + NS_PER_HOUR) for e in events)])
    setting = known.set_by(last) if last else InUse(time=start, used={})
    shifts = _blank_shifts(point, probe, (last.as_left or last.as_found) if last else {}, start, end)
    if not shifts or end <= start:
        return
    interval = intervals(shifts, events)[0]
    found = with_chances(causes(interval, plant, levels, known.beliefs), chances or {})
    seen = posterior(
        found, interval, weigh_sets(interval, found, known.ageing, known.beliefs, observed=False)
    )
    for place, stay in stays_of(seated, point.name, (start, end), plant):
        span = span_of(
            interval, setting.used, place, levels,
            probe=probe, samples=known.samples, stay=stay, open_end=until is None and stay[1] == end,
        )  # fmt: skip
        unseen = "has followed yet" if last else "was given"
        reason = why or f"no calibration {unseen}: the error is judged without one"
        if not events and since is None:
            if not is_off_at_first(span):
                continue
            error = off_at_first(span)
            how = "adjusted in the log alone" if setting.kept else "not adjusted"
            reason = f"verified, found off by {written(error, signed=True)} {place.quantity.unit} and {how}"
        made = window(span, seen, reason)
        if made:
            yield with_setting(made, span, setting)


def _blank_shifts(
    point: Point, probe: str, state: Mapping[str, Parameter], start: int, end: int
) -> list[Shift]:
    """Shifts that nobody has found yet: parameters as left, change unknown, as uncertain as the start at both ends."""
    shape = models.form(point.measurand, {n: p.unit for n, p in state.items()})
    values = models.filled(shape, {n: p.value for n, p in state.items() if n in shape.units})
    return [
        Shift(
            probe=probe,
            point=point.name,
            measurand=point.measurand,
            parameter=name,
            unit=shape.units[name],
            start=start,
            end=end,
            before=value,
            after=value,
            uncertainty=math.sqrt(2.0) * state[name].uncertainty if name in state else 0.0,
            p_value=1.0,
            significant=False,
        )
        for name, value in values.items()
    ]
