"""Creep of the baseline: the calmest reading of each day walks one way and falls back at once, as a window film does.

Rain and storms throw a turbidity about by more than any film; what they leave alone is the lowest reading of each day.
The baseline is a low quantile of every day where the reading's excursions go up, a high one where they go down, the
median where they do both.  A sudden change of level that undoes what the baseline walked since the one before, again
and again to about the same clean level, is a cleaning nobody wrote down; the stretches between are the teeth of a saw.
With cleanings in the log, or states that show them, :mod:`excursions.detect.slow.fouling` does the same by the levels.

References
----------
.. [1] H. B. Mann, "Nonparametric tests against trend", Econometrica 13 (1945) 245: the number of later days that lie
   higher, less that of those that lie lower, and its variance n (n - 1) (2 n + 5) / 18 where there is no trend.
.. [2] K. H. Hamed, A. R. Rao, "A modified Mann-Kendall trend test for autocorrelated data", Journal of Hydrology 204
   (1998) 182: the variance grows as that of a mean of so few independent days; here by first-order autocorrelation.
.. [3] R. A. Fisher, "Statistical Methods for Research Workers", 4th edition (1932), section 21.1: two independent
   probabilities with product q have together the probability q (1 - ln q).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
from scipy.ndimage import maximum_filter1d, median_filter
from scipy.special import bdtrc, ndtr

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.detect.evidence.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.survey import Survey, differences_of, survey_of
from excursions.detect.slow.dirt import dirt_clue
from excursions.digits import written
from excursions.ranks import NORMAL_MAD, median, quantile, quantiles
from excursions.records import Event, FloatArray, IndexArray, Record

FEWEST_DAYS, FEWEST_BLOCKS = 20, 4  # of a record; of a day
SHORTEST_DAYS = 4  # of a tooth: whole days between cleanings every fifth day
FEWEST_RETURNS = 2
CALM = 0.1  # quantile of a day that excursions leave alone
LOPSIDED = 2.0  # times as far to one side as to the other: excursions go to that side
UNDONE = (0.4, 1.6)  # share of a walk that a return undoes
SAME_LEVEL = 0.35  # of a return: standard deviation of the clean levels
NARROW, TALL = (1, 2, 4), (3.0, 4.0, 5.0, 6.0)  # blocks and usual changes of what may be a return
STANDS_OUT, ACROSS_DAYS = 3.0, 2  # usual changes over two days; a fall so near another is the same one
EDGE_DAYS, EDGE_BLOCKS = 3, 3
EDGE_SHARE = 4
MOST_LUCK = 0.25  # chance that all returns go one way, which two do in one process of four
MOSTLY = 0.5  # of all returns that must undo what was walked before them
CLEAN_SHARE = 0.25  # of the days of the first tooth that are clean, at least (quantile of its baseline)
LEAST_CLIMB, LEAST_CHANCE = 0.05, 1e-3  # of all teeth, by Kendall's test; of that and their returns together


@dataclass(frozen=True, slots=True, kw_only=True)
class CreepSettings:
    """When a creeping baseline is fouling."""

    foulings_per_year: float = 1.5  # (cp)
    unexplained: float = 0.2  # saw-teeth of the process itself (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tooth:
    """A stretch between returns: days [lo, hi) of the baseline, where it begins (times `way`), its walk,
    Kendall's score and its variance."""

    lo: int
    hi: int
    begin: float
    walk: float
    score: float
    variance: float


@dataclass(frozen=True, slots=True)
class _Saw:
    """Teeth that climb `way` (+1 or -1), those of them that a return undid (k,), how much of each (k,), and the chance of all.

    goes_on : whether the last tooth lasts to the end of the record
    """

    way: float
    teeth: tuple[_Tooth, ...]
    undone: tuple[_Tooth, ...]
    back: FloatArray
    chance: float
    goes_on: bool


class _Returns(NamedTuple):
    """Days (k,) of sudden returns, by how much (k,), where they led (k,, times the way), and the chance that all go one way."""

    when: IndexArray
    back: FloatArray
    after: FloatArray
    luck: float


def detect_creep(record: Record, settings: CreepSettings | None = None) -> tuple[Event, ...]:
    """Find a saw-tooth of the baseline.

    Returns
    -------
    tuple of Event
        At most one, kind ``fouling``; size is the mean walk from clean to dirty.
    """
    settings = settings or CreepSettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    day, base = baseline(survey)
    if day.size < FEWEST_DAYS:
        return ()
    every = (_saw(record, survey, day, base, way, settings) for way in (1.0, -1.0))
    found = [event for event in every if event is not None]
    return (max(found, key=lambda event: event.confidence),) if found else ()


def baseline(survey: Survey) -> tuple[IndexArray, FloatArray]:
    """Days (d,) since the epoch with enough blocks, and the calm level of each (d,), the reading's unit."""
    day = survey.blocks.start // NS_PER_DAY
    days, first, count = np.unique(day, return_index=True, return_counts=True)
    enough = count >= FEWEST_BLOCKS
    low, middle, high = quantiles(survey.blocks.level, (0.05, 0.5, 0.95))
    up, down = high - middle, middle - low
    share = CALM if up > LOPSIDED * down else 1 - CALM if down > LOPSIDED * up else 0.5
    level = survey.blocks.level
    calm = [quantile(level[a : a + n], share) for a, n in zip(first[enough], count[enough], strict=True)]
    return days[enough].astype(np.int64), np.array(calm)


def _saw(
    record: Record, survey: Survey, day: IndexArray, base: FloatArray, way: float, settings: CreepSettings
) -> Event | None:
    """The saw-tooth that walks `way` and falls back the other way, at sudden changes or from one day to the next."""
    for one, cut_at_all in product(_returns(survey, day, base, way), (False, True)):
        if one.when.size < FEWEST_RETURNS or one.luck > MOST_LUCK:
            continue
        teeth, kept = _teeth(day, base * way, one, cut_at_all=cut_at_all)
        undone, back = tuple(teeth[i] for i in kept), one.back[list(kept.values())]
        if len(kept) < FEWEST_RETURNS or len(kept) < MOSTLY * (len(teeth) - 1):
            continue
        if _scatter(base * way, teeth[1:]) > SAME_LEVEL * float(np.mean(back)):
            continue
        climbs = _by_chance(base * way, teeth)
        chance = climbs * one.luck * (1 - math.log(max(climbs * one.luck, 1e-300)))  # of both together [3]_
        if climbs <= LEAST_CLIMB and chance <= LEAST_CHANCE and _is_gradual(base * way, teeth):
            goes_on = teeth[-1].hi == day.size
            saw = _Saw(way, tuple(teeth), undone, back, chance, goes_on)
            return _event(record, survey, day, base, saw, settings)
    return None


def _returns(survey: Survey, day: IndexArray, base: FloatArray, way: float) -> Iterator[_Returns]:
    """What may be returns, the surest first."""
    yield _sudden_returns(survey, way)
    yield _falls(day, base * way)
    yield _tall_changes(survey, way)


def _sudden_returns(survey: Survey, way: float) -> _Returns:
    """Sudden changes of level against `way`."""
    quick = [change for change in survey.changes if change.sudden]
    every = [change for change in quick if change.size * way < 0]
    level = survey.blocks.level
    return _Returns(
        np.array([int(survey.blocks.start[change.at]) // NS_PER_DAY for change in every], dtype=np.int64),
        np.array([abs(change.size) for change in every]),
        np.array([way * float(np.mean(level[c.at : c.at + EDGE_BLOCKS])) for c in every]),
        _luck(len(every), len(quick) - len(every)),
    )


def _tall_changes(survey: Survey, way: float) -> _Returns:
    """Changes of level within a few blocks that go against `way` far oftener than along it, by the sign test.

    One alone is no taller than the process makes them; that they all go one way is what a cleaning does.  Widths and
    heights are tried, and each try is counted.
    """
    level, best = survey.rest, (1.0, np.empty(0, dtype=np.int64), np.empty(0))
    every = differences_of(survey)[: len(NARROW)]
    for one in every:
        at = one.clean_peaks
        size = one.diff[at] * way
        for tall in TALL:
            against, along = size < -tall * one.spread, int(np.count_nonzero(size > tall * one.spread))
            falls = int(np.count_nonzero(against))
            luck = _luck(falls, along)
            if luck < best[0]:
                best = (luck, at[against], np.abs(size[against]))
    luck, at, back = best
    start = survey.blocks.start
    after = np.array([way * float(np.mean(level[a : a + EDGE_BLOCKS])) for a in at])
    return _Returns(start[at] // NS_PER_DAY, back, after, luck * len(every) * len(TALL))


def _falls(day: IndexArray, base: FloatArray) -> _Returns:
    """Falls of a climbing baseline within two days that stand out, where it hardly ever rises so.

    A process that wanders rises as suddenly as it falls: by the sign test, so many more falls than rises have a chance.
    """
    moved = base[2:] - base[:-2]  # across the day between, on which somebody cleaned
    moved[day[2:] - day[:-2] != 2] = 0.0
    usual = NORMAL_MAD * median(np.abs(moved))
    widest = maximum_filter1d(np.abs(moved), 2 * ACROSS_DAYS + 1)
    tall = (np.abs(moved) == widest) & (np.abs(moved) > STANDS_OUT * max(usual, 1e-12))
    at, rises = np.flatnonzero(tall & (moved < 0)), int(np.count_nonzero(tall & (moved > 0)))
    return _Returns(day[at + 1], np.abs(moved[at]), base[at + 2], _luck(at.size, rises))


def _luck(against: int, along: int) -> float:
    """Chance that of changes which go either way alike so many go against it, by the sign test."""
    return float(bdtrc(against - 1, against + along, 0.5)) if against else 1.0


def _teeth(
    day: IndexArray, base: FloatArray, returns: _Returns, *, cut_at_all: bool
) -> tuple[list[_Tooth], dict[int, int]]:
    """Teeth in order, and the number of the return that undid each, where one did; these alone bound teeth, or all do.

    Where storms fall as well, a return that undoes nothing is none; where there are no storms, each is a cleaning,
    though the process hid what it took off.  base (d,) climbs.
    """
    teeth: list[_Tooth] = []
    kept: dict[int, int] = {}
    lo, clean = 0, math.nan
    for k, at in enumerate(returns.when):
        hi = int(np.searchsorted(day, at))
        if hi - lo < SHORTEST_DAYS:
            continue
        tooth = _tooth(base, lo, hi, clean)
        fits = UNDONE[0] * tooth.walk <= returns.back[k] <= UNDONE[1] * tooth.walk
        if fits or cut_at_all:
            kept |= {len(teeth): k} if fits else {}
            teeth.append(tooth)
            lo, clean = int(np.searchsorted(day, at + 1)), float(returns.after[k])
    if day.size - lo >= SHORTEST_DAYS:
        teeth.append(_tooth(base, lo, day.size, clean))
    return teeth, kept


def _tooth(base: FloatArray, lo: int, hi: int, clean: float) -> _Tooth:
    """Walk and Kendall's score of the days [lo, hi) from the level `clean`; NaN for the first, which begins with clean days.

    What the process throws up right after a cleaning does not count: the lower of the level then and of the first days.
    """
    part = base[lo:hi]
    end = median(part[-_edge(part) :])
    first = quantile(part, CLEAN_SHARE)
    begin = first if math.isnan(clean) else min(_first(part), clean)
    n = part.size
    inner = part[:-1]  # the last day was chosen for what came after it
    later = np.sign(inner[None, :] - inner[:, None])
    return _Tooth(
        lo=lo,
        hi=hi,
        begin=begin,
        walk=end - begin,
        score=float(np.sum(np.triu(later, 1))),
        variance=(n - 1) * (n - 2) * (2 * n + 3) / 18,
    )


def _scatter(base: FloatArray, teeth: Sequence[_Tooth]) -> float:
    """Standard deviation of the clean levels, by the moment of each return or by the days after, whichever shows less of
    the process."""
    if len(teeth) < 2:
        return 0.0
    first = [_first(base[tooth.lo : tooth.hi]) for tooth in teeth]
    return min(float(np.std(x, ddof=1)) for x in ([tooth.begin for tooth in teeth], first))


def _edge(part: FloatArray) -> int:
    """Days that are the begin, or the end, of a tooth."""
    return min(EDGE_DAYS, max(part.size // EDGE_SHARE, 1))


def _first(part: FloatArray) -> float:
    return median(part[: _edge(part)])


def _by_chance(base: FloatArray, teeth: list[_Tooth]) -> float:
    """Chance that baselines without a trend climb so in all teeth; days that hang together count for fewer [2]_.

    The first, of which some part is clean, is left out where others tell.
    """
    teeth = teeth[1:] if len(teeth) > FEWEST_RETURNS else teeth
    score, variance = sum(tooth.score for tooth in teeth), sum(tooth.variance for tooth in teeth)
    return float(ndtr(-score / math.sqrt(_together(base, teeth) * variance)))


def _together(base: FloatArray, teeth: list[_Tooth]) -> float:
    """How many days count as one, by the autocorrelation of what is left of each tooth less its line."""
    pairs = squares = 0.0
    for tooth in teeth:
        at = np.arange(tooth.hi - tooth.lo)
        rest = base[tooth.lo : tooth.hi] - np.polyval(np.polyfit(at, base[tooth.lo : tooth.hi], 1), at)
        pairs, squares = pairs + float(rest[1:] @ rest[:-1]), squares + float(rest @ rest)
    n = sum(tooth.hi - tooth.lo for tooth in teeth)
    r = pairs / max(squares, 1e-300)
    r = min(max(r + (1 + 4 * r) * len(teeth) / n, 0.0), 0.95)
    return max((1 + r) / (1 - r), DAYS_TOGETHER)


DAYS_TOGETHER = 3.0


def _is_gradual(base: FloatArray, teeth: list[_Tooth]) -> bool:
    """Whether the teeth climb by and by: in most of them no two days make half of the walk, storms smoothed away, nor the
    day after the return: what a shock threw off comes back at once.  What two days usually make is taken off."""
    share = []
    usual = NORMAL_MAD * median(np.abs(base[2:] - base[:-2]))
    for tooth in teeth:
        part = base[tooth.lo : tooth.hi]
        smooth = median_filter(part, min(STORM_DAYS, part.size // 6 * 2 + 1), mode="nearest")
        walk = max(tooth.walk, 1e-12)
        share.append(max(float(np.max(smooth[2:] - smooth[:-2])) - usual, _first(part) - tooth.begin) / walk)
    return float(np.median(share)) < AT_ONCE


STORM_DAYS = 7  # a median over so many leaves out storms whose tails last three (cp)
AT_ONCE = 0.5  # share of a walk that makes it a rise, not a climb


def _onset(base: FloatArray, tooth: _Tooth) -> int:
    """Day at which the first tooth leaves its clean level: from there a straight climb to its end fits best.

    Days above the climb count for a third of days below: storms and their long tails throw up, never down.
    """
    part = base[tooth.lo : tooth.hi] - tooth.begin
    places = np.arange(max(part.size - SHORTEST_DAYS, 1))
    climb = np.maximum(np.arange(part.size) - places[:, None], 0) / (part.size - places[:, None])
    off = part - tooth.walk * climb
    return tooth.lo + int(np.argmin(np.sum(np.where(off > 0, off, -3 * off), axis=1)))


def _event(
    record: Record, survey: Survey, day: IndexArray, base: FloatArray, saw: _Saw, settings: CreepSettings
) -> Event:
    onset = _onset(base * saw.way, saw.teeth[0])
    start = max(int(day[onset]) * NS_PER_DAY, int(survey.live.time[0]))
    returns = saw.back.size
    days = np.array([tooth.hi - max(tooth.lo, onset) for tooth in saw.undone], dtype=np.float64)
    size, rate = saw.way * float(np.mean(saw.back)), saw.way * float(np.median(saw.back / days))
    half = 1.645 * float(np.std(saw.back, ddof=1)) / math.sqrt(returns)
    clues = (Clue(odds=4.0), dirt_clue(record, saw.way))
    probe = weigh(
        prior=expected_faults(settings.foulings_per_year, survey.years),
        chance=unexplained(settings.unexplained, survey.years) + saw.chance,
        clues=clues,
    )
    clean = float(np.median(base[saw.teeth[1].lo : saw.teeth[1].lo + EDGE_DAYS]))
    return Event(
        point=record.point.name,
        kind="fouling",
        start=start,
        end=int(survey.live.time[-1]),
        size=size,
        size_low=size - half,
        size_high=size + half,
        size_unit=record.unit,
        confidence=probe,
        origin=name_origin(probe),
        severity=severity_of(record, clean, size),
        probe=record.probe_at(start),
        onset_uncertainty_s=0.1 * float(days[0]) * NS_PER_DAY / NS_PER_S,
        open_end=saw.goes_on,
        evidence=(
            f"the calmest reading of each day creeps by {written(rate, 2)} {record.change_unit} a day",
            f"sudden returns undid it {returns} times, to the same level, as cleaning does",
            *words_of(clues),
        ),
        details={"rate_per_day": rate, "stretches": float(len(saw.teeth))},
    )
