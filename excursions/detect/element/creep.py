"""A temperature element that creeps: the fixed points of the line say so, for nothing in the signal itself does.

A process drifts as an element does.  What does not is what the line does again and again at the same temperature: the
hold of every sterilisation, of every hot cleaning, the room at every calibration.  Each such family of levels is tried for a trend
beyond its own scatter (Theil-Sen line, autocorrelation of the rest allowed for).  An element that creeps shifts
all families and the measured level by the same number of kelvins; a recipe moves one of them, and a season may move
the room and the process alike.  One family alone is therefore "undecided".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter
from scipy.special import stdtr, stdtrit

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.detect.evidence.origin import (
    WITHOUT,
    Clue,
    expected_faults,
    name_origin,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.series.groups import group_median
from excursions.detect.series.short import together
from excursions.detect.series.survey import heat_of
from excursions.ranks import NORMAL_MAD
from excursions.records import (
    CALIBRATING,
    CLEANING,
    MEASURING,
    STEAMING,
    Event,
    FloatArray,
    IndexArray,
    Record,
)
from excursions.states.trace import Trace

FEWEST = 6  # levels that make a family
MOST_ALIKE = 0.9  # first autocorrelation at most: some dozens of levels do not show a higher one (cp)
HOLD = 0.85  # of the time of a cycle is below the level of its hold
ROOM = "stays at room temperature"
FAMILIES = ((STEAMING, "sterilisations"), (CLEANING, "hot cleanings"), (CALIBRATING, ROOM))
ALIKE_K = 20.0  # levels further from the middle of their family are of another recipe
AGREE = 3.0  # standard errors within which two ways are the same
TELLING = 3.0  # one for one can be told from none when it is this many standard errors
POWER = 3.0  # standard errors above a threshold at which next to none is missed


@dataclass(frozen=True, slots=True, kw_only=True)
class CreepSettings:
    """When a trend of the fixed points is the element's."""

    least_k: float = 1.0  # the tolerance of a class B element at 130 degC (IEC 60751): less is no fault
    chance: float = 0.01  # trends as steady by chance in a record
    faults_per_year: float = 0.3  # (cp)
    unexplained: float = 0.02  # recipes and supplies that move by themselves (cp)
    least_confidence: float = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Shift of a family of levels from its first to its last, with its standard error [K] and degrees of freedom."""

    words: str
    time: TimeArray
    level: FloatArray
    shift: float
    error: float
    freedom: int

    @property
    def chance(self) -> float:
        """Probability of a trend as steady where there is none."""
        return 2 * float(stdtr(self.freedom, -abs(self.shift) / self.error))


def creeping(record: Record, trace: Trace) -> tuple[Event, ...]:
    """The event of an element that creeps, where the fixed points of the record show one.

    Returns
    -------
    tuple of Event
        Kind ``temperature_fault``; size is the shift over the record [K].  One at most.
    """
    settings = CreepSettings()
    trends = fixed_points(record, trace)
    if not trends:
        return ()
    whole = float(trace.time[-1] - trace.time[0])
    best = min(trends, key=lambda trend: trend.chance)
    chance = min(best.chance * len(trends), 1.0)
    if abs(best.shift) < settings.least_k or chance > settings.chance:
        return ()
    others = [trend for trend in trends if trend is not best]
    measured = _measured(record, trace, best)
    others += [measured] if measured is not None else []
    clues = tuple(_company(best, other) for other in others)
    years = whole / (365.25 * NS_PER_DAY)
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, years),
        chance=chance + unexplained(settings.unexplained, years),
        clues=clues,
    )
    probe = min(probe, WITHOUT) if best.words == ROOM else witnessed(probe, clues)
    if probe < settings.least_confidence:
        return ()
    return (_event(record, trace, best, probe, clues),)


def least_creep(record: Record, trace: Trace) -> float:
    """Smallest shift over the record [K] that its fixed points show; infinite without any."""
    settings = CreepSettings()
    trends = fixed_points(record, trace)
    needed = [
        (-float(stdtrit(trend.freedom, settings.chance / (2 * len(trends)))) + POWER) * trend.error
        for trend in trends
    ]
    return max(min(needed, default=math.inf), 1.5 * settings.least_k)


def fixed_points(record: Record, trace: Trace) -> list[Trend]:
    """Trends of the levels that the line comes back to, one a family with enough of them; worked out once."""
    heat = heat_of(record)
    if heat is None or heat.trace is not trace:
        return _fixed_points(record, trace)
    return heat.once("fixed points", lambda: _fixed_points(record, trace))


def _fixed_points(record: Record, trace: Trace) -> list[Trend]:
    found = []
    for code, words in FAMILIES:
        spans = record.states.spans(code)
        seen = [trace.sampled(int(a), int(b)) for a, b in spans]
        level = _quantile_of_each(seen, HOLD if code != CALIBRATING else 0.5)
        known = np.isfinite(level)
        if np.count_nonzero(known) < FEWEST:
            continue
        known &= np.abs(level - np.median(level[known])) <= ALIKE_K
        trend = _trend(words, spans[known].mean(axis=1).astype(np.int64), level[known], trace.resolution)
        if trend is not None:
            found.append(trend)
    return found


def _quantile_of_each(seen: list[FloatArray], share: float) -> FloatArray:
    """Quantile of each lot of samples, NaN where there are none; lots of one size are done at once."""
    out = np.full(len(seen), np.nan)
    sizes = np.array([one.size for one in seen], dtype=np.int64)
    for size in np.unique(sizes[sizes > 0]):
        at = np.flatnonzero(sizes == size)
        out[at] = np.quantile(np.stack([seen[i] for i in at]), share, axis=1)
    return out


def _trend(words: str, time: TimeArray, level: FloatArray, resolution: float) -> Trend | None:
    """Theil-Sen line through levels, its error from their robust scatter; None with too few."""
    n = level.size
    if n < FEWEST:
        return None
    when = (time - time[0]) / max(float(time[-1] - time[0]), 1.0)
    shift = _median_slope(when, level)
    rest = level - shift * when
    rest = rest - np.median(rest)
    scatter = max(NORMAL_MAD * float(np.median(np.abs(rest))), float(np.std(rest)) / 2, resolution / 3, 1e-6)
    alike = together(rest, most=MOST_ALIKE)
    error = scatter / math.sqrt(float(np.sum((when - when.mean()) ** 2))) * math.sqrt(alike)
    return Trend(words=words, time=time, level=level, shift=shift, error=error, freedom=n - 2)


def _median_slope(when: FloatArray, level: FloatArray) -> float:
    """Slope of the Theil-Sen line: the median over all pairs of levels, in the unit of the levels."""
    run = when[:, None] - when
    ahead = run > 0
    return float(np.median((level[:, None] - level)[ahead] / run[ahead]))


def _measured(record: Record, trace: Trace, beside: Trend) -> Trend | None:
    """Trend of the daily level of the process over the time of a family."""
    measuring = record.states.mask(trace.time, MEASURING)
    inside = measuring & (trace.time >= beside.time[0]) & (trace.time <= beside.time[-1])
    time, value = trace.time[inside], trace.value[inside]
    if time.size < FEWEST:
        return None
    day = time // NS_PER_DAY
    first: IndexArray = np.flatnonzero(np.diff(day, prepend=day[0] - 1))
    level = group_median(value, first, np.append(first[1:], time.size))
    return _trend("the measured temperature", time[first], level, trace.resolution)


def _company(best: Trend, other: Trend) -> Clue:
    """Whether another level went the same way at the same times: how many of the family's kelvins it shows, per kelvin."""
    way = np.interp(other.time, best.time, median_filter(best.level, 3, mode="nearest"))
    way = way - way.mean()
    power = float(way @ way)
    if power <= 0:
        return Clue(odds=1.0)
    level = other.level - other.level.mean()
    share = float(way @ level) / power
    rest = level - share * way
    error = math.sqrt(_spread_of_mean(rest) * rest.size / power)
    if not error < 1 / TELLING:
        return Clue(odds=1.0)
    if abs(share - 1) <= AGREE * error:
        return Clue(odds=8.0, words=f"{other.words} went the same way, {share:.2f} K for each of theirs")
    return Clue(odds=0.05, words=f"{other.words} did not go with them, {share:.2f} K for each of theirs")


def _spread_of_mean(rest: FloatArray) -> float:
    """Variance of a rest, its autocorrelation allowed for as in a mean."""
    variance = float(rest @ rest) / max(rest.size - 2, 1)
    return variance * together(rest, most=MOST_ALIKE) / rest.size


def _event(record: Record, trace: Trace, best: Trend, probe: float, clues: tuple[Clue, ...]) -> Event:
    at = onset(best)
    start = int(best.time[at])
    whole = abs(best.shift)
    size = float(np.median(best.level[-3:]) - np.median(best.level[: max(at, 3)]))
    size = size if size * best.shift > 0 else best.shift
    spacing = float(np.median(np.diff(best.time))) / NS_PER_S
    return Event(
        point=record.point.name,
        kind="temperature_fault",
        start=start,
        end=int(trace.time[-1]) + 1,
        size=size,
        size_unit="K",
        size_low=size - 2 * best.error,
        size_high=size + 2 * best.error,
        confidence=probe,
        origin="probe" if name_origin(probe) == "probe" else "undecided",
        severity="check",
        probe=record.probe_at(start),
        onset_uncertainty_s=spacing * max(1.0, best.level.size * best.error / whole),
        open_end=True,
        evidence=(
            f"the {best.level.size} {best.words} of this record shifted by {best.shift:+.1f} K from the first to the last,"
            f" give or take {2 * best.error:.1f} K",
            *words_of(clues),
        ),
        details={"fixed_points": float(best.level.size)},
    )


def onset(trend: Trend) -> int:
    """The level with which the shift begins: least squares over a bend or a step at every place, whichever fits better."""
    when = (trend.time - trend.time[0]) / float(trend.time[-1] - trend.time[0])
    best, at = math.inf, 0
    for k in range(when.size - 2):
        for shape in (np.maximum(when - when[k], 0.0), (when > when[k]).astype(np.float64)):
            line = np.column_stack([np.ones(when.size), shape])
            fit, *_ = np.linalg.lstsq(line, trend.level, rcond=None)
            rest = float(np.sum((trend.level - line @ fit) ** 2))
            if rest < best:
                best, at = rest, k
    return at
