"""All of a scan that bears on one question about one point, and which of it leads."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.errors import unknown
from excursions.kinds import UNUSABLE, WORTH_ASKING
from excursions.records import (
    MEASURING,
    NO_DATA,
    NOT_BORNE_OUT,
    SEVERITY_RANK,
    Calibration,
    Doubt,
    Event,
    LabSample,
    Link,
    Outcomes,
    Shift,
)
from excursions.report.answers import MOST_LIKELY
from excursions.report.explanation import Focus
from excursions.report.result import PointFindings, ScanResult, Verdict
from excursions.report.telling import PASSING, became, is_open_question, put_right_at, tolerance_of, worst
from excursions.report.wording import HEAT


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One point's share of a scan, and the span asked about.

    shifts : found at the point, or of a probe that an event of the point may have changed
    elsewhere : events of other points, by id, that may have changed a probe of this one
    """

    findings: PointFindings
    verdict: Verdict
    focus: Focus
    tz: ZoneInfo
    calibrations: Sequence[Calibration] = ()
    shifts: Sequence[Shift] = ()
    links: Sequence[Link] = ()
    elsewhere: Mapping[str, Event] = field(default_factory=dict)
    doubts: Sequence[Doubt] = ()
    samples: Sequence[LabSample] = ()
    peers: tuple[PointFindings, ...] = ()
    outcomes: Outcomes

    @property
    def last(self) -> int:
        """The last instant asked about; a moment is a span of a nanosecond."""
        return max(self.focus.end, self.focus.start + 1)

    @property
    def minute(self) -> int:
        """Up to where events count [ns]: a moment is told by the minute, and so are the onsets that people ask about."""
        return max(self.focus.end, self.focus.start + clock.NS_PER_MINUTE)


def open_case(result: ScanResult, point: str, focus: Focus) -> Case:
    """Sort out what belongs to a point.

    Raises
    ------
    UsageError
        If the scan holds no such point.
    """
    found = {findings.point.name: findings for findings in result.points}
    if point not in found:
        raise unknown("point", point, found, otherwise="write the name as the register or the export has it")
    findings = found[point]
    here = {event.id for event in findings.events}
    led = {link.shift for link in result.links if link.event in here}
    shifts = [shift for shift in result.shifts if shift.point == point or shift.id in led]
    own = {shift.id for shift in shifts}
    links = [link for link in result.links if link.shift in own]
    named = {link.event for link in links} - here
    return Case(
        findings=findings,
        verdict=next(v for v in result.verdicts if v.point == point),
        focus=focus,
        tz=clock.zone(result.plant.zone),
        calibrations=[c for c in result.calibrations if c.point == point],
        shifts=shifts,
        links=links,
        elsewhere={e.id: e for other in result.points for e in other.events if e.id in named},
        doubts=[doubt for doubt in result.doubts if doubt.point == point],
        samples=[sample for sample in result.samples if sample.point == point],
        peers=tuple(found[name] for name in findings.point.neighbours if name in found),
        outcomes=result.outcomes,
    )


def is_outside(case: Case) -> bool:
    """Whether all that is asked about lies before the first or after the last sample of the record."""
    return case.focus.start > case.findings.end or case.last <= case.findings.start


def newest(result: ScanResult, point: str) -> Focus:
    """What to explain when nobody said when: the present trouble, else the newest event worth a look."""
    case = open_case(result, point, Focus(start=0, end=0))
    events = {event.id: event for event in case.findings.events}
    worth = [e for e in case.findings.events if e.may_be_probe and e.asks_a_look]
    lead = events.get(case.verdict.event) or max(worth, key=lambda e: (e.start, e.confidence), default=None)
    if lead is not None:
        return Focus(start=lead.start, end=lead.end, event=lead.id)
    told = [doubt for doubt in case.doubts if not doubt.too_small]
    if told:
        doubt = max(told, key=lambda d: d.start)
        return Focus(start=doubt.start, end=doubt.end)
    return Focus(start=case.findings.end, end=case.findings.end)


def error_in(doubt: Doubt, start: int, end: int) -> tuple[float, float]:
    """Largest error (by size) of a doubt window inside [start, end], with the half width of its band there."""
    _, error, band = worst_in(doubt, start, end)
    return error, band


def worst_in(doubt: Doubt, start: int, end: int) -> tuple[int, float, float]:
    """When the error of a doubt window is largest inside [start, end] (ns), the error and its band there.

    The end of the span and NaN where the window gives no error.
    """
    if not doubt.knots:
        return end, math.nan, math.nan
    at = np.array([t for t, _ in doubt.knots], dtype=np.float64)
    inside = at[(at > start) & (at < end)]
    ends = np.clip([start, end], doubt.start, doubt.end).astype(np.float64)
    times = np.unique(np.concatenate([ends, inside]))
    error = np.interp(times, at, [e for _, e in doubt.knots])
    bands = (
        np.interp(times, at[: len(doubt.band)], doubt.band) if doubt.band else np.full(times.size, math.nan)
    )
    size, sure = np.abs(error), np.abs(error) > bands
    worst = int(np.argmax(size * sure if sure.any() else size))  # as `wording.worst_knot`
    return int(times[worst]), float(error[worst]), float(bands[worst])


def tolerance(case: Case) -> float:
    """Reading error that matters here, by the level around the moment."""
    levels = case.findings.levels
    near = np.abs(levels.time - case.focus.start) <= clock.NS_PER_DAY
    return tolerance_of(levels.value[near], case.findings.point)


def leading_doubt(case: Case) -> Doubt | None:
    """The doubt window that covers the span and is off by most; of an event, the window it opened comes first."""
    covering = [d for d in case.doubts if d.start < case.last and d.end >= case.focus.start]
    if case.focus.event:
        own = [d for d in case.doubts if d.event == case.focus.event]
        covering = own or covering

    def harm(doubt: Doubt) -> float:
        error, band = error_in(doubt, *_reach(case, doubt))
        return abs(error) if math.isfinite(error) else band if math.isfinite(band) else 0.0

    return max(covering, key=lambda d: (not d.too_small, harm(d), -d.start), default=None)


def _reach(case: Case, doubt: Doubt) -> tuple[int, int]:
    return reach_of(case.focus, doubt)


def reach_of(focus: Focus, doubt: Doubt) -> tuple[int, int]:
    """The span over which the error of a doubt window is told: of an event, all of the window."""
    return (doubt.start, doubt.end) if focus.event else (focus.start, max(focus.end, focus.start + 1))


def unusable_event(case: Case) -> Event | None:
    """The failure that makes readings inside the span no readings at all."""
    return worst(unusable_events(case))


def unusable_events(case: Case) -> list[Event]:
    """All such failures that the span touches."""
    return [e for e in _covering(case) if e.kind in UNUSABLE and e.may_be_probe and _believed(e)]


def bridged_event(case: Case) -> Event | None:
    """The stretch an export drew across missing data, when the span lies in it for the most part."""
    asked = case.last - case.focus.start
    return worst(
        [
            event
            for event in _covering(case)
            if event.kind == "bridged"
            and 2 * (min(event.end, case.last) - max(event.start, case.focus.start)) >= asked
        ]
    )


def live_events(case: Case) -> list[Event]:
    """The events of the probe (or undecided) that still bear on readings of the span, as known now."""
    return [e for e in case.findings.events if _is_live(e, case)]


def live_event(case: Case) -> Event | None:
    """The one of them that weighs most."""
    return worst(live_events(case))


def probe_beside(case: Case, event: Event) -> Event | None:
    """What else the probe did that bears on the span of a question about one event, or about a moment in it."""
    span = replace(case, focus=Focus(start=case.focus.start, end=case.focus.end))
    return worst([e for e in live_events(span) if e.origin == "probe" and e.id != event.id])


def other_live_event(case: Case) -> Event | None:
    """The same beside the failures that make readings no readings."""
    return worst([e for e in case.findings.events if e.kind not in UNUSABLE and _is_live(e, case)])


def heat_event(case: Case) -> Event | None:
    """The heat beyond a rating of the cleaning or steaming that the span lies in, or recovers from, if nobody looked since."""
    states = case.findings.states
    rows = np.flatnonzero((states.start < case.last) & (states.end > case.focus.start))
    if not rows.size:
        return None
    first = int(rows[0])
    while (
        first
        and states.code[first - 1] not in (MEASURING, NO_DATA)
        and states.end[first - 1] >= states.start[first]
    ):
        first -= 1
    stay = replace(case, focus=Focus(start=int(states.start[first]), end=int(states.end[rows[-1]])))
    return worst([e for e in _covering(stay) if e.kind in HEAT and _is_live(e, stay)])


def also_there(case: Case, told: Event | None) -> list[Event]:
    """What the probe did or may have done in a moment or a range beside the event that is told, most serious first."""
    others = [e for e in _covering(case) if e.may_be_probe and (told is None or e.id != told.id)]
    return sorted(others, key=lambda e: (-SEVERITY_RANK[e.severity], -e.confidence, e.start))


def doubt_to_come(case: Case, event: Event) -> Doubt | None:
    """The window of doubt that an event opens after what is asked about: up to there its error stays within the tolerance."""
    own = [d for d in case.doubts if d.event == event.id and not d.too_small]
    return own[0] if own and all(d.start >= case.last for d in own) else None


def is_blind(case: Case) -> bool:
    """Whether the answer for the point is that this record cannot tell, because most kinds of fault could not show in it."""
    return case.verdict.verdict == "cannot tell" and not case.verdict.event


def process_event(case: Case) -> Event | None:
    """What the process did in the span, where an event was found that was laid to it."""
    return worst([e for e in _covering(case) if e.origin == "process"])


def _covering(case: Case) -> list[Event]:
    if case.focus.event:
        return [event for event in case.findings.events if event.id == case.focus.event]
    return [
        e
        for e in case.findings.events
        if e.start < case.minute and max(e.end, e.start + 1) > case.focus.start
    ]


def _believed(event: Event) -> bool:
    return event.confidence >= (MOST_LIKELY if event.origin == "probe" else WORTH_ASKING)


def _is_live(event: Event, case: Case) -> bool:
    if case.focus.event and event.id != case.focus.event:
        return False
    if is_hot(event, case):
        return True
    at = None if case.focus.event else case.focus.start
    believed = is_open_question(event, at) if event.origin == "undecided" else _believed(event)
    if not (event.asks_a_look and event.may_be_probe and believed):
        return False
    if event.start >= case.minute:
        return False
    if event.kind in PASSING:  # while it lasts no later calibration speaks for or against it
        return bool(case.focus.event) or event.open_end or event.end > case.focus.start
    if became(case.outcomes, event.id) == NOT_BORNE_OUT:
        return False
    if not case.focus.event and doubt_to_come(case, event) is not None:
        return False
    if not case.focus.event and event.back_at is not None and event.back_at <= case.focus.start:
        return False
    mended = calibrated_after(case, event)
    return mended is None or mended > case.focus.start


def is_hot(event: Event, case: Case) -> bool:
    """Whether the span lies in heat beyond a rating: nobody states what a probe shows there, and no calibration says it later."""
    lasts = event.start < case.minute and max(event.end, event.start + 1) > case.focus.start
    return event.kind in HEAT and event.may_be_probe and not case.focus.event and lasts


def calibrated_after(case: Case, event: Event) -> int | None:
    """When a calibration put an event right, as far as the record shows; None without one."""
    return put_right_at(event, case.calibrations, case.outcomes)


def event_of(case: Case, identity: str) -> Event | None:
    """The event of this point with this id."""
    return next((event for event in case.findings.events if event.id == identity), None)
