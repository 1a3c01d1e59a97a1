"""Which readings to doubt, since when and by how much.

A failed check makes every reading back to the last good calibration doubtful.  An event inside narrows that: the
error starts at the step, or grows with the drift.  Without one the error is taken to grow linearly over the
interval, as Wagner and others (2006), USGS Techniques and Methods 1-D3, prorate calibration drift.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np

from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.link.attribute import echoes
from excursions.link.predict import SEEN_IN_READING, size_deviation
from excursions.plant import Plant
from excursions.records import Calibration, Doubt, Event, FloatArray, Link, Shift
from excursions.report.result import Levels

Z90 = 1.645  # half width of a central 90 % interval in standard deviations
LIKELY = 0.5
PRORATION = "linear proration (USGS TM 1-D3)"
Knots = tuple[tuple[int, float], ...]


def doubt_windows(
    shifts: Sequence[Shift],
    links: Sequence[Link],
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
) -> tuple[Doubt, ...]:
    """Windows from failed checks, and open ones from events that no calibration has looked at yet.

    Returns
    -------
    tuple of Doubt
        By point and start.  Errors are reading minus truth in the canonical unit of the point.
    """
    by_id = {event.id: event for event in events}
    echo = echoes(events)
    closed = [
        window
        for group in _grouped(shifts)
        if (window := _from_shifts(group, links, by_id, echo, levels, plant)) is not None
    ]
    opened = [
        window
        for event in events
        if _is_open(event, calibrations)
        and (window := _from_event(event, calibrations, levels, plant)) is not None
    ]
    return tuple(sorted([*closed, *opened], key=lambda d: (d.point, d.start, d.end, d.event)))


def error_at(time: TimeArray, doubt: Doubt) -> FloatArray:
    """Best estimate of reading minus truth at each instant; 0 outside the window."""
    if not doubt.knots:
        return np.zeros(time.shape)
    where = np.array([knot[0] for knot in doubt.knots], dtype=np.int64)
    error = np.array([knot[1] for knot in doubt.knots])
    # Seconds from the first knot: float64 holds those exactly enough, nanoseconds since 1970 it does not.
    inside = np.interp((time - where[0]) / 1e9, (where - where[0]) / 1e9, error)
    return np.where((time >= doubt.start) & (time < doubt.end), inside, 0.0)


def corrected(time: TimeArray, value: FloatArray, doubt: Doubt) -> FloatArray:
    """Readings with the estimated error taken out, as a new array beside the original."""
    return value - error_at(time, doubt)


def _grouped(shifts: Sequence[Shift]) -> list[list[Shift]]:
    """Shifts of one pair of calibrations belong together: slope and zero act on one reading."""
    groups: dict[tuple[str, str, int, int], list[Shift]] = {}
    for shift in shifts:
        groups.setdefault((shift.probe, shift.point, shift.start, shift.end), []).append(shift)
    return [groups[key] for key in sorted(groups, key=lambda k: (k[1], k[2], k[0]))]


def _from_shifts(
    group: Sequence[Shift],
    links: Sequence[Link],
    by_id: Mapping[str, Event],
    echo: Mapping[str, Event],
    levels: Mapping[str, Levels],
    plant: Plant,
) -> Doubt | None:
    known = [s for s in group if math.isfinite(s.reading_error)]
    if not any(s.significant for s in known):
        return None
    # Shifts of one pair share the true reading error of the pair: use the sum, uncertainties in quadrature.
    error = sum(s.reading_error for s in known)
    deviation = math.sqrt(
        sum(s.reading_error_uncertainty**2 for s in known if math.isfinite(s.reading_error_uncertainty))
    )
    first = known[0]
    tolerance = _tolerance(first.point, levels, first.end, plant)
    if abs(error) <= tolerance:
        return None
    cause = _cause(known, links, by_id)
    shown = echo.get(cause.id, cause) if cause else None
    start, knots, basis = _shape(first, shown, error)
    band = tuple(_band(knot[1], error, deviation, certain=shown is not None) for knot in knots)
    return Doubt(
        point=first.point,
        probe=first.probe,
        start=start,
        end=first.end,
        open_end=False,
        knots=knots,
        band=band,
        basis=basis,
        hours_out_of_tolerance=hours_beyond(knots, tolerance),
        event=cause.id if cause else "",
        reasons=tuple(_found(s) for s in known),
    )


def _found(shift: Shift) -> str:
    name = shift.parameter.replace("_", " ")
    return f"{name} found {shift.change:+.3g} {shift.unit}, worth {shift.reading_error:+.3g} in the reading"


def _cause(group: Sequence[Shift], links: Sequence[Link], by_id: Mapping[str, Event]) -> Event | None:
    """The event behind the shift that moves the reading most, when one is the likely cause."""
    leading = max(group, key=lambda shift: abs(shift.reading_error))
    for link in links:
        if (
            link.shift == leading.id
            and link.rank == 1
            and link.cause == "event"
            and link.probability >= LIKELY
        ):
            return by_id.get(link.event)
    return None


def _shape(shift: Shift, event: Event | None, error: float) -> tuple[int, Knots, str]:
    """Start, knots and basis of the error over time."""
    if event is None:
        return shift.start, ((shift.start, 0.0), (shift.end, error)), PRORATION
    if event.kind in ("drift", "fouling", "slow_response", "noise_growth", "noise_collapse"):
        grown = min(max(event.end, event.start + 1), shift.end)
        knots: Knots = ((event.start, 0.0), (grown, error))
        return event.start, knots if grown == shift.end else (*knots, (shift.end, error)), event.kind
    basis = "step" if event.kind == "step" else "heat" if event.kind == "over_temperature" else event.kind
    return event.start, ((event.start, error), (shift.end, error)), basis


def _band(at: float, error: float, deviation: float, *, certain: bool) -> float:
    """Half width of the 90 % band: the check's own uncertainty, and for proration the unknown way there."""
    share = abs(at / error) if error else 1.0
    if certain:
        return Z90 * deviation
    # The unknown path lies anywhere between a jump at the start and one at the end: a uniform law has a standard
    # deviation of 1/sqrt(12) of its width, greatest in the middle; both ends are known up to the check.
    way = abs(error) * math.sqrt(max(share * (1 - share), 0.0)) if 0 < share < 1 else 0.0
    return Z90 * math.hypot(deviation, way)


def hours_beyond(knots: Knots, tolerance: float) -> float:
    """Hours during which a piecewise-linear error lies beyond the tolerance, either side."""
    total = 0.0
    for (t0, e0), (t1, e1) in itertools.pairwise(knots):
        total += (t1 - t0) / NS_PER_HOUR * _share_beyond(e0, e1, tolerance)
    return total


def _share_beyond(e0: float, e1: float, tolerance: float) -> float:
    low, high = min(e0, e1), max(e0, e1)
    if high == low:
        return float(abs(high) > tolerance)
    above = max(0.0, high - max(low, tolerance))
    below = max(0.0, min(high, -tolerance) - low)
    return (above + below) / (high - low)


def _is_open(event: Event, calibrations: Sequence[Calibration]) -> bool:
    """A change of the reading laid to the probe that no calibration has looked at since."""
    if event.kind not in SEEN_IN_READING or event.origin != "probe" or event.confidence < LIKELY:
        return False
    if event.severity == "note":
        return False
    return _next_calibration(event, calibrations) is None


def _next_calibration(event: Event, calibrations: Sequence[Calibration]) -> Calibration | None:
    later = [
        c
        for c in calibrations
        if c.time > event.start
        and (c.probe == event.probe if c.probe and event.probe else c.point == event.point)
    ]
    return min(later, key=lambda c: c.time, default=None)


def _from_event(
    event: Event, calibrations: Sequence[Calibration], levels: Mapping[str, Levels], plant: Plant
) -> Doubt | None:
    end = _last_instant(event, levels, plant)
    if end <= event.start or not math.isfinite(event.size):
        return None
    if event.kind == "fouling" and not event.open_end:
        return None
    deviation = size_deviation(event)
    steady = event.kind == "step"
    grown = min(max(event.end, event.start + 1), end)
    knots: Knots = ((event.start, event.size if steady else 0.0), (grown, event.size))
    if grown < end:
        knots = (*knots, (end, event.size))
    return Doubt(
        point=event.point,
        probe=event.probe,
        start=event.start,
        end=end,
        open_end=_still_installed(event, end, plant),
        knots=knots,
        # Not confirmed by any calibration: the cause itself may be wrong, so the band is wider.
        band=tuple(Z90 * math.hypot(deviation, (1 - event.confidence) * abs(event.size)) for _ in knots),
        basis=f"{event.kind} seen in the reading, not verified yet",
        hours_out_of_tolerance=hours_beyond(knots, _tolerance(event.point, levels, end, plant)),
        event=event.id,
        reasons=event.evidence,
    )


def _last_instant(event: Event, levels: Mapping[str, Levels], plant: Plant) -> int:
    """End of the record, or the removal of the probe, whichever comes first."""
    time = levels[event.point].time if event.point in levels else np.empty(0, np.int64)
    end = int(time[-1]) + NS_PER_HOUR if time.size else event.end
    removed = [
        row.end
        for row in plant.installations
        if row.probe == event.probe
        and row.point == event.point
        and row.end is not None
        and row.end > event.start
    ]
    return min([max(end, event.end), *removed])


def _still_installed(event: Event, end: int, plant: Plant) -> bool:
    return not any(
        row.probe == event.probe and row.point == event.point and row.end == end
        for row in plant.installations
    )


def _tolerance(name: str, levels: Mapping[str, Levels], when: int, plant: Plant) -> float:
    """Reading error that matters where the process sat in the week before `when`."""
    point = plant.point(name)
    if point is None:
        return 0.0
    mine = levels.get(name, Levels())
    week = (mine.time > when - 7 * 24 * NS_PER_HOUR) & (mine.time <= when) & np.isfinite(mine.value)
    level = float(np.median(mine.value[week])) if week.any() else 0.0
    return point.tolerance_at(level)
