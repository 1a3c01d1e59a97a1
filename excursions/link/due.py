"""When to calibrate next, and how long a probe has left.

Three answers beside one another, each named: the plan's; the staircase of the last results (method 1 of the guide), and
the drift of this probe carried on to its limit (the idea of method 2).

References
----------
.. [1] ILAC-G24:2022 / OIML D 10:2022, "Guidelines for the determination of recalibration intervals of measuring
   equipment": method 1, automatic adjustment or staircase (calendar time): extend the interval when the error found is
   within, for example, 80 % of the permissible error, shorten it when it is outside.  Method 2: control chart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_DAY
from excursions.conclusions import Due, Levels
from excursions.link.ageing import Ageing, Rate, learn
from excursions.link.priors import NS_PER_MONTH
from excursions.measurands import MEASURANDS
from excursions.plant import Plant, Point
from excursions.records import Calibration, Parameter, Shift

STAIRCASE = "ILAC-G24 / OIML D 10, method 1 (staircase)"
_WITHIN = 0.8  # of the permissible error [1]_
_LONGER, _SHORTER = 1.25, 0.7  # steps of the staircase; the guide leaves them to the user (cp)
_SHORTEST_D, _LONGEST_D = 7.0, 400.0
_Z90 = 1.645


def next_due(
    calibrations: Sequence[Calibration], shifts: Sequence[Shift], levels: Mapping[str, Levels], plant: Plant
) -> tuple[Due, ...]:
    """Next calibration and remaining time of every probe that was calibrated and not taken out since, by point and probe."""
    ageing = learn([s for s in shifts if not s.chosen])
    real = [c for c in calibrations if not c.copied]
    made = []
    for history in histories(real, plant):
        seat = _seat(history[-1], plant)
        point = plant.point(seat) if seat else None
        if point is not None:
            made.append(_due(history, point, ageing, levels, plant))
    return tuple(sorted(made, key=lambda d: (d.point, d.probe, d.last)))


def _seat(last: Calibration, plant: Plant) -> str:
    """Where the probe of a calibration sits now: at its point where nobody said; empty when it was taken out."""
    probe = plant.probe_of(last)
    seat = plant.seat_of(probe)
    return last.point if seat is None else seat


def _due(
    history: Sequence[Calibration], point: Point, ageing: Ageing, levels: Mapping[str, Levels], plant: Plant
) -> Due:
    last = history[-1]
    probe = plant.probe_of(last)
    planned = last.time + int(point.plan_days * NS_PER_DAY) if point.plan_days else None
    days = staircase_days(history, point, levels)
    ends = _ends(last, probe, ageing)
    first = min(ends, key=lambda end: end[1], default=None)
    name, middle, early, late = first or ("", None, None, None)
    return Due(
        point=point.name,
        probe=probe,
        last=last.time,
        planned=planned,
        staircase=last.time + int(days * NS_PER_DAY) if math.isfinite(days) else None,
        staircase_days=days,
        limit=middle,
        limit_early=early,
        limit_late=late,
        parameter=name,
        sentence=_sentence(days, name, middle, early, late, last.time),
    )


def staircase_days(history: Sequence[Calibration], point: Point, levels: Mapping[str, Levels]) -> float:
    """Next interval [days] by the staircase [1]_, from the last interval and the error then found; NaN without one.

    The permissible error is the point's tolerance, where the process sat.
    """
    if len(history) < 2:
        return math.nan
    earlier, later = history[-2], history[-1]
    length = (later.time - earlier.time) / NS_PER_DAY
    share = _error_share(earlier, later, point, levels)
    if not math.isfinite(share):
        return math.nan
    factor = _LONGER if share <= _WITHIN else 1.0 if share <= 1.0 else _SHORTER
    return min(max(length * factor, _SHORTEST_D), _LONGEST_D)


def _error_share(
    earlier: Calibration, later: Calibration, point: Point, levels: Mapping[str, Levels]
) -> float:
    """Reading error found, over the tolerance."""
    used = {
        n: p for n, p in (earlier.as_left or earlier.as_found).items() if _same_unit(later.as_found.get(n), p)
    }
    real = {n: p.value for n, p in later.as_found.items() if n in used}
    level, temp = level_before(levels, point.name, later.time, since=earlier.time)
    if not real or not math.isfinite(level):
        return math.nan
    shape = models.form(later.measurand, {n: later.as_found[n].unit for n in real})
    error = models.reading_error(
        shape, level, used={n: used[n].value for n in real}, real=real, temp_degc=temp
    )
    return abs(error) / point.tolerance_at(level) if point.tolerance_at(level) > 0 else math.nan


def _same_unit(a: Parameter | None, b: Parameter) -> bool:
    return a is not None and a.unit == b.unit and (a.basis == "relative") == (b.basis == "relative")


def _ends(last: Calibration, probe: str, ageing: Ageing) -> list[tuple[str, int, int, int | None]]:
    """(parameter, when it reaches its limit, early and late end of the 90 % interval) for parameters that have one."""
    made = []
    state = last.as_left or last.as_found
    for name, parameter in state.items():
        key = (last.measurand, name, parameter.unit)
        limit = MEASURANDS[last.measurand].accepted.get((name, parameter.unit))
        if limit is None or not limit.wears_out or parameter.basis == "relative":
            continue
        rate = ageing.probes.get((key, probe or f"at {last.point}")) or ageing.kinds.get(key)
        if rate is None or rate.shifts < 2:
            continue
        end = _end(parameter, limit.low, rate, last.time)
        if end is not None:
            made.append((name, *end))
    return made


def _end(parameter: Parameter, limit: float, rate: Rate, when: int) -> tuple[int, int, int | None] | None:
    """When a falling parameter reaches its limit, at the mean rate and at both ends of its interval."""
    room = parameter.value - limit
    if room <= 0:
        return when, when, when
    mean = -rate.rate
    fast, slow = mean + _Z90 * rate.spread, mean - _Z90 * rate.spread
    if mean <= 0 or fast <= 0:
        return None

    def reached(speed: float, start: float) -> int:
        return when + int(min(start / speed, 1200.0) * NS_PER_MONTH)

    late = reached(slow, room + _Z90 * parameter.uncertainty) if slow > 0 else None
    return reached(mean, room), reached(fast, max(room - _Z90 * parameter.uncertainty, 0.0)), late


def _sentence(
    days: float, name: str, middle: int | None, early: int | None, late: int | None, last: int
) -> str:
    parts = []
    if math.isfinite(days):
        parts.append(f"{days:.0f} days to the next calibration by {STAIRCASE}")
    if middle == last:
        parts.append(f"{name.replace('_', ' ')} is beyond its limit already")
    elif middle is not None and early is not None:
        upper = f"{(late - last) / NS_PER_MONTH:.0f}" if late is not None else "no end foreseeable"
        parts.append(
            f"{name.replace('_', ' ')} reaches its limit about {(middle - last) / NS_PER_MONTH:.0f} months after the last calibration "
            f"(90 % interval {(early - last) / NS_PER_MONTH:.0f} to {upper})"
        )
    return "; ".join(parts) or "not enough calibrations to say"
