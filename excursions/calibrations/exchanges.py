"""Exchanges that nobody logged: which probe sat where since when, and under which number the log goes on.

The parameters say that there was one (:mod:`excursions.calibrations.swaps`); a silence of the signals with a step of the
reading right after it says when.  Without such a trace the next calibration is the latest it can have been.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.calibrations.shifts import histories
from excursions.calibrations.swaps import other_cell, swap_probability
from excursions.clock import NS_PER_HOUR, iso, wall
from excursions.digits import written
from excursions.plant import Installation, Plant
from excursions.records import Calibration, Decision, Event, Parameter

_SURE = 0.8
_AFTER_NS = NS_PER_HOUR  # a fresh probe reads on within minutes of being plugged in (cp)
_SILENT = ("dropout", "bad_quality")


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """Another probe at a point from `at` on [ns]: seen by the calibrations on both sides, and by a step if there is one.

    named : the log gives the new probe's own number, so that it may have brought its own figures along
    """

    point: str
    old: str
    new: str
    at: int
    before: Calibration
    after: Calibration
    step: Event | None
    named: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognised:
    """The plant and its calibrations with the exchanges recognised in them, and what was concluded from which figures."""

    plant: Plant
    calibrations: tuple[Calibration, ...]
    exchanges: tuple[Exchange, ...]
    decisions: tuple[Decision, ...]


def recognise_exchanges(
    calibrations: Iterable[Calibration], plant: Plant, events: Sequence[Event] = ()
) -> Recognised:
    """Find exchanges that the calibrations show and nobody logged, and date them by the record.

    Returns
    -------
    Recognised
        Where the log gives no serial number, with the stays on both sides of each exchange; the probes are named
        after the point and a number.  Where it does, the number is taken at its word, unless a glass electrode has its
        slope back and the record shows the exchange: then what the log enters under that number afterwards is another
        probe's, named after the number.
    """
    made = Recognised(plant=plant, calibrations=tuple(calibrations), exchanges=(), decisions=())
    for history in histories(c for c in made.calibrations if not c.copied):
        point, nameless = history[0].point, not history[0].probe
        if nameless and (not point or any(row.point == point for row in plant.installations)):
            continue
        pairs = [(a, b) for a, b in pairwise(history) if swap_probability(a, b) >= _SURE]
        told = [decision for a, b in pairwise(history) if (decision := other_cell(a, b))]
        made = replace(made, decisions=(*made.decisions, *told))
        called = history[0].probe  # what goes on under the log's number is called so by now
        for number, (a, b) in enumerate(pairs, start=1):
            step = _trace(a, b, events)
            if nameless:
                old = f"{point}, probe {number}"
                made = _with(made, old, f"{point}, probe {number + 1}", (a, b), step)
            elif step is not None and _for_good(a, b):
                worn, new = made.plant.probe_at(b.point, a.time) or b.probe, f"{b.probe}, probe {number + 1}"
                made = _renamed(_with(made, worn, new, (a, b), step), called, b.time)
                called = new
            else:
                made = replace(made, decisions=(*made.decisions, _decision(a, b, "", None)))
    return _by_number(made, events)


def _by_number(made: Recognised, events: Sequence[Event]) -> Recognised:
    """Exchanges that the log's serial numbers alone show, dated by a step of the reading where there is just one."""
    real = sorted((c for c in made.calibrations if not c.copied), key=lambda c: c.time)
    for row in [row for row in made.plant.installations if row.at_latest and row.start is not None]:
        after = next(
            (c for c in real if (c.probe, c.point, c.time) == (row.probe, row.point, row.start)), None
        )
        after = after or next((c for c in real if (c.probe, c.point) == (row.probe, row.point)), None)
        before = [
            c for c in real if after and c.point == row.point and c.time < after.time and c.probe != row.probe
        ]
        if after is None or not before:
            continue
        step = _trace(before[-1], after, events) or _only_step(before[-1], after, events)
        at = step.start if step else row.start or after.time
        exchange = Exchange(
            point=row.point, old=before[-1].probe, new=row.probe, at=at, before=before[-1], after=after, step=step, named=True,
        )  # fmt: skip
        made = replace(
            made,
            plant=replace(made.plant, installations=_dated(made.plant.installations, row, at)),
            exchanges=(*made.exchanges, exchange),
            calibrations=_told(made.calibrations, exchange, clock.zone(made.plant.zone)),
            decisions=(*made.decisions, _numbered(exchange)),
        )
    return made


def _told(calibrations: Sequence[Calibration], one: Exchange, tz: ZoneInfo) -> tuple[Calibration, ...]:
    """The calibrations with the first one of the new probe saying that it is another, and since when."""
    since = (
        f"taken as since {wall(one.at, tz)}, where the reading stepped by {written(one.step.size, 2, signed=True)} {one.step.size_unit}".rstrip()
        if one.step
        else "since when, the record does not show"
    )
    words = f"another probe than {one.old} on {wall(one.before.time, tz)}, and no exchange is logged; {since}"
    return tuple(replace(c, checks=(words, *c.checks)) if c.id == one.after.id else c for c in calibrations)


def _only_step(a: Calibration, b: Calibration, events: Sequence[Event]) -> Event | None:
    """The one step between two calibrations that the process need not have made; none where there are several."""
    steps = [
        e for e in events
        if e.point == b.point == a.point and a.time < e.start < b.time and e.kind == "step"
        and e.may_be_probe and math.isfinite(e.size) and not e.went_back
    ]  # fmt: skip
    return steps[0] if len(steps) == 1 else None


def _dated(stays: Sequence[Installation], row: Installation, at: int) -> tuple[Installation, ...]:
    """Stays with the beginning of one, and the end of the one before it, moved to `at`."""
    return tuple(
        replace(stay, start=at)
        if stay is row
        else replace(stay, end=at)
        if stay.point == row.point and stay.end == row.start
        else stay
        for stay in stays
    )


def _numbered(one: Exchange) -> Decision:
    """What the log's numbers say of an exchange, and when it is taken to have been."""
    taken = (
        f"taken as made on {iso(one.at)}, where the reading stepped by {written(one.step.size, 3, signed=True)} {one.step.size_unit}".rstrip()
        if one.step
        else f"taken as made on {iso(one.at)}, the latest it can have been"
    )
    return Decision(
        subject=one.point,
        what=f"another probe, {one.new}, in place of {one.old} between {iso(one.before.time)} and {iso(one.after.time)}; {taken}",
        why="the calibration log goes on under another serial number, and no swap is logged",
        option="log the swap, or add the installation to the register",
    )


def installations_from(
    calibrations: Sequence[Calibration], plant: Plant
) -> tuple[Plant, tuple[Decision, ...]]:
    """The plant with the installations that the calibrations alone show, and what was concluded."""
    made = recognise_exchanges(calibrations, plant)
    return made.plant, made.decisions


def _trace(a: Calibration, b: Calibration, events: Sequence[Event]) -> Event | None:
    """The largest step between two calibrations that follows a silence at once, if there is one."""
    mine = [e for e in events if e.point == b.point == a.point and a.time < e.start < b.time]
    silent = [(e.start, e.end + _AFTER_NS) for e in mine if e.kind in _SILENT]
    steps = [
        e
        for e in mine
        if e.kind == "step" and e.may_be_probe and math.isfinite(e.size)
        and any(start <= e.start <= end for start, end in silent)
    ]  # fmt: skip
    return max(steps, key=lambda e: abs(e.size), default=None)


def _for_good(a: Calibration, b: Calibration) -> bool:
    """Whether what came back comes back with another probe only: the slope of a glass; membranes and caps are renewed."""
    before = (a.as_left or a.as_found).get("slope")
    found = b.as_found.get("slope")
    if a.measurand != "ph" or before is None or found is None:
        return False
    return found.value - before.value > 3.0 * math.hypot(before.uncertainty, found.uncertainty)


def _with(
    made: Recognised, old: str, new: str, pair: tuple[Calibration, Calibration], step: Event | None
) -> Recognised:
    """Add one exchange: the stay of `old` ends where that of `new` begins."""
    a, b = pair
    at = step.start if step else b.time
    exchange = Exchange(point=b.point, old=old, new=new, at=at, before=a, after=b, step=step)
    plant = made.plant
    known = plant.probe(old)
    probes = (*plant.probes, replace(known, serial=new, in_service_since=at)) if known else plant.probes
    return replace(
        made,
        plant=replace(plant, probes=probes, installations=_divided(plant.installations, exchange)),
        exchanges=(*made.exchanges, exchange),
        decisions=(*made.decisions, _decision(a, b, new, step)),
    )


def _divided(stays: Sequence[Installation], exchange: Exchange) -> tuple[Installation, ...]:
    """Stays with the one that an exchange falls into divided there; both halves are new where nobody told of one."""
    at, here = exchange.at, None
    kept = []
    for row in stays:
        covers = (row.start is None or row.start < at) and (row.end is None or at < row.end)
        if here is None and covers and (row.probe, row.point) == (exchange.old, exchange.point):
            here = row
        else:
            kept.append(row)
    whole = here or Installation(probe=exchange.old, point=exchange.point)
    return (*kept, replace(whole, end=at), replace(whole, probe=exchange.new, start=at))


def _renamed(made: Recognised, called: str, since: int) -> Recognised:
    """What was called so from an instant on is of the new probe."""
    new = made.exchanges[-1].new
    return replace(
        made,
        calibrations=tuple(
            replace(c, probe=new) if c.probe == called and c.time >= since else c for c in made.calibrations
        ),
    )


def _decision(earlier: Calibration, later: Calibration, new: str, step: Event | None) -> Decision:
    before = earlier.as_left or earlier.as_found
    told = [_move(name, before[name], p) for name, p in later.as_found.items() if name in before]
    serial = later.probe
    if not serial:
        end = "; taken as a swap" + (f" on {iso(step.start)}" if step else "")
    elif new:
        end = f"; what the log enters under serial number {serial} afterwards is told as {new}"
    else:
        end = f"; the log goes on under serial number {serial}"
    if step is not None:
        told.append(
            f"no reading up to {iso(step.start)}, then {written(step.size, 3, signed=True)} {step.size_unit}".rstrip()
        )
    return Decision(
        subject=later.point or serial,
        what=f"the parameters jump to a fresh probe's between {iso(earlier.time)} and {iso(later.time)}, and no swap is logged{end}",
        why=", ".join(told),
        option="log the swap with the new serial number, or add the installation to the register",
    )


def _move(name: str, before: Parameter, after: Parameter) -> str:
    return f"{name.replace('_', ' ')} went from {written(before.value, 4)} to {written(after.value, 4)} {after.unit}".rstrip()
