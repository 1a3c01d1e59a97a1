"""Whose doing: the evidence for probe or process, weighed as odds.

Every clue carries how many times likelier it is under a fault of the probe than under the process.  These
ratios are judgements of the trade (common practice, no source), kept mild: no single one settles a case.
What can be counted is counted instead: how often this record shows the like (the chance number), and how
often probes fail that way (the prior).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_S, TimeArray, duration_text
from excursions.detect.series.alike import related
from excursions.detect.series.pattern import without_round
from excursions.detect.series.survey import Survey
from excursions.ranks import NORMAL_MAD, median, quantiles
from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    MEASURING,
    MOVED_NOT,
    MOVED_TOO,
    NO_DATA,
    RECOVERING,
    STATES,
    STEAMING,
    TEMPERATURE,
    WASHING,
    BoolArray,
    FloatArray,
    Record,
    Signal,
    Witness,
)
from excursions.states.signs import NOTED_WITHIN_H

SURE, UNLIKELY = 0.7, 0.3  # probability of the probe from which an origin is named
HIGHEST = 0.97  # no record alone is better than that
SHORTEST_YEARS, LONGEST_YEARS = 0.25, 1.0  # (cp)
MOST_YEARS = 4.0
RESETS = (CALIBRATING, CLEANING)  # states that take a fault of the reading out again
SOON_S = 1_800.0  # "within minutes of": half an hour (cp)
LATE_S = 2 * 3_600.0  # cooling and settling of a vessel take an hour or two (cp)
HEAT_BEFORE_S = 6 * 3_600.0
STOOD, ALIKE_K = 4, 3.0  # times through as much heat are a habit, as where exposures are told (cp)
AFTER_STEAM = 2.5  # steam harms probes, but a process started anew after it also goes to other levels (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clue:
    """One piece of evidence: odds probe against process, and the fact in words (empty when not worth saying).

    inside : seen in the reading alone, so that it is no second witness; source : the other signal, or the samples, that
    show it; said : what that one did, in the words of :class:`excursions.records.Witness`
    """

    odds: float
    words: str = ""
    inside: bool = False
    source: str = ""
    said: str = ""


def expected_faults(per_year: float, years: float) -> float:
    """Expected number of faults in a record.

    A short record is exported because somebody suspects something; a long one is not looked into more often
    for its length.
    """
    return per_year * min(max(years, SHORTEST_YEARS), LONGEST_YEARS)


def unexplained(number: float, years: float) -> float:
    """Changes the process makes itself that nothing foretells: `number` in up to a year, more in a longer record."""
    return number * min(max(years, 1.0), MOST_YEARS)


def weigh(*, prior: float, chance: float, clues: tuple[Clue, ...]) -> float:
    """Probability that the probe did it: expected numbers per record, times the odds of the clues."""
    odds = prior / max(chance, 1e-12)
    for clue in clues:
        odds *= clue.odds
    return min(odds / (1 + odds), HIGHEST)


ELSEWHERE = 0.3  # odds for the probe while the process is in another condition altogether (cp)


def elsewhere_clue(survey: Survey, start: int, end: int) -> Clue:
    """Whether the temperature lay, in [start, end), beyond where it is at other times by more than its usual span."""
    lo, hi = np.searchsorted(survey.blocks.start, [start, end])
    own, others = survey.temperature[lo:hi], np.delete(survey.temperature, np.s_[lo:hi])
    own, others = own[np.isfinite(own)], others[np.isfinite(others)]
    if own.size < 4 or others.size < 20:
        return Clue(odds=1.0)
    now = median(own)
    low, usual, high = quantiles(others, (0.05, 0.5, 0.95))
    if low - (high - low) <= now <= high + (high - low) or abs(now - usual) < ELSEWHERE_K:
        return Clue(odds=1.0)
    return Clue(
        odds=ELSEWHERE, words=f"the temperature was at {now:.0f} °C meanwhile, else at {usual:.0f} °C"
    )


ELSEWHERE_K = 5.0  # (cp)


WITNESS = 2.0  # odds from which on a clue is a second witness
WITHOUT = 0.69  # most that the reading alone says, just short of naming the probe


def witnessed(probability: float, clues: tuple[Clue, ...]) -> float:
    """Cap what the reading alone says at "undecided"; what speaks from outside it is weighed upon that.

    A set-point nobody told of looks in the reading like a fault, however unlike the record's past.  It takes
    something else to tell them apart: a neighbour, samples, heat or work at the probe just before, a calibration
    or cleaning that takes it out.  One mild witness then makes it likely, not certain.
    """
    outside = math.prod(clue.odds for clue in clues if not clue.inside)
    if not any(clue.odds >= WITNESS and not clue.inside for clue in clues):
        return min(probability, WITHOUT)
    most = WITHOUT / (1 - WITHOUT) * max(outside, 1e-12)
    return min(probability, most / (1 + most))


def shared(clues: tuple[Clue, ...], alike: int) -> tuple[Clue, ...]:
    """Weaken clues that the other events of like size in this record show as well."""
    return tuple(replace(clue, odds=clue.odds ** (1 / (1 + alike / 2))) for clue in clues)


def name_origin(probability: float) -> str:
    """``probe``, ``process`` or ``undecided``."""
    return "probe" if probability >= SURE else "process" if probability <= UNLIKELY else "undecided"


def times(number: int, one: str, many: str) -> str:
    """``1 other change``, ``3 other changes``, ``no other change``."""
    return f"{number or 'no'} {one if number < 2 else many}"


def words_of(clues: tuple[Clue, ...]) -> tuple[str, ...]:
    """The facts, strongest first."""
    said = sorted((clue for clue in clues if clue.words), key=lambda clue: -abs(math.log(clue.odds)))
    return tuple(clue.words for clue in said)


def witnesses_of(clues: tuple[Clue, ...]) -> tuple[Witness, ...]:
    """What other sources say, one each, in the order of the clues."""
    said = {clue.source: clue for clue in clues if clue.source and clue.said and clue.words}
    return tuple(Witness(source=c.source, said=c.said, words=c.words) for c in said.values())


def state_clue(record: Record, start: int, *, soon_s: float = SOON_S) -> Clue:
    """Whether it began within minutes of the end of a state other than measuring."""
    states = record.states
    ended = np.flatnonzero((states.end <= start) & ~np.isin(states.code, (MEASURING, NO_DATA, RECOVERING)))
    if not ended.size:
        return Clue(odds=1.0)
    last = int(ended[-1])
    settled = last + 1 if last + 1 < states.code.size and states.code[last + 1] == RECOVERING else last
    if start - int(states.end[settled]) > soon_s * NS_PER_S:
        return Clue(odds=1.0)
    code = int(states.code[last])
    odds = {STEAMING: AFTER_STEAM, CLEANING: 2.0, CALIBRATING: 2.0, HOLD: 1.2, WASHING: 1.2}[code]
    if start - int(states.end[last]) > LATE_S * NS_PER_S:
        odds = min(odds, 1.5)  # it settled, or the process changed, long after: much else may have happened
    since = duration_text((start - int(states.end[last])) / NS_PER_S)
    return Clue(odds=odds, words=f"began {since} after {STATES[code]}")


def heat_before(record: Record, start: int) -> float:
    """Highest temperature of the six hours before, degC; NaN without a temperature signal."""
    signal = record.temperature
    if signal is None or not len(signal):
        return math.nan
    lo, hi = np.searchsorted(signal.time, [start - round(HEAT_BEFORE_S * NS_PER_S), start])
    part = signal.value[lo:hi]
    return float(np.nanmax(part)) if np.isfinite(part).any() else math.nan


def heat_clue(record: Record, start: int) -> Clue:
    """Whether heat above the rating came just before; heat short of steam's rating that was stood often says nothing."""
    hottest = heat_before(record, start)
    ratings = record.plant.ratings(record.point, start)
    if not hottest > ratings.continuous_degc:
        return Clue(odds=1.0)
    if hottest <= ratings.sterilisation_degc and _stood(record, start, hottest) >= STOOD:
        return Clue(odds=1.0)
    words = f"after heat: {hottest:.0f} °C in the six hours before"
    return Clue(odds=6.0 if hottest > ratings.sterilisation_degc else 1.5, words=words)


def _stood(record: Record, start: int, degc: float) -> int:
    """On how many occasions apart from the last before `start` the point had been through as much heat by then."""
    signal = record.temperature
    if signal is None:
        return 0
    time = signal.time[: int(np.searchsorted(signal.time, start))]
    hot = time[signal.value[: time.size] >= degc - ALIKE_K]
    return int(np.count_nonzero(np.diff(hot) > HEAT_BEFORE_S * NS_PER_S))


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """Another signal on the blocks of a record: level (m,) less its daily round, its usual change over each width.

    related : measures the same quantity and usually goes along, so that its keeping still says something
    """

    name: str
    level: FloatArray
    usual: FloatArray
    related: bool


def companions(record: Record, survey: Survey) -> tuple[Companion, ...]:
    """Temperature and neighbours, as far as they are known."""
    others = (
        (TEMPERATURE, survey.temperature, record.temperature),
        *((name, level, record.neighbours.get(name)) for name, level in survey.neighbours.items()),
    )
    return tuple(
        _companion(survey, name, level, _unseen(signal), redundant=name in survey.redundant)
        for name, level, signal in others
        if np.isfinite(level).any()
    )


def _unseen(signal: Signal | None) -> float:
    """What a recorder does not show of a move, so that the next sample shows it at once: the dead band, or a rounding."""
    return max(signal.sampling.deadband, signal.sampling.resolution / 2) if signal is not None else 0.0


def _companion(survey: Survey, name: str, level: FloatArray, unseen: float, *, redundant: bool) -> Companion:
    known = np.isfinite(level)
    at = np.arange(level.size)
    filled = np.interp(at, at[known], level[known])
    rest = np.where(known, without_round(survey.blocks.start, filled, width=survey.blocks.width), np.nan)
    return Companion(
        name=name,
        level=rest,
        usual=np.array([max(_usual_change(rest, width), unseen) for width in range(1, WIDEST_COMPANY + 1)]),
        related=redundant and related(survey.blocks.level, level),
    )


def _usual_change(level: FloatArray, width: int) -> float:
    """Usual change over `width` blocks: robust, but not nil where a signal mostly keeps to one count."""
    moved = np.abs(level[width:] - level[:-width])[:: max(1, level.size // 2_000)]
    moved = moved[np.isfinite(moved)]
    return max(NORMAL_MAD * median(moved), 0.5 * float(moved.mean()), 1e-12) if moved.size else math.nan


def moved_together(other: Companion, at: int, *, width: int, broken: bool) -> float:
    """How far another signal's level moved at the same block, in its own usual changes over that width; see :func:`_move`."""
    return abs(_move(other, at, width=width, broken=broken))


def _move(other: Companion, at: int, *, width: int, broken: bool) -> float:
    """How far another signal's level moved at a block, signed, in its own usual changes over that width.

    NaN where the other signal is not known there.  Across a break a longer way back is usual, and is
    allowed for by a factor of two; the first block behind it is left out, in which a temperature still
    returns from steam: a process that moved stays where it went.
    """
    width = min(width, WIDEST_COMPANY)
    behind = at + 1 if broken and np.isfinite(other.level[at + 1 : at + 1 + width]).any() else at
    before, after = other.level[max(at - width, 0) : at], other.level[behind : behind + width]
    if not np.isfinite(before).any() or not np.isfinite(after).any():
        return math.nan
    moved = float(np.nanmean(after)) - float(np.nanmean(before))
    return moved / (float(other.usual[width - 1]) * (2.0 if broken else 1.0))


def company_clues(
    others: tuple[Companion, ...], at: int, *, width: int, broken: bool, way: float, hour: int
) -> tuple[Clue, ...]:
    """What temperature and neighbours did at the same time as a change by `way`, the reading's unit; `hour`: blocks of an hour.

    A process comes to two places one after the other, and among its noise a change of minutes is not known to the block:
    a neighbour that goes along and moved the same way within the hour saw it too.
    """
    clues = []
    for other in others:
        ratio = moved_together(other, at, width=width, broken=broken)
        own = other.name == TEMPERATURE
        if ratio > MOVED:
            words = f"{other.name} changed at the same time"
            clues.append(Clue(odds=0.15 if own else 0.05, words=words, source=other.name, said=MOVED_TOO))
        elif own and _sets_in(other, at, width=width, broken=broken):
            words = f"{other.name} began to change with it"
            clues.append(Clue(odds=0.3, words=words, source=other.name, said=MOVED_TOO))
        elif other.related and (about := about_clue(other, at, width=width, way=way, hour=hour)) is not None:
            clues.append(about)
        elif ratio > STIRRED:
            clues.append(Clue(odds=0.6, words=f"{other.name} was on the move as well", source=other.name))
        elif other.related and abs(way) < MOVED * float(other.usual[min(width, WIDEST_COMPANY) - 1]):
            continue  # so small a move would not be seen in it
        elif math.isfinite(ratio):
            odds = 1.5 if own else 6.0 if other.related else 1.3
            words = f"{other.name} did not change with it"
            clues.append(Clue(odds=odds, words=words, source=other.name, said=MOVED_NOT))
    return tuple(clues)


def _sets_in(temperature: Companion, at: int, *, width: int, broken: bool) -> bool:
    """Whether the temperature, quiet until a block, moves right after it: heat takes its time where a flow changes at once."""
    then, before = (
        moved_together(temperature, k, width=width, broken=broken) for k in (at + 1, max(at - 1, 0))
    )
    return then > MOVED and before < STIRRED


def about_clue(other: Companion, at: int, *, width: int, way: float, hour: int) -> Clue | None:
    """That another signal moved the same way within an hour, by more than it usually does; None where it did not."""
    near = range(max(at - hour, 0), min(at + hour, other.level.size - 1) + 1)
    moves = [math.copysign(1.0, way) * _move(other, k, width=width, broken=False) for k in near if k != at]
    if not any(one > MOVED for one in moves):
        return None
    words = f"{other.name} changed the same way within the hour"
    return Clue(odds=0.15, words=words, source=other.name, said=MOVED_TOO)


MOVED = 4.0  # usual changes: an unrelated signal passes that about once in a thousand windows


def tempered(every: list[tuple[Clue, ...]]) -> list[tuple[Clue, ...]]:
    """Weaken what is said by a signal that kept still, by how often it kept still with the other changes as well.

    A temperature that never moves with this process says nothing by not moving; one that always does says much.
    Its chance to keep still is counted over the other changes, upon two that are as the trade would guess.
    """
    still: dict[str, int] = {}
    seen: dict[str, int] = {}
    for clue in (clue for clues in every for clue in clues):
        seen[clue.source] = seen.get(clue.source, 0) + 1
        still[clue.source] = still.get(clue.source, 0) + (clue.odds > 1)

    def fair(clue: Clue) -> Clue:
        if clue.odds <= 1:
            return clue
        share = (GUESSED / clue.odds + still[clue.source] - 1) / (GUESSED + seen[clue.source] - 1)
        return replace(clue, odds=max(1.0, min(clue.odds, 1 / share)))

    return [tuple(fair(clue) for clue in clues) for clues in every]


GUESSED = 2.0  # changes that the guess of the trade counts as
STIRRED = 2.0  # once in twenty windows: too often to explain, too much to be called still
WIDEST_COMPANY = 8  # blocks


def next_reset(record: Record, start: int) -> int | None:
    """Begin of the next calibration or cleaning, by its trace or by its entry in a log, ns; None when none follows."""
    traces = record.states.spans(*RESETS)[:, 0].tolist()
    return min((when for when in (*traces, *_entered(record)) if when > start), default=None)


def _entered(record: Record) -> tuple[int, ...]:
    plant, name = record.plant, record.point.name
    return (*plant.noted_at(name), *plant.cleaned_at(name))


def is_adjusted(record: Record, start: int) -> bool:
    """Whether a log enters a calibration at this instant: then the adjustment made the change, trace or not."""
    near = round(NOTED_WITHIN_H * NS_PER_HOUR)
    return any(abs(start - when) <= near for when in record.plant.noted_at(record.point.name))


def during_work(record: Record, when: TimeArray) -> BoolArray:
    """Whether a log enters a calibration or a cleaning about each instant (k,), ns: what was seen then is that work, trace or not."""
    near = round(NOTED_WITHIN_H * NS_PER_HOUR)
    entered = np.array(_entered(record), dtype=np.int64)
    return np.asarray((np.abs(when[:, None] - entered) <= near).any(axis=1))


def frozen_share(signal: Signal | None, start: int, end: int) -> float:
    """Share of a signal's samples in a span that equal the sample before; NaN with fewer than three there."""
    if signal is None:
        return math.nan
    lo, hi = np.searchsorted(signal.time, [start, end])
    part = signal.value[lo:hi]
    if part.size < 3 or end - start < NS_PER_HOUR // 60:
        return math.nan
    return float(np.mean(part[1:] == part[:-1]))
