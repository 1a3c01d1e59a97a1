"""What speaks for and against a standstill: a habit of the process, an end of the range, broken glass."""

from __future__ import annotations

import math

import numpy as np

from excursions.detect.evidence.origin import Clue, frozen_share
from excursions.detect.series.spells import Spells
from excursions.detect.series.survey import Survey
from excursions.ranks import quantiles
from excursions.records import CALIBRATING, CLEANING, STEAMING, WASHING, FloatArray, Record
from excursions.runs import runs

SAME_LEVEL = 0.3  # another spell counts as the same habit from this share of the length on
FEWEST_AT_REST = 8  # blocks: a shorter stay at a level is passed through by chance
REST = 0.1  # shorter ones than this share are no rest of the process
ASIDE = 1e-6
FOLLOWED = (CALIBRATING, WASHING, CLEANING, STEAMING)  # states in which a live reading goes elsewhere
LEFT_BY_FAR, FEWEST_FOLLOWED = 3.0, 3  # of the room it had; samples that did
LOOP = (3.8, 20.5)  # mA, measuring range of a current loop (NAMUR NE 43)
RANGE_END = 1e-4  # of the range: a level this near its end is at the end
GLASS_AROUND = 0.5  # pH around 7 at which broken glass reads (cp)
# In pH; share of the record so near from which on the process lives there (cp).
GLASS_NEAR, GLASS_SELDOM = 0.15, 0.1
EDGE = 0.05  # share of the record beyond a level that makes it an end of the span


def kind_of(record: Record, survey: Survey, spell: Spells) -> str:
    """``pinned`` at an end of the range, else ``stuck``."""
    level = float(spell.level[0])
    scale = max(survey.noise, survey.quantum)
    if record.value is not None and record.value.unit == "mA":
        return "stuck" if LOOP[0] < level < LOOP[1] else "pinned"
    if record.point.range is not None:
        low, high = record.point.range
        near = max(scale, RANGE_END * (high - low))
        return "pinned" if level >= high - near or level <= low + near else "stuck"
    others = np.delete(survey.blocks.level, _block_range(survey, spell, 0))
    if not others.size:
        return "stuck"
    low, high = quantiles(others, (0.003, 0.997))
    return "pinned" if level > high + 3 * scale or level < low - 3 * scale else "stuck"


def _block_range(survey: Survey, spells: Spells, i: int) -> slice:
    lo = survey.blocks.at(int(survey.live.time[spells.first[i]]))
    return slice(lo, survey.blocks.at(int(survey.live.time[spells.last[i]])) + 1)


def habit(survey: Survey, spells: Spells, i: int) -> tuple[Clue, ...]:
    """Whether standing still at this level, or at rest at zero, is what the process does."""
    level = float(spells.level[i])
    near = max(2 * survey.quantum, survey.sigma) + ASIDE * abs(level)
    same = np.abs(spells.level - level) <= near
    same[i] = False
    long = int(np.count_nonzero(same & (spells.held_s >= SAME_LEVEL * spells.held_s[i])))
    long = max(long, _rests(survey, _block_range(survey, spells, i)))
    clues = []
    if long:
        words = f"the same level was held as long {long} more time{'s' if long > 1 else ''}"
        clues.append(Clue(odds=0.05 if long == 1 else 0.01, words=words))
    elif (
        float(spells.held_s[same & (spells.held_s >= REST * spells.held_s[i])].sum()) > 0.5 * spells.held_s[i]
    ):
        clues.append(Clue(odds=0.2, words="the reading rests at this level again and again"))
    clues.append(_place(survey, _block_range(survey, spells, i), level, near))
    if level == 0.0:
        clues.append(Clue(odds=0.1, words="exactly zero: the process may be at rest"))
    return tuple(clues)


def _rests(survey: Survey, own: slice) -> int:
    """How often else the reading kept as near to this level for as long: a plant at a standstill rests where it rested before.

    Spells of standstill are no list of that: a rest a little less still than this one is none, and is a habit all the same.
    """
    inner = slice(own.start + 1, own.stop - 1)  # what is at its ends still moves
    if inner.stop - inner.start < FEWEST_AT_REST:
        return 0
    blocks = survey.blocks
    low, high = float(blocks.low[inner].min()), float(blocks.high[inner].max())
    room = high - low  # nil where it is frozen to the digit, which no plant at rest is
    if room <= survey.quantum:
        return 0
    rest = (blocks.low >= low - room) & (blocks.high <= high + room)
    rest[own] = False
    return sum(b - a >= SAME_LEVEL * (inner.stop - inner.start) for a, b in runs(rest))


def empty_clue(record: Record, spell: Spells) -> tuple[Clue, ...]:
    """A level that an empty pipe gives as well as a broken circuit: lines stand empty far more often (cp)."""
    if float(spell.level[0]) != record.point.quantity.empty_reads:
        return ()
    return (
        Clue(
            odds=0.1, words="reads as in an empty pipe, and as with an open circuit: no reading of a medium"
        ),
    )


def unseen_start(first: int) -> tuple[Clue, ...]:
    """A spell the record begins with: nobody saw the reading come to rest."""
    return () if first else (Clue(odds=0.4, words="the record begins with it"),)


def _place(survey: Survey, own: slice, level: float, near: float) -> Clue:
    """A process rests at an end of where it usually is; a probe sticks anywhere."""
    reach = max(len(survey.blocks) // 8, 50)
    others = np.concatenate(
        [
            survey.blocks.level[max(own.start - reach, 0) : own.start],
            survey.blocks.level[own.stop : own.stop + reach],
        ]
    )
    if not others.size:
        return Clue(odds=1.0)
    edge = min(float(np.mean(others < level - near)), float(np.mean(others > level + near)))
    if edge < EDGE:
        return Clue(odds=0.15, words="the level is where this process rests, at an end of its usual span")
    return Clue(odds=3.0, words="the level is in the midst of the usual span")


def followed_meanwhile(record: Record, start: int, end: int, low: float, high: float) -> bool:
    """Whether the reading left [low, high] by far between `start` and `end` (ns), in states that are not searched.

    Who is stuck does not follow a cleaning, a steaming or a standard either.
    """
    signal, away = record.value, record.states.spans(*FOLLOWED)
    away = away[(away[:, 0] > start) & (away[:, 1] < end)]
    if signal is None or not away.size:
        return False
    lo, hi = np.searchsorted(signal.time, [away[0, 0], away[-1, 1]])
    part = signal.value[lo:hi]
    part = part[np.isfinite(part) & record.states.mask(signal.time[lo:hi], *FOLLOWED)]
    room = LEFT_BY_FAR * max(high - low, signal.sampling.resolution, ASIDE * abs(high))
    return bool(np.count_nonzero((part < low - room) | (part > high + room)) >= FEWEST_FOLLOWED)


def temperature_clue(record: Record, start: int, end: int) -> Clue:
    """A temperature that goes on moving shows that the interface is alive."""
    share = frozen_share(record.temperature, start, end)
    if not math.isfinite(share):
        return Clue(odds=1.0)
    if share > 0.98:
        return Clue(
            odds=1.0, words="the temperature is frozen too: the interface or the export, not this probe"
        )
    return Clue(odds=3.0, words="the temperature goes on moving meanwhile")


def reads_as_broken(record: Record, level: float, others: FloatArray) -> bool:
    """Whether a pH electrode stands where broken glass reads, and the process, by its other levels (n,), hardly ever is."""
    near = abs(level - record.point.quantity.glass_reads) <= GLASS_AROUND  # NaN where no glass can break
    lives_there = others.size > 0 and float(np.mean(np.abs(others - level) < GLASS_NEAR)) >= GLASS_SELDOM
    return near and not lives_there


def glass_clue(record: Record, survey: Survey, spell: Spells) -> tuple[Clue, ...]:
    """A pH electrode with broken glass reads near its zero point whatever the process does."""
    level = float(spell.level[0])
    if not reads_as_broken(record, level, np.delete(survey.blocks.level, _block_range(survey, spell, 0))):
        return ()
    first = int(spell.first[0])
    before = survey.live.value[max(first - 60, 0) : first]
    if before.size < 3 or abs(float(np.median(before)) - level) < 6 * max(survey.noise, survey.quantum):
        return ()
    return (Clue(odds=3.0, words="went to pH 7 and stays there, as with broken glass or a wet plug"),)
