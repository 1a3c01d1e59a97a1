"""Creep of the baseline: the calmest reading of each day walks one way and falls back at once, as a window film does.

Rain and storms throw a turbidity about by more than any film; what they leave alone is the lowest reading of each day.
The baseline is a low quantile of every day where the reading's excursions go up, a high one where they go down, the
median where they do both.  A sudden change of level that undoes what the baseline walked since the one before, again
and again to about the same clean level, is a cleaning nobody wrote down; the stretches between are the teeth of a saw.
With cleanings in the log, or states that show them, :mod:`excursions.detect.fouling` does the same by the levels.

References
----------
.. [1] H. B. Mann, "Nonparametric tests against trend", Econometrica 13 (1945) 245: the number of later days that lie
   higher, less that of those that lie lower, and its variance n (n - 1) (2 n + 5) / 18 where there is no trend.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter
from scipy.special import ndtr

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.detect.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.severity import severity_of
from excursions.detect.survey import Survey, survey_of
from excursions.digits import written
from excursions.records import Event, FloatArray, IndexArray, Record

FEWEST_DAYS, FEWEST_BLOCKS = 20, 4  # of a record; of a day
SHORTEST_DAYS = 5  # of a tooth
FEWEST_RETURNS = 2
CALM = 0.1  # quantile of a day that excursions leave alone
LOPSIDED = 2.0  # times as far to one side as to the other: excursions go to that side
UNDONE = (0.4, 1.6)  # share of a walk that a return undoes
SAME_LEVEL = 0.35  # of a return: how far the clean levels may lie apart
EDGE_DAYS, EDGE_BLOCKS = 3, 3
CLEAN_SHARE = 0.25  # of the days of the first tooth that are clean, at least (quantile of its baseline)
LEAST_CHANCE = 1e-3  # of all teeth together, by Kendall's test


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
    """Teeth that climb `way` (+1 or -1), what each return undid (k,), and their chance number."""

    way: float
    teeth: tuple[_Tooth, ...]
    back: FloatArray
    chance: float


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
    low, middle, high = np.quantile(survey.blocks.level, [0.05, 0.5, 0.95])
    up, down = high - middle, middle - low
    share = CALM if up > LOPSIDED * down else 1 - CALM if down > LOPSIDED * up else 0.5
    level = survey.blocks.level
    calm = [
        float(np.quantile(level[a : a + n], share)) for a, n in zip(first[enough], count[enough], strict=True)
    ]
    return days[enough].astype(np.int64), np.array(calm)


def _saw(
    record: Record, survey: Survey, day: IndexArray, base: FloatArray, way: float, settings: CreepSettings
) -> Event | None:
    """The saw-tooth that walks `way` and falls back at sudden changes the other way."""
    returns = [change for change in survey.changes if change.sudden and change.size * way < 0]
    if len(returns) < FEWEST_RETURNS:
        return None
    when = np.array([int(survey.blocks.start[change.at]) // NS_PER_DAY for change in returns])
    back = np.array([abs(change.size) for change in returns])
    after = np.array([way * float(np.mean(survey.blocks.level[c.at : c.at + EDGE_BLOCKS])) for c in returns])
    teeth, kept = _teeth(day, base * way, when, back, after)
    if len(kept) < FEWEST_RETURNS:
        return None
    if float(np.ptp([tooth.begin for tooth in teeth[1:]])) > SAME_LEVEL * float(np.mean(back[kept])):
        return None
    chance = _by_chance(teeth)
    if chance > LEAST_CHANCE or not _is_gradual(base * way, teeth):
        return None
    return _event(record, survey, day, base, _Saw(way, tuple(teeth), back[kept], chance), settings)


def _teeth(
    day: IndexArray, base: FloatArray, when: IndexArray, back: FloatArray, after: FloatArray
) -> tuple[list[_Tooth], list[int]]:
    """Teeth in order, and which returns bound them: those that undo what was walked since the one before.

    base (d,) climbs; when, back, after (k,): day of each return, by how much, and where it led.
    """
    teeth: list[_Tooth] = []
    kept: list[int] = []
    lo, clean = 0, math.nan
    for k, at in enumerate(when):
        hi = int(np.searchsorted(day, at))
        if hi - lo < SHORTEST_DAYS:
            continue
        tooth = _tooth(base, lo, hi, clean)
        if UNDONE[0] * tooth.walk <= back[k] <= UNDONE[1] * tooth.walk:
            teeth.append(tooth)
            kept.append(k)
            lo, clean = int(np.searchsorted(day, at + 1)), float(after[k])
    if day.size - lo >= SHORTEST_DAYS:
        teeth.append(_tooth(base, lo, day.size, clean))
    return teeth, kept


def _tooth(base: FloatArray, lo: int, hi: int, clean: float) -> _Tooth:
    """Walk and Kendall's score of the days [lo, hi) from the level `clean`; NaN for the first, which begins with clean days.

    What the process throws up right after a cleaning does not count: the lower of the level then and of the first days.
    """
    part = base[lo:hi]
    end = float(np.median(part[-EDGE_DAYS:]))
    first = float(np.quantile(part, CLEAN_SHARE))
    begin = first if math.isnan(clean) else min(float(np.median(part[:EDGE_DAYS])), clean)
    n = part.size
    later = np.sign(part[None, :] - part[:, None])
    return _Tooth(
        lo=lo,
        hi=hi,
        begin=begin,
        walk=end - begin,
        score=float(np.sum(np.triu(later, 1))),
        variance=n * (n - 1) * (2 * n + 5) / 18,
    )


def _by_chance(teeth: list[_Tooth]) -> float:
    """Chance that baselines without a trend climb so in all teeth; days that hang together count for a third."""
    score, variance = sum(tooth.score for tooth in teeth), sum(tooth.variance for tooth in teeth)
    return float(ndtr(-score / math.sqrt(DAYS_TOGETHER * variance)))


DAYS_TOGETHER = 3.0


def _is_gradual(base: FloatArray, teeth: list[_Tooth]) -> bool:
    """Whether the teeth climb by and by: in most of them no two days make half of the walk, storms smoothed away."""
    share = []
    for tooth in teeth:
        part = base[tooth.lo : tooth.hi]
        smooth = median_filter(part, min(STORM_DAYS, part.size // 3 * 2 + 1), mode="nearest")
        share.append(float(np.max(smooth[2:] - smooth[:-2])) / max(tooth.walk, 1e-12))
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
    days = np.array([tooth.hi - max(tooth.lo, onset) for tooth in saw.teeth[:returns]], dtype=np.float64)
    size, rate = saw.way * float(np.mean(saw.back)), saw.way * float(np.median(saw.back / days))
    half = 1.645 * float(np.std(saw.back, ddof=1)) / math.sqrt(returns)
    clues = (Clue(odds=4.0), _way(record, saw.way))
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
        size_unit=record.value.unit if record.value else "",
        confidence=probe,
        origin=name_origin(probe),
        severity=severity_of(record, clean, size),
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=0.1 * float(days[0]) * NS_PER_DAY / NS_PER_S,
        open_end=len(saw.teeth) > returns,
        evidence=(
            f"the calmest reading of each day creeps by {written(rate, 2)} {record.change_unit} a day",
            f"sudden returns undid it {returns} times, to the same level, as cleaning does",
            *words_of(clues),
        ),
        details={"rate_per_day": rate, "stretches": float(len(saw.teeth))},
    )


def _way(record: Record, way: float) -> Clue:
    """Dirt moves some readings one way."""
    fouls = record.point.quantity.fouls
    if fouls * way < 0:
        return Clue(odds=0.3, words=f"dirt moves {record.point.quantity.label} the other way")
    return Clue(odds=1.5 if fouls else 1.0)
