"""Entries whose work the record shows at another time: a log kept by another clock, or a slip in one date.

A log says by itself neither in which zone it is kept nor that a date was mistyped; the record does.  Where most entries lie
by one and the same number of hours beside the work, the clock differs and the entries are audited by the record's.  A single
entry without a trace beside work without an entry may be the same thing with day and month exchanged, in another month, a
day off or entered later that day: then both are told with that hint, and neither is taken back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, duration_text, wall
from excursions.conclusions import AuditFinding
from excursions.link.sight import Look
from excursions.link.traces import day_alone, distance, reach
from excursions.records import BoolArray, Calibration, IndexArray

_STEP_NS = 15 * NS_PER_MINUTE  # zones lie whole quarters of an hour apart
_FURTHEST_NS = 14 * NS_PER_HOUR  # from UTC
_CLOSE_NS = 30 * NS_PER_MINUTE  # an entry is written at the start or the end of the work
# One step either way, beside the half hour that an entry may be late: zones in use side by side mostly lie an hour apart (cp).
_OWN_NS = _STEP_NS
_FEWEST, _MOST_OF_ALL = 3, 0.8  # entries that must agree, and their share (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A log's clock against the record's: entries lie `ahead` [ns] after the work; `fit` of `of` entries agree."""

    ahead: int
    fit: int
    of: int


def other_clock(looks: Sequence[Look]) -> Clock | None:
    """The offset that most entries of all points share, whole hours where they fit; None where they stand by the work as they are, or too few tell.

    Only work that is plain without the log is looked at, and only entries with a time of day.
    """
    rows = [(c, _plain_work(look)) for look in looks for c in look.mine if not day_alone(c, look.tz)]
    rows = [(c, work) for c, work in rows if _within(c, _reach_of(work))]
    if len(rows) < _FEWEST:
        return None
    steps = int(_FURTHEST_NS // _STEP_NS)
    offsets = np.arange(-steps, steps + 1, dtype=np.int64) * _STEP_NS
    hits = np.array([_hits(c, work, offsets) for c, work in rows])
    near = np.abs(offsets) <= _OWN_NS
    counts = np.where(near, 0, hits.sum(axis=0))
    most = int(counts.max())
    stay = int(hits[:, near].any(axis=1).sum())
    if most < max(_FEWEST, _MOST_OF_ALL * len(rows)) or stay > len(rows) - most:
        return None
    best = offsets[counts == most]
    return Clock(ahead=_roundest(best), fit=most, of=len(rows))


def _reach_of(work: IndexArray) -> tuple[int, int]:
    """From the first piece of work to the last, as far out as a clock can be off; empty without any."""
    return (int(work[0, 0]) - _FURTHEST_NS, int(work[-1, 1]) + _FURTHEST_NS) if len(work) else (0, 0)


def _within(c: Calibration, span: tuple[int, int]) -> bool:
    return span[0] <= c.time <= span[1]


def _plain_work(look: Look) -> IndexArray:
    return look.traces.work[np.array(look.traces.alone, dtype=np.bool_)]


def _hits(c: Calibration, work: IndexArray, offsets: IndexArray) -> BoolArray:
    """Whether the entry stands by some work at each offset (k,)."""
    when = (c.time - offsets)[:, None]
    return np.asarray(np.any((when >= work[:, 0] - _CLOSE_NS) & (when <= work[:, 1] + _CLOSE_NS), axis=1))


def _roundest(offsets: IndexArray) -> int:
    """Of the offsets that fit as well, whole hours before others and the middle before the edges."""
    middle = float(np.median(offsets))
    return int(min(offsets.tolist(), key=lambda o: (o % NS_PER_HOUR != 0, abs(o - middle), o)))


def clock_findings(looks: Sequence[Look], seen: Clock) -> Iterator[AuditFinding]:
    """The other clock, once for each point with entries.  `looks` : with the entries as they were written."""
    way = "after" if seen.ahead > 0 else "before"
    apart = duration_text(abs(seen.ahead) / 1e9)
    for look in looks:
        if not look.mine:
            continue
        first = look.mine[0]
        yield AuditFinding(
            point=look.point.name, probe=first.probe, kind="other clock", start=first.time, end=look.mine[-1].time,
            sentence=f"{seen.fit} of {seen.of} entries of the log lie about {apart} {way} the work that the record shows: it is kept in "
            f"another zone than it was read in, or by a clock that is off; audited here with all entries {apart} "
            f"{'earlier' if seen.ahead > 0 else 'later'}, while shifts and doubt stand at the times as written (write its times with their zone, or state that with --tz where those of the record carry their own)",
        )  # fmt: skip


def by_clock(calibrations: Sequence[Calibration], seen: Clock | None) -> tuple[Calibration, ...]:
    """The entries at the time the record's clock showed."""
    return tuple(replace(c, time=c.time - seen.ahead) for c in calibrations) if seen else tuple(calibrations)


# --- a slip in one date -----------------------------------------------------------------------------


def slipped(
    c: Calibration, spans: Sequence[tuple[int, int]], tz: ZoneInfo
) -> tuple[tuple[int, int], str] | None:
    """Work that no entry names and that would be this entry's but for a slip of its date, with that slip in words."""
    for words, low, high in _other_dates(c, tz):
        for start, end in spans:
            if start <= high and end >= low:
                return (start, end), words
    return None


def _other_dates(c: Calibration, tz: ZoneInfo) -> Iterator[tuple[str, int, int]]:
    """Likely slips with the time [ns] they mean, likeliest first: what, earliest, latest."""
    said = clock.to_datetime(c.time, tz)
    exact = not day_alone(c, tz)
    for words, moment in _moments(said, timed=exact):
        at = clock.to_ns(moment)
        yield words, at - reach(c, tz), at + reach(c, tz)
    if exact:
        midnight = clock.to_ns(said.replace(hour=0, minute=0, second=0, microsecond=0))
        yield "at another hour of that day", midnight, midnight + NS_PER_DAY


def _moments(said: datetime, *, timed: bool) -> Iterator[tuple[str, datetime]]:
    if said.day <= 12 and said.day != said.month:
        yield "with day and month exchanged", said.replace(month=said.day, day=said.month)
    if timed:
        yield "twelve hours apart", said + timedelta(hours=12)
        yield "twelve hours apart", said - timedelta(hours=12)
    for days in (1, -1):
        yield "a day apart", said + timedelta(days=days)
    for months in (1, -1):
        moment = _other_month(said, months)
        if moment is not None:
            yield "a month apart", moment
    for years in (1, -1):
        moment = _other_month(said, 12 * years)
        if moment is not None:
            yield "a year apart", moment


def _other_month(said: datetime, months: int) -> datetime | None:
    count = said.year * 12 + said.month - 1 + months
    try:
        return said.replace(year=count // 12, month=count % 12 + 1)
    except ValueError:  # no such day in that month
        return None


def missed_work(c: Calibration, spans: Sequence[tuple[int, int]], tz: ZoneInfo) -> str:
    """Words to follow those of an entry without a trace; empty where no other work fits it."""
    found = slipped(c, spans, tz)
    if found is None:
        return ""
    (start, end), words = found
    return f"; the work from {wall(start, tz)} for {duration_text((end - start) / 1e9)}, which no entry names, fits it {words}"


def missed_entry(
    span: tuple[int, int], entries: Sequence[Calibration], spans: Sequence[tuple[int, int]], tz: ZoneInfo
) -> str:
    """Words to follow those of work without an entry; empty where no entry without a trace fits it."""
    fits = [(c, found[1]) for c in entries if (found := slipped(c, spans, tz)) and found[0] == span]
    if not fits:
        return ""
    c, words = min(fits, key=lambda row: (distance(row[0], *span), row[0].time))
    return f"; the entry of {wall(c.time, tz)}, which has no trace, fits it {words}"
