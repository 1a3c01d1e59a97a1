"""Long records in two passes: fortnights searched one after the other with their lead-in, then the whole by the hour.

A record up to :data:`LONG_ROWS` is searched as a whole.  Beyond that a search of the whole would grow without end, and
a single new day would cost as much as all the years before it.  So a long record is a fold over fortnights (UTC,
counted from 1970): what was found up to a fortnight, and the search of that fortnight with three weeks of lead-in,
give what was found up to its end.  The medians of every hour, which the fold gathers on the way, are then searched as
one record for what is too slow for five weeks to show (``slow.py``).  The result depends on the samples alone, not on
when they came; what was found up to an old fortnight can be remembered.

What this costs: sampling and detection limits, but for those of slow changes, are those of the newest window.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from excursions.clock import NS_PER_DAY
from excursions.conclusions import HeatTally, NoiseBeside
from excursions.condition.order import put_in_order
from excursions.condition.signal import row_decisions, without_codes
from excursions.pipeline.point import (
    TRACE_BUDGET,
    PointCounts,
    PointInput,
    hourly_medians,
    search_whole,
    signals_beside,
)
from excursions.pipeline.slow import both_passes
from excursions.plant import Plant
from excursions.records import NO_DATA, BoolArray, Decision, Event, Sampling, StateLine, TagSeries
from excursions.report.result import Levels, PointFindings, Trace
from excursions.states.line import Claim, claims_of, line_of

# Rows of all signals of a point: with two, a year at 10 s or six at a minute.  A search of the whole sees slow changes
# that five weeks cannot show, so it is kept for as long as its memory allows.
LONG_ROWS = 7_000_000
# Of the fold; with its lead-in five weeks, so that weekly rounds of a process show as such.
STEP = 14 * NS_PER_DAY
LEAD = 21 * NS_PER_DAY
OPENING = 3  # steps of the first window, which has no lead-in
HINDSIGHT = 7 * NS_PER_DAY  # what lies nearer to a window's end is judged again with the next one
WINDOW_BUDGET = TRACE_BUDGET // 16  # plotted samples a window; the first is plotted as a record of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """One fortnight [start, end) of a long record; ns UTC.

    lead : where its search begins to look
    seam : from here on its findings replace those of the window before, which had seen too little of what follows
    """

    lead: int
    seam: int
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar:
    """What is known of a long record up to the end of a window: its findings, and hourly medians of its neighbours.

    The findings have limits where the window was the newest when it was searched.
    """

    findings: PointFindings
    near: dict[str, Levels]


def is_long(rows: int) -> bool:
    """Whether a record of so many rows (repeats left out, all signals of the point) is cut into windows."""
    return rows > LONG_ROWS


def windows_of(first: int, last: int) -> list[Window]:
    """The windows of a record from its first to its last instant [ns]; some may hold no row.

    The first window has no lead-in, so it is as long as a later one with it.
    """
    step = first // STEP
    opening = Window(lead=step * STEP, seam=step * STEP, start=step * STEP, end=(step + OPENING) * STEP)
    later = range(opening.end, last + 1, STEP)
    return [
        opening,
        *(Window(lead=at - LEAD, seam=at - HINDSIGHT, start=at, end=at + STEP) for at in later),
    ]


def analyse_long(given: PointInput) -> tuple[PointFindings, PointCounts] | None:
    """Search a long record window by window; None when it is not long once repeats are left out."""
    rows = sum(int(series.time.size) for series in given.series.values())
    ordered, counts, decisions = {}, [], []
    for role, series in given.series.items():
        ordered[role], count, told = _in_order(series, given.plant)
        counts.append(count)
        decisions += told
    if not is_long(sum(int(series.time.size) for series in ordered.values())):
        return None
    near = {
        name: (other, _in_order(series, given.plant)[0]) for name, (other, series) in given.neighbours.items()
    }
    whole = replace(given, series=ordered, neighbours=near)
    ends = [int(series.time[at]) for series in ordered.values() if series.time.size for at in (0, -1)]
    so_far: SoFar | None = None
    windows = windows_of(min(ends), max(ends))
    for window in windows:
        so_far = extended(so_far, window, cut(whole, window, newest=window is windows[-1]))
    assert so_far is not None
    first, samples = so_far.findings, (given.sample_time, given.sample_value)
    found = both_passes(first, so_far.near, given.plant, samples).of(first)
    found = replace(found, decisions=tuple(dict.fromkeys([*found.decisions, *decisions])))
    return found, PointCounts(
        rows=rows, duplicates=sum(d for d, _ in counts), conflicts=sum(c for _, c in counts)
    )


def _in_order(series: TagSeries, plant: Plant) -> tuple[TagSeries, tuple[int, int], list[Decision]]:
    """A series in time order without repeats, how many repeated and contradicted, and what is to be said of that."""
    done = put_in_order(series.time, series.value, series.quality)
    done, said = without_codes(series.tag, done, plant.quality_words)
    settled = replace(series, time=done.time, value=done.value, quality=done.quality)
    return settled, (done.duplicates, done.conflicts), [*said, *row_decisions(series.tag, done)]


def cut(given: PointInput, window: Window, *, newest: bool) -> PointInput:
    """What the search of one window sees: ordered series, neighbours and samples from the lead-in to its end.

    Only the newest window of a record says what could have been found in it.
    """
    first, last = np.searchsorted(given.sample_time, [window.lead, window.end])
    return replace(
        given,
        series={
            role: part for role, one in given.series.items() if (part := _between(one, window)).time.size
        },
        neighbours={
            name: (other, part)
            for name, (other, one) in given.neighbours.items()
            if (part := _between(one, window)).time.size
        },
        sample_time=given.sample_time[first:last],
        sample_value=given.sample_value[first:last],
        plant=noted_until(given.plant, window),
        trace_budget=TRACE_BUDGET if window.lead == window.start else WINDOW_BUDGET,
        counted_from=window.start,
        kept_from=window.seam,
        limits=newest,
    )


def noted_until(plant: Plant, window: Window) -> Plant:
    """The plant with the calibrations that the logs enter up to a window's end, so that a later entry changes no older one."""
    return replace(
        plant,
        noted=tuple(row for row in plant.noted if row[1] < window.end),
        cleaned=tuple(row for row in plant.cleaned if row[1] < window.end),
    )


def _between(series: TagSeries, window: Window) -> TagSeries:
    first, last = np.searchsorted(series.time, [window.lead, window.end])
    return replace(
        series,
        time=series.time[first:last],
        value=series.value[first:last],
        quality=series.quality[first:last],
    )


def search_window(given: PointInput) -> SoFar:
    """Search one window as if it were the whole record."""
    beside = signals_beside(given)
    near = {
        name: Levels(time=hours, value=medians, temperature=np.full(hours.size, np.nan))
        for name, signal in beside.items()
        for hours, medians in [hourly_medians(signal)]
    }
    return SoFar(findings=search_whole(given, beside)[0], near=near)


def extended(before: SoFar | None, window: Window, given: PointInput) -> SoFar | None:
    """What is known up to the end of a window; what was known before where it sees no row."""
    return extend(before, window, search_window(given)) if given.series else before


def extend(before: SoFar | None, window: Window, found: SoFar) -> SoFar:
    """What is known up to the end of a window, from what was known up to its beginning and its search.

    Parameters
    ----------
    before : SoFar or None
        None at the first window of the record.
    found : SoFar
        Of the window and its lead-in; its counts are of the window alone.
    """
    if before is None:
        return found
    near = {
        name: _levels(before.near.get(name, _NONE), found.near.get(name, _NONE), window.seam)
        for name in {**before.near, **found.near}
    }
    return SoFar(findings=_extended(before.findings, window, found.findings), near=near)


_NONE = Levels(time=np.empty(0, np.int64), value=np.empty(0), temperature=np.empty(0))


def _extended(before: PointFindings, window: Window, found: PointFindings) -> PointFindings:
    return PointFindings(
        point=found.point,
        start=before.start,
        end=max(before.end, found.end),
        samples=before.samples + found.samples,
        events=_events(before.events, found.events, window),
        states=_states(before.states, found.states, window.seam),
        sampling=_sampling(before.sampling, found.sampling),
        traces=_traces(before.traces, found.traces, window.seam),
        levels=_levels(before.levels, found.levels, window.seam),
        decisions=tuple(dict.fromkeys([*before.decisions, *found.decisions])),
        limits=found.limits,
        heat=_heat(before.heat, found.heat, window.seam),
        noise_beside=_noise(before.noise_beside, found.noise_beside, window.seam),
        exported_unit=found.exported_unit or before.exported_unit,
    )


# --- events --------------------------------------------------------------------------------------------------------


def _events(before: Sequence[Event], found: Sequence[Event], window: Window) -> tuple[Event, ...]:
    """Events that begin at the seam or later are the window's; of those that reach over it the window knows more.

    An event that reached to the seam and that the window, which saw it begin, does not find, is given up; one that
    began before the lead-in ends where the window no longer shows it.
    """
    left = [event for event in before if event.start < window.seam]
    made = [event for event in found if event.start >= window.seam]
    for event in found:
        if event.start >= window.seam:
            continue
        earlier = [e for e in left if e.kind == event.kind and e.end > event.start and e.start < event.end]
        if event.end >= window.seam or any(_reaches(e, window) for e in earlier):
            left = [e for e in left if e not in earlier]
            made.append(_longest(event, earlier, window))
    kept = [event for event in left if not _reaches(event, window)]
    for event in left:
        if _reaches(event, window) and event.start < window.lead:
            kept.append(replace(event, end=min(event.end, window.seam), open_end=False))
    return tuple(sorted([*kept, *made], key=lambda e: (e.start, e.kind, e.end)))


def _reaches(event: Event, window: Window) -> bool:
    return event.open_end or event.end >= window.seam


def _longest(event: Event, earlier: Sequence[Event], window: Window) -> Event:
    """The window's event, with the onset that was seen before when that lies before the window's sight."""
    first = min(earlier, key=lambda e: e.start, default=None)
    if first is None or first.start >= window.lead or first.start >= event.start:
        return event
    return replace(
        event, start=first.start, onset_uncertainty_s=first.onset_uncertainty_s, open_start=first.open_start
    )


# --- everything that is simply put end to end ----------------------------------------------------------------------


def _states(before: StateLine, found: StateLine, seam: int) -> StateLine:
    """The older line up to the seam, the newer one from there; no samples where neither reaches."""
    rows = [replace(row, end=min(row.end, seam)) for row in claims_of(before) if row.start < seam]
    for row in claims_of(found):
        at = rows[-1].end if rows else row.start
        if row.end <= at:
            continue
        if row.start > at:
            rows.append(Claim(start=at, end=row.start, code=NO_DATA, confidence=1.0, evidence="no samples"))
        start = max(row.start, at)
        if rows and rows[-1].code == row.code and rows[-1].end == start:
            rows[-1] = replace(rows[-1], end=row.end)
        else:
            rows.append(replace(row, start=start))
    return line_of(rows)


def _sampling(before: Mapping[str, Sampling], found: Mapping[str, Sampling]) -> dict[str, Sampling]:
    """How the newest window was recorded, with the longest silence and the bridged stretches of all."""
    merged = {**before, **found}
    for role in before.keys() & found.keys():
        old, new = before[role], found[role]
        longest = max(old, new, key=lambda sampling: sampling.longest_silence_s)
        merged[role] = replace(
            new,
            longest_silence_s=longest.longest_silence_s,
            longest_silence_at=longest.longest_silence_at,
            bridged=old.bridged + new.bridged,
            bridged_longest_s=max(old.bridged_longest_s, new.bridged_longest_s),
        )
    return merged


def _traces(before: Mapping[str, Trace], found: Mapping[str, Trace], seam: int) -> dict[str, Trace]:
    merged = dict(before)
    for name, trace in found.items():
        new = trace.time >= seam
        old = before.get(name)
        if old is None:
            merged[name] = replace(trace, time=trace.time[new], value=trace.value[new])
            continue
        kept = old.time < seam
        merged[name] = Trace(
            name=name,
            unit=trace.unit,
            time=np.concatenate([old.time[kept], trace.time[new]]),
            value=np.concatenate([old.value[kept], trace.value[new]]),
            samples=old.samples + trace.samples,
        )
    return merged


def _levels(before: Levels, found: Levels, seam: int) -> Levels:
    names = ("time", "value", "temperature")
    return Levels(**_end_to_end(names, before, before.time < seam, found, found.time >= seam))


def _noise(before: NoiseBeside, found: NoiseBeside, seam: int) -> NoiseBeside:
    """Instants before the seam as they were; those from there on, and any that only the window knows, from the window."""
    new = (found.time >= seam) | ~np.isin(found.time, before.time)
    joined = _end_to_end(("time", "before", "after"), before, before.time < seam, found, new)
    order = np.argsort(joined["time"])
    return NoiseBeside(**{name: array[order] for name, array in joined.items()})


def _heat(before: HeatTally, found: HeatTally, seam: int) -> HeatTally:
    """Days before the seam (a midnight) as they were, later ones from the window; both have the bands of the register."""
    if not before.start.size or not np.array_equal(before.edges_degc, found.edges_degc):
        return found
    names = ("start", "end", "hours", "ageing_h", "peak_degc", "peak_time")
    joined = _end_to_end(names, before, before.start < seam, found, found.start >= seam)
    return HeatTally(edges_degc=found.edges_degc, **joined)


def _end_to_end(
    names: Sequence[str], before: object, old: BoolArray, found: object, new: BoolArray
) -> dict[str, NDArray[Any]]:
    """Arrays of two records by name: the rows `old` of the older one, then the rows `new` of the newer one."""
    return {name: np.concatenate([getattr(before, name)[old], getattr(found, name)[new]]) for name in names}
