"""Fouling as a saw-tooth: between cleanings the reading walks one way, and each cleaning brings it back.

Method: every stretch between two cleanings (calibrations alike, for drift that calibration takes out) gives a
walk, from a straight line through its blocks, and the jump across the cleaning that ends it.  A run of
stretches whose walks go one way and whose jumps go the other, both beyond chance by a t test over the
stretches, is one event; the run is where the cumulative sum of the
walks, in units of their own scatter, climbs highest.  What the jumps do not bring back is reported as its own figure.

References
----------
.. [1] R. J. Wagner, R. W. Boulger, C. J. Oblinger, B. A. Smith, "Guidelines and standard procedures for
   continuous water-quality monitors", USGS Techniques and Methods 1-D3 (2006): fouling is what cleaning
   changes, drift is what calibration changes afterwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY
from excursions.detect.evidence.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.cusum import highest_run
from excursions.detect.series.groups import group_median
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.slow.cleaned import brought_back
from excursions.detect.slow.dirt import dirt_clue
from excursions.digits import chance_text, written
from excursions.ranks import scatter_of
from excursions.records import CALIBRATING, CLEANING, WASHING, Event, FloatArray, IndexArray, Record

FEWEST_STRETCHES = 3
FEWEST_BLOCKS = 4  # in a stretch
LOGGED = 20.0  # odds of jumps at instants that somebody wrote down for another reason
TRIFLE = 0.5  # of the tolerance: smaller changes are not reported
PARTS = 8  # of a stretch, which show how it walks
LEAST_ORDER = 0.6  # rank correlation of the parts with time; parts in any order pass it once in sixteen
LEAST_HALF = 0.1  # of the walk in either half of a stretch; dirt that settles makes nine tenths in the first
FINE = 32  # parts of a stretch that show where it walks by steps
ISOLATED = 5  # neighbouring moves of such parts: what one or two of them make alone is sudden
FEWEST_SAMPLES = 4  # whose median is the level of such a part
SLOW = 0.5  # of the walk: so much is left without what is sudden
ERRORS = 2.0  # standard errors
# Share of the reading lost in each stretch; odds: batches do so all the time, dirt hardly (cp).
HALF, USED_UP = 0.5, 0.05
EDGE_SHARE = 6  # a sixth of a stretch at either end makes its level there


@dataclass(frozen=True, slots=True, kw_only=True)
class FoulingSettings:
    """When a saw-tooth over cleanings is fouling."""

    foulings_per_year: float = 1.5  # how often a probe that somebody looks into fouls (cp)
    unexplained: float = 0.2  # saw-teeth of the process itself (cp)
    least_p: float = 1e-3  # of the t tests of walks and of jumps, each
    least_restored: float = 0.3  # share of the walk that cleanings bring back
    least_confidence: float = 0.1  # below, it is the process as far as the record can tell


@dataclass(frozen=True, slots=True, kw_only=True)
class Teeth:
    """Stretches between resets: block range, walk over each, jump across the reset after each (NaN: none).

    lo, hi (k,) blocks; begin (k,) level at the begin; walk, jump (k,), the signal's unit.
    """

    lo: IndexArray
    hi: IndexArray
    begin: FloatArray
    walk: FloatArray
    jump: FloatArray


def detect_fouling(record: Record, settings: FoulingSettings | None = None) -> tuple[Event, ...]:
    """Find saw-teeth over cleanings (kind ``fouling``) and over calibrations (kind ``drift``).

    Returns
    -------
    tuple of Event
        Size is the mean change from clean to dirty.
    """
    settings = settings or FoulingSettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    found = _at_logged(record, survey, settings)
    for kind, codes in (("fouling", (CLEANING,)), ("fouling", (WASHING,)), ("drift", (CALIBRATING,))):
        teeth = teeth_between(record, survey, codes)
        run = _run(teeth)
        event = None if run is None else _event(record, survey, teeth, run, kind, settings)
        if event is not None and not any(e.start < event.end and event.start < e.end for e in found):
            found.append(event)
    return tuple(sorted(found, key=lambda event: event.start))


def _at_logged(record: Record, survey: Survey, settings: FoulingSettings) -> list[Event]:
    """Fouling that logged cleanings take off at once."""
    run = brought_back(record, survey)
    if run is None or run.expected > settings.least_p:
        return []
    size = -float(np.median(run.jump))
    level = float(survey.blocks.level[run.lo[0]])
    tolerance = record.point.tolerance_at(level)
    prior = expected_faults(settings.foulings_per_year, survey.years)
    clue = Clue(odds=LOGGED, words="each time at a cleaning of the log")
    probe = weigh(prior=prior, chance=unexplained(settings.unexplained, survey.years), clues=(clue,))
    if abs(size) < TRIFLE * tolerance:
        return []
    start = int(survey.live.time[survey.blocks.first[run.lo[0]]])
    end = int(survey.live.time[int(survey.blocks.first[run.hi[-1]]) - 1])
    days = (run.hi - run.lo) * survey.blocks.width_s / 86_400
    low, high = sorted(-float(jump) for jump in (run.jump.min(), run.jump.max()))
    unit = record.unit
    return [
        Event(
            point=record.point.name,
            kind="fouling",
            start=start,
            end=end,
            size=size,
            size_low=low,
            size_high=high,
            size_unit=unit,
            confidence=probe,
            origin=name_origin(probe),
            severity=severity_of(record, level, size),
            probe=record.probe_at(start),
            onset_uncertainty_s=float(days[0]) * 86_400 / 2,
            open_start=bool(run.lo[0] == 0),
            evidence=(
                f"{run.jump.size} cleanings in a row move the reading by {written(-size, 2, signed=True)} {unit} at once",
                f"at other times it moves so far {chance_text(run.expected)} times by chance",
                clue.words,
            ),
            details={"rate_per_day": float(np.median(-run.jump / days)), "stretches": float(run.jump.size)},
        )
    ]


def teeth_between(record: Record, survey: Survey, codes: tuple[int, ...]) -> Teeth:
    """Cut the blocks at every span of these states and measure each stretch."""
    blocks = survey.blocks
    spans = record.states.spans(*codes)
    begins = np.searchsorted(blocks.start, spans[:, 0])
    ends = np.searchsorted(blocks.start, spans[:, 1])
    lo, hi = np.append(0, ends), np.append(begins, len(blocks))
    long = hi - lo >= FEWEST_BLOCKS
    lo, hi = lo[long], hi[long]
    edge = np.maximum((hi - lo) // EDGE_SHARE, 2)  # the first and the last sixth, at least two blocks
    begin, end = group_median(blocks.level, lo, lo + edge), group_median(blocks.level, hi - edge, hi)
    jump = np.append(begin[1:] - end[:-1], np.nan)[: lo.size]
    return Teeth(lo=lo, hi=hi, begin=begin, walk=end - begin, jump=jump)


def _run(teeth: Teeth) -> tuple[int, int] | None:
    """Run of stretches [i, j) with the largest one-sided sum of walks, half a scatter taken off each."""
    n = teeth.walk.size
    if n < FEWEST_STRETCHES:
        return None
    scatter = scatter_of(teeth.walk)
    scatter = max(scatter, 0.1 * float(np.median(np.abs(teeth.walk))), 1e-12)
    i, j, _ = highest_run(teeth.walk / scatter)
    return (i, j) if j - i >= FEWEST_STRETCHES else None


def _one_sided(x: FloatArray, side: float) -> float:
    """p value of a t test that the mean goes to `side`."""
    x = x[np.isfinite(x)] * side
    if x.size < FEWEST_STRETCHES - 1:
        return 1.0
    error = max(float(x.std(ddof=1)), 0.05 * abs(float(x.mean())), 1e-12) / math.sqrt(x.size)
    return float(stdtr(x.size - 1, -float(x.mean()) / error))


def _event(
    record: Record, survey: Survey, teeth: Teeth, run: tuple[int, int], kind: str, settings: FoulingSettings
) -> Event | None:
    i, j = run
    walk, jump = teeth.walk[i:j], teeth.jump[i:j]
    size, back = float(np.mean(walk)), float(np.nanmean(jump)) if np.isfinite(jump).any() else math.nan
    side = math.copysign(1.0, size)
    p_walk, p_jump = _one_sided(walk, side), _one_sided(jump, -side)
    restored = -back / size if size else 0.0
    if max(p_walk, p_jump) > settings.least_p ** (1 / 2) or p_walk * p_jump > settings.least_p**2:
        return None
    if not restored >= settings.least_restored or abs(size) < 2 * survey.quantum:
        return None
    if not _gradual(survey, teeth, run) or _sudden(survey, teeth, run):
        return None
    blocks = survey.blocks
    start = int(survey.live.time[blocks.first[teeth.lo[i]]])
    end = int(survey.live.time[int(blocks.first[teeth.hi[j - 1]]) - 1])
    days = (teeth.hi[i:j] - teeth.lo[i:j]) * blocks.width_s / 86_400
    chance = unexplained(settings.unexplained, survey.years) + p_walk * p_jump * 100
    clues = (*_locked(survey, teeth, run), *_used_up(record, teeth, run))
    if kind == "fouling" and record.point.quantity.fouls * size < 0:  # the right way is what the kind means
        clues = (*clues, dirt_clue(record, size))
    prior = expected_faults(settings.foulings_per_year, survey.years)
    probe = weigh(prior=prior, chance=chance, clues=(Clue(odds=4.0), *clues))
    if probe < settings.least_confidence:
        return None
    left = _left_over(survey, teeth, run)
    error = float(walk.std(ddof=1)) / math.sqrt(walk.size)
    name = "cleaning" if kind == "fouling" else "calibration"
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=end,
        size=size,
        size_low=size - 1.645 * error,
        size_high=size + 1.645 * error,
        size_unit=record.unit,
        confidence=probe,
        origin=name_origin(probe),
        severity=severity_of(record, float(np.median(teeth.begin[i:j])), size),
        probe=record.probe_at(start),
        onset_uncertainty_s=float(days[0]) * 86_400 / 2,
        open_start=i == 0,
        open_end=j == teeth.walk.size,
        evidence=(
            f"walks by {written(size)} {record.change_unit} from one {name} to the next, {walk.size} times",
            f"each {name} brings back {100 * restored:.0f} % of it",
            f"what is not brought back walks by {written(left, 2)} {record.change_unit} a day",
            *words_of(clues),
        ),
        details={
            "rate_per_day": float(np.median(walk / days)),
            "restored_share": restored,
            "unrestored_per_day": left,
            "stretches": float(walk.size),
        },
    )


def _gradual(survey: Survey, teeth: Teeth, run: tuple[int, int]) -> bool:
    """Whether the stretches walk all along, on average: dirt grows, while a process that is cleaned at the same place of
    its cycle begins each stretch with another phase of it.
    """
    lo, hi = teeth.lo[run[0] : run[1]], teeth.hi[run[0] : run[1]]
    parts = int(min(PARTS, (hi - lo).min()))
    edge = lo[:, None] + (hi - lo)[:, None] * np.arange(parts + 1) // parts
    level = group_median(survey.blocks.level, edge[:, :-1].ravel(), edge[:, 1:].ravel()).reshape(-1, parts)
    profile = np.median(level - level.mean(axis=1, keepdims=True), axis=0)
    rank = np.argsort(np.argsort(profile, kind="stable"), kind="stable")
    order = abs(float(np.corrcoef(rank, np.arange(parts))[0, 1]))
    middle = float(profile[(parts - 1) // 2 : parts // 2 + 1].mean())
    early = (middle - profile[0]) / (profile[-1] - profile[0]) if profile[-1] != profile[0] else math.nan
    return order >= LEAST_ORDER and LEAST_HALF <= early <= 1 - LEAST_HALF


def _sudden(survey: Survey, teeth: Teeth, run: tuple[int, int]) -> bool:
    """Whether the stretches walk by sudden changes: products and set-points go by steps in a fixed order, dirt grows.

    A median over the moves of neighbouring parts leaves out what one or two of them make alone, whichever way it goes, and
    keeps a slope as it is; noise goes either way.
    """
    first = survey.blocks.first
    lo, hi = first[teeth.lo[slice(*run)]], first[teeth.hi[slice(*run)]]
    parts = int(min(FINE, (hi - lo).min() // FEWEST_SAMPLES))
    if parts <= 2 * ISOLATED:
        return False  # too short to tell a step from a slope
    edge = lo[:, None] + (hi - lo)[:, None] * np.arange(parts + 1) // parts
    level = group_median(survey.live.value, edge[:, :-1].ravel(), edge[:, 1:].ravel()).reshape(-1, parts)
    slow = median_filter(np.diff(level, axis=1), (1, ISOLATED), mode="nearest").sum(axis=1)
    missing = SLOW * teeth.walk[slice(*run)] - slow
    error = float(missing.std(ddof=1)) / math.sqrt(missing.size)
    return float(missing.mean()) * math.copysign(1.0, float(teeth.walk[slice(*run)].mean())) > ERRORS * error


def _left_over(survey: Survey, teeth: Teeth, run: tuple[int, int]) -> float:
    """Trend per day of the level right after each reset: what the resets do not bring back."""
    i, j = run
    day = survey.blocks.start[teeth.lo[i:j]] / NS_PER_DAY
    return float(np.polyfit(day - day[0], teeth.begin[i:j], 1)[0]) if j - i > 2 else 0.0


def _used_up(record: Record, teeth: Teeth, run: tuple[int, int]) -> tuple[Clue, ...]:
    """A reading that loses most of itself each time: a batch uses up the oxygen or settles, and is cleaned after."""
    begin, walk = teeth.begin[slice(*run)], teeth.walk[slice(*run)]
    if not record.point.quantity.fouls or not np.median(-walk / np.maximum(np.abs(begin), 1e-12)) > HALF:
        return ()
    words = "each time the reading loses more than half of itself, as in batches that are cleaned between"
    return (Clue(odds=USED_UP, words=words),)


def _locked(survey: Survey, teeth: Teeth, run: tuple[int, int]) -> tuple[Clue, ...]:
    """Cleanings by the hour of the day make a process's daily round look like a saw-tooth."""
    i, j = run
    begin = survey.blocks.start[teeth.lo[i:j]]
    if begin.size < 3:
        return ()
    gap = float(np.median(np.diff(begin))) / NS_PER_DAY
    whole = abs(gap - round(gap)) < 0.05 and 1 <= round(gap) <= 2
    if whole:
        return (Clue(odds=0.3, words="the cleanings keep to the hour of the day, as the process may"),)
    return ()
