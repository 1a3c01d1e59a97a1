"""Whose a change of noise is: what level, wander, glass, gas, neighbours and its end say of it."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.evidence.origin import Clue, next_reset
from excursions.detect.noise.gas import gas_clue
from excursions.detect.noise.over_time import NoiseSeries, NoiseSpell
from excursions.detect.series.blocks import Blocks, NoiseBlocks, noise_blocks
from excursions.detect.series.live import live_samples
from excursions.detect.series.straight import slope_and_error
from excursions.detect.series.survey import Survey
from excursions.detect.still.standstill import GLASS_NEAR, reads_as_broken
from excursions.ranks import median, quantiles
from excursions.records import BoolArray, FloatArray, Record

BESIDE_ONSET = 2  # noise blocks: so near a collapse and a jump of the level are one thing that happened
GLASS_BESIDE = 12  # noise figures before
FEWEST_TO_RELATE = 50  # noise figures that tell whether noise goes with the level
FEWEST_STEPS = 6  # changes from one noise figure to the next that tell how a reading wanders
OWN_STEPS = 2.2  # twice the median difference of two interquartile means of white noise, times the root of the samples
COMES_OFF = 0.3  # odds of a coating, milder than for a level that went back: sheets of it do come off (cp)
ALONG, APART = 0.5, 0.25  # share of the change of noise that the wander shows


def _level_clue(survey: Survey, noise: NoiseSeries, spells: list[NoiseSpell], spell: NoiseSpell) -> Clue:
    """Whether the record shows the same noise at the same level at other times, those left out that are in question as well.

    A stretch of high and low levels, as a storm is, is held against those between its quartiles: the calm below them, which
    scatters less where noise grows with the level, is not of its level.
    """
    level = survey.blocks.level[noise.block]
    inside, alike = np.zeros(level.size, dtype=np.bool_), np.zeros(level.size, dtype=np.bool_)
    inside[spell.lo : spell.hi] = True
    for other in spells:
        alike[other.lo : other.hi] |= other.rise * spell.rise > 0
    low, high = quantiles(level[inside], (0.25, 0.75))
    near = survey.wander / 8
    same = ~alike & (level >= low - near) & (level <= high + near)
    if np.count_nonzero(same) < 8:
        if _grows_with_level(level, noise, inside | alike, spell) > 0.5 * spell.rise > 0:
            return Clue(
                odds=0.1, words="at other times the noise grows with the level as well, and as steeply"
            )
        return Clue(odds=0.6, words="the reading was hardly ever at that level at other times")
    if (median(noise.rest[same]) - spell.base) / spell.rise > 0.5:
        return Clue(odds=0.1, words="the record shows the same noise at that level at other times")
    return Clue(odds=2.0, words="at other times the same level came with the usual noise", inside=True)


def _grows_with_level(level: FloatArray, noise: NoiseSeries, asked: BoolArray, spell: NoiseSpell) -> float:
    """Rise of the noise [logarithm] that the level of a stretch explains by how noise and level go together outside of what is `asked`.

    Turbidity and counts scatter by a share of themselves; the slope is taken two standard errors smaller than it seems.
    """
    known = ~asked
    if np.count_nonzero(known) < FEWEST_TO_RELATE or not np.ptp(level[known]) > 0:
        return 0.0
    size = np.exp(noise.rest[known])
    slope, error = slope_and_error(level[known], size)
    now = median(level[spell.lo : spell.hi]) - median(level[known])
    moved = max(abs(slope) - 2 * error, 0.0) * math.copysign(now, slope * now)
    return math.log1p(max(moved, 0.0) / median(size))


def _glass_clue(record: Record, survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> Clue | None:
    """Broken glass of a pH electrode: it jumps to about 7, where both poles see the same, and hardly follows any more."""
    if math.isnan(record.point.quantity.glass_reads) or spell.rise > 0:
        return None
    level = survey.blocks.level[noise.block]
    now = median(level[spell.lo : spell.hi])
    before = level[max(spell.lo - GLASS_BESIDE, 0) : spell.lo]
    jumped = before.size > 0 and abs(median(before) - now) > max(6 * survey.noise, GLASS_NEAR)
    if not jumped or not reads_as_broken(record, now, np.delete(level, np.s_[spell.lo : spell.hi])):
        return None
    after = level[spell.hi + 1 : spell.hi + 1 + GLASS_BESIDE]
    ended = int(noise.start[min(spell.hi + 1, noise.start.size - 1)])
    reset = next_reset(record, int(noise.start[spell.lo]))
    if after.size and abs(median(after) - now) > GLASS_NEAR and (reset is None or reset > ended):
        return None  # it follows again without anybody at the probe: glass does not heal
    return Clue(
        odds=4.0,
        words=f"jumped to pH {now:.1f}, where it hardly ever is, and follows little: as broken glass does",
    )


def usual_clues(
    record: Record, survey: Survey, noise: NoiseSeries, spells: list[NoiseSpell], spell: NoiseSpell
) -> tuple[Clue, ...]:
    """What level and wander say of it."""
    wander = _glass_clue(record, survey, noise, spell) or _wander_clue(survey, noise, spell)
    return (_level_clue(survey, noise, spells, spell), wander)


def gas_in_cell(record: Record, survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> tuple[Clue, ...]:
    """Gas caught in a conductivity cell, where the noise grew: it takes the reading to levels where it never is."""
    if spell.rise < 0 or record.point.quantity.empty_reads != 0.0:
        return ()
    edges = int(noise.start[spell.lo]), int(noise.start[min(spell.hi, noise.start.size - 1)])
    level = survey.blocks.level[noise.block]
    clue = gas_clue(survey, level, (spell.lo, spell.hi), edges, near=BESIDE_ONSET * noise.width)
    return (clue,) if clue is not None else ()


def _wander_clue(survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> Clue:
    """Whether the slow wander of the reading changed as its noise did.

    A quieter process is quieter at every pace; a coating takes the fast fluctuations and leaves the slow ones,
    and a loose plug adds fast ones alone.
    """
    level = survey.blocks.level[noise.block]
    move = np.abs(np.diff(level, prepend=level[:1]))
    move[noise.broken] = np.nan
    length = max(spell.hi - spell.lo, FEWEST_STEPS)
    inside = move[spell.lo + 1 : spell.hi]
    beside = np.concatenate(
        [move[max(spell.lo - 2 * length, 0) : spell.lo], move[spell.hi + 1 : spell.hi + 2 * length]]
    )
    inside, beside = inside[np.isfinite(inside)], beside[np.isfinite(beside)]
    if inside.size < FEWEST_STEPS or beside.size < FEWEST_STEPS:
        return Clue(odds=1.0)
    now, usual = median(inside), median(beside)
    own = OWN_STEPS / math.sqrt(
        max(float(np.median(survey.blocks.count)), 1.0)
    )  # of the noise: what it makes itself
    if now <= own * math.exp(spell.base + spell.rise) or usual <= own * math.exp(spell.base):
        return Clue(odds=1.0)
    share = math.log(now / usual) / spell.rise
    if share > ALONG:
        return Clue(odds=0.2, words="the slow wander of the reading changed with it, as the process makes it")
    if share < APART:  # turbulence and bubbles of the process are fast as well, calm is slow
        return Clue(
            odds=1.2 if spell.rise > 0 else 3.0, words="the slow wander of the reading stayed as it was"
        )
    return Clue(odds=1.0)


def end_clue(record: Record, start: int, end: int, *, growth: bool, open_end: bool) -> Clue:
    """Whether it lasts, ends with a calibration or cleaning, or ends by itself, as a loose plug may and a coating does not."""
    if open_end:
        return Clue(odds=2.0, words="goes on to the end of the record", inside=True)
    reset = next_reset(record, start)
    if reset is not None and abs(end - reset) <= max((end - start) // 10, 3_600 * NS_PER_S):
        return Clue(odds=5.0, words="ends with a calibration or cleaning")
    if growth:
        return Clue(odds=0.7)
    return Clue(odds=COMES_OFF, words="ended by itself, where a coating stays until somebody takes it off")


class OtherNoises:
    """Noise of the temperature and of each neighbour, worked out when the first stretch asks for it."""

    def __init__(self, record: Record, blocks: Blocks) -> None:
        self._record, self._blocks = record, blocks

    @cached_property
    def noises(self) -> dict[str, NoiseBlocks]:
        """Noise of the temperature and of the neighbours over the same blocks, by name; those with too few samples left out."""
        signals = {"the temperature": self._record.temperature, **self._record.neighbours}
        live = {name: live_samples(s, self._record.states) for name, s in signals.items() if s is not None}
        return {name: noise_blocks(one, self._blocks) for name, one in live.items() if len(one) >= 100}


def other_clue(own: NoiseBlocks, start: int, end: int, spell: NoiseSpell, name: str) -> tuple[Clue, ...]:
    """Whether another signal's noise changed the same way in the same stretch."""
    inside = (own.start >= start) & (own.start < end) & np.isfinite(own.sigma)
    before = (own.start < start) & (own.start >= start - 3 * (end - start)) & np.isfinite(own.sigma)
    if inside.sum() < 3 or before.sum() < 3:
        return ()
    now, then = median(own.sigma[inside]), median(own.sigma[before])
    if min(now, then) <= 0:
        return ()
    ratio = math.log(now / then) / spell.rise
    if ratio > 0.4:
        return (Clue(odds=0.15, words=f"the noise of {name} changed with it"),)
    return (Clue(odds=1.5, words=f"the noise of {name} did not change"),)
