"""Noise growth and noise collapse: the scatter of neighbouring samples changes, and stays changed.

Method: the logarithm of the noise of each stretch (from second differences, which steps and drift do not
touch), less its daily or weekly pattern, is searched for changes of level exactly as the reading itself is
(:mod:`excursions.detect.scan`), so that a noise that always wanders or comes in bursts sets its own bar.
What lies apart from the noise before by a factor that matters becomes one event.  Noise that follows the
level, the temperature's noise or a neighbour's is the process's.  Below about half a count of resolution
noise cannot be told, and is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.ndimage import median_filter

from excursions.clock import NS_PER_S
from excursions.detect.blocks import Blocks, NoiseBlocks, noise_blocks
from excursions.detect.calmed import calmed
from excursions.detect.gas import gas_clue
from excursions.detect.live import live_samples
from excursions.detect.origin import (
    Clue,
    elsewhere_clue,
    expected_faults,
    heat_clue,
    name_origin,
    next_reset,
    state_clue,
    times,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.pattern import without_round
from excursions.detect.scan import Change, Windows, changes_among, differences
from excursions.detect.shape import ramp, transition_of
from excursions.detect.spells import drawn_line
from excursions.detect.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import median, quantiles
from excursions.records import BoolArray, Event, FloatArray, IndexArray, Record
from excursions.states.trace import runs

FEWEST = 16  # noise figures: fewer tell no change from chance
LATTICE = 12**-0.5  # standard deviation of rounding to a count
UNSEEN = 0.4  # counts: noise below is not told from rounding
UNRECORDED = 0.6  # dead bands: noise below is hardly recorded, up to one is told only by what is above
FEWEST_SEEN = 3
ERROR = 0.15  # standard error of the logarithm of one noise figure (24 differences)
PIECEWISE = (
    0.02  # noise that is nearly nil in a fifth of the record, here and there, is drawn lines, not noise
)
AT_A_STRETCH = 0.5  # of the figures that are nearly nil: so many side by side are a reading that fell silent
SIDE_BY_SIDE = 9  # figures of which more than half are silent
UNEXPLAINED = 0.2  # unexplained changes of a process's noise to be expected in a record (cp)
BESIDE_ONSET = 2  # noise blocks: so near a collapse and a jump of the level are one thing that happened
GLASS_AROUND, GLASS_JUMP = 0.5, 0.15  # pH around 7 at which broken glass reads; a smaller jump is none (cp)
GLASS_BESIDE, GLASS_SELDOM = 12, 0.1  # noise figures before; share of the record at that level
FEWEST_STEPS = 6  # changes from one noise figure to the next that tell how a reading wanders
OWN_STEPS = 2.2  # twice the median difference of two interquartile means of white noise, times the root of the samples
ALONG, APART = 0.5, 0.25  # share of the change of noise that the wander shows
STEADY = 8.0  # a change this many usual ones large, of a noise that keeps steady


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSettings:
    """When a change of noise is an event, and whose."""

    growth: float = 1.4  # smaller factors matter to nobody (cp)
    collapse: float = 0.6  # to this share; less of a loss matters to nobody (cp)
    shortest_blocks: int = 3  # noise figures; fewer are chance
    shortest_s: float = 600.0  # shorter changes harm nobody (cp)
    failing: float = (
        3.0  # grown so much by the probe and going on: it fails, however small beside the tolerance (cp)
    )
    growths_per_year: float = 0.6  # how often a probe that somebody looks into grows noisy (cp)
    collapses_per_year: float = 0.3  # how often one is coated over (cp)
    gradual_blocks: int = 6  # a longer transition is gradual
    least_confidence: float = 0.1  # below, it is the process or chance as far as the record can tell


@dataclass(frozen=True, kw_only=True)
class NoiseSeries:
    """The noise series that is searched: known stretches only.

    start (k,) ns; block (k,) first block of each; raw, rest (k,) logarithm of the noise, and less its
    pattern; broken (k,); width: ns; unseen: noise below is not told from rounding or from silence.
    """

    start: IndexArray
    block: IndexArray
    raw: FloatArray
    rest: FloatArray
    broken: BoolArray
    width: int
    unseen: float

    @cached_property
    def differences(self) -> tuple[Windows, ...]:
        """Differences of the series at all widths, worked out at the first asking."""
        return differences(self.rest, self.broken)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSpell:
    """A stretch [lo, hi) of noise figures apart from the noise before, and the change it begins with."""

    lo: int
    hi: int
    base: float
    rise: float
    change: Change


def detect_noise(record: Record, settings: NoiseSettings | None = None) -> tuple[Event, ...]:
    """Find stretches with more or less noise than before.

    Returns
    -------
    tuple of Event
        Kinds ``noise_growth`` and ``noise_collapse``; size is the noise then over the noise before.
    """
    settings = settings or NoiseSettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    found = _by_samples(record, survey, settings)
    if any(event.kind == "noise_collapse" for event in found) or drawn_line(survey) > 0:
        return found
    return (*found, *calmed(record, survey, settings.collapses_per_year))


def _by_samples(record: Record, survey: Survey, settings: NoiseSettings) -> tuple[Event, ...]:
    """Stretches in which the scatter of neighbouring samples is another."""
    noise = noise_series(survey)
    if noise is None:
        return ()
    spells = noise_spells(noise, settings)
    if drawn_line(survey) > 0:  # calm between values far apart is the drawing's
        spells = [spell for spell in spells if spell.rise > 0]
    others = _Others(record, survey.blocks)
    events = [_event(record, survey, noise, spells, spell, settings, others) for spell in spells]
    return tuple(event for event in events if event is not None)


def noise_series(survey: Survey) -> NoiseSeries | None:
    """Logarithm of the noise of a record, worked out once for all who ask; None as in :func:`_noise_series`."""
    return survey.once("noise series", lambda: _noise_series(survey))


def _noise_series(survey: Survey) -> NoiseSeries | None:
    """Logarithm of the noise, rounding taken out; None where there is too little of it above rounding."""
    noises = survey.noises
    known = np.flatnonzero(np.isfinite(noises.sigma))
    if known.size < FEWEST or survey.noise <= 0:
        return None
    low, high = quantiles(noises.sigma[known], (0.2, 0.8))
    if low < PIECEWISE * high and not _once(noises.sigma[known] < PIECEWISE * high):
        return None
    rounding = (LATTICE * survey.quantum) ** 2
    unseen = max(UNSEEN * survey.quantum, UNRECORDED * survey.deadband, 1e-3 * survey.noise)
    clean = np.sqrt(np.maximum(noises.sigma[known] ** 2 - rounding, unseen**2))
    if np.count_nonzero(clean > unseen) < FEWEST_SEEN:
        return None
    raw = np.log(clean)
    start = noises.start[known]
    width = int(median(np.diff(start)))
    return NoiseSeries(
        start=start,
        block=noises.block[:-1][known],
        raw=raw,
        rest=without_round(start, raw, width=width),
        broken=np.diff(start, prepend=start[0]) > 1.5 * width,
        width=width,
        unseen=unseen,
    )


def _once(silent: BoolArray) -> bool:
    """Whether most silent figures lie side by side: lines are drawn here and there, a probe falls silent once.

    A stretch goes on through single figures that pass the bar: a last digit that flips makes some.
    """
    mostly = median_filter(silent.astype(np.int8), SIDE_BY_SIDE, mode="nearest") > 0
    longest = max((b - a for a, b in runs(mostly)), default=0)
    return bool(longest >= AT_A_STRETCH * np.count_nonzero(silent))


def noise_spells(noise: NoiseSeries, settings: NoiseSettings) -> list[NoiseSpell]:
    """Stretches above or below the noise before, from the pieces between changes."""
    every = changes_among(noise.differences, noise.broken, floor=ERROR / 4)
    cuts = [0, *(change.at for change in every), noise.rest.size]
    level = [median(noise.rest[a:b]) for a, b in pairwise(cuts)]
    base = median(noise.rest[: max(noise.rest.size // 3, cuts[1])])
    up, down = math.log(settings.growth), math.log(settings.collapse)
    found: list[NoiseSpell] = []
    piece = 1
    while piece < len(level):
        away = level[piece] - base
        side = 1 if away >= up else -1 if away <= down else 0
        stop = piece
        while side and stop < len(level) and side * (level[stop] - base) >= 0.7 * min(up, -down):
            stop += 1
        if side:
            lo, hi = cuts[piece], cuts[stop]
            rise = median(noise.rest[lo:hi]) - base
            found.append(NoiseSpell(lo=lo, hi=hi, base=base, rise=rise, change=every[piece - 1]))
        piece = max(stop, piece + 1)
    shortest = max(settings.shortest_blocks, math.ceil(settings.shortest_s * NS_PER_S / noise.width))
    return [spell for spell in found if spell.hi - spell.lo >= shortest]


def _event(
    record: Record,
    survey: Survey,
    noise: NoiseSeries,
    spells: list[NoiseSpell],
    spell: NoiseSpell,
    settings: NoiseSettings,
    others: _Others,
) -> Event | None:
    growth = spell.rise > 0
    begin, gradual = _begin(noise, spell, settings)
    onset, uncertainty = _onset(survey, noise, spell, begin, gradual=gradual)
    jump = None if growth else _jump_beside(survey, noise, int(noise.start[spell.lo]))
    if jump is not None:
        onset, uncertainty, gradual = jump, survey.interval_s, False
    start = int(survey.live.time[onset])
    open_end = spell.hi == noise.rest.size
    end = int(survey.live.time[-1]) if open_end else int(noise.start[spell.hi])
    alike = sum(
        other is not spell and other.rise * spell.rise > 0 and abs(other.rise) > 0.6 * abs(spell.rise)
        for other in spells
    )
    clues = _clues(
        record, survey, noise, spells, spell, start, end, others, gradual=gradual, open_end=open_end
    )
    prior = expected_faults(
        settings.growths_per_year if growth else settings.collapses_per_year, survey.years
    )
    probe = weigh(
        prior=prior,
        chance=spell.change.expected + alike + unexplained(UNEXPLAINED, survey.years),
        clues=clues,
    )
    if not growth:
        probe = witnessed(probe, clues)
    origin = name_origin(probe)
    confidence = (1 - probe) * prior / (prior + spell.change.expected) if origin == "process" else probe
    if math.exp(max(spell.base, spell.base + spell.rise)) < survey.deadband:
        return None
    if end <= start or confidence < settings.least_confidence or prior < spell.change.expected:
        return None
    ratio = math.exp(spell.rise)
    failing = open_end and origin == "probe" and ratio >= settings.failing
    half = 1.645 * spell.change.spread
    return Event(
        point=record.point.name,
        kind="noise_growth" if growth else "noise_collapse",
        start=start,
        end=end,
        size=ratio,
        size_low=ratio * math.exp(-half),
        size_high=ratio * math.exp(half),
        size_unit="",
        confidence=confidence,
        origin=origin,
        severity="check" if failing else _severity(record, survey, noise, spell),
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=uncertainty,
        open_end=open_end,
        evidence=(
            f"noise {written(math.exp(spell.base + spell.rise), 2)} {record.change_unit} against {written(math.exp(spell.base), 2)} {record.change_unit} before",
            f"{'by and by' if gradual else 'at once'}; {times(alike, 'other such stretch', 'other such stretches')} in the record",
            *words_of(clues),
        ),
        details={"noise_before": math.exp(spell.base), "noise": math.exp(spell.base + spell.rise)},
    )


def _severity(record: Record, survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> str:
    """Noise matters when its 95 % band passes the tolerance of the reading."""
    level = float(np.median(survey.blocks.level[noise.block[spell.lo] : noise.block[spell.hi - 1] + 1]))
    tolerance = record.point.tolerance_at(level)
    band = 2 * math.exp(spell.base + spell.rise)
    return "check" if tolerance <= 0 or spell.rise < 0 or band > tolerance else "note"


def _begin(noise: NoiseSeries, spell: NoiseSpell, settings: NoiseSettings) -> tuple[int, bool]:
    """First noise figure of the change, and whether it came by and by."""
    reach = spell.hi - spell.lo
    lo = max(spell.lo - max(reach, 8), 0)
    part = noise.rest[lo : spell.hi]
    begin, end = ramp(np.exp(part - spell.base) if spell.rise > 0 else part, spell.lo - lo)
    gradual = end - begin > settings.gradual_blocks
    return (lo + begin if gradual else spell.lo), gradual


def _onset(
    survey: Survey, noise: NoiseSeries, spell: NoiseSpell, begin: int, *, gradual: bool
) -> tuple[int, float]:
    """Sample at which the noise changes, and its uncertainty in seconds.

    At once: the split of the samples around it that two exponential laws of
    scatter, each with the mean seen further away, explain best.
    """
    blocks, live = survey.blocks, survey.live
    if gradual or spell.change.across:
        uncertainty = 0.1 * (spell.hi - begin) if gradual else 1.0
        return int(blocks.first[noise.block[begin]]), uncertainty * noise.width / NS_PER_S
    reach = min(max(spell.change.width // 2, 2), 8)
    lo = int(blocks.first[noise.block[max(begin - reach, 0)]])
    hi = int(blocks.first[noise.block[begin + reach]]) if begin + reach < noise.block.size else len(live)
    far = min(int(blocks.first[noise.block[min(spell.hi, noise.block.size) - 1] + 1]), hi + 4 * (hi - lo))
    before, after = _scatter(live.value[max(lo - 4 * (hi - lo), 0) : lo]), _scatter(live.value[hi:far])
    part = live.value[lo:hi]
    if part.size < 6 or not (before > 0 and after > 0 and (after > before) == (spell.rise > 0)):
        return int(blocks.first[noise.block[begin]]), noise.width / NS_PER_S
    bend = np.abs(part[2:] - 2 * part[1:-1] + part[:-2])
    size = np.minimum(bend, 6 * max(before, after))
    gain = np.cumsum(size * (1 / before - 1 / after) - math.log(after / before))
    back = gain[-1] - np.concatenate([[0.0], gain[:-1]])
    at = lo + int(np.argmax(back)) + 2
    return at, survey.interval_s * max(2.0, 4.0 / spell.rise**2)


def _jump_beside(survey: Survey, noise: NoiseSeries, start: int) -> int | None:
    """Sample at which the level changed where the noise collapsed, as glass breaks; None without one quick change so near.

    Noise is known by its blocks, a change of level by its samples.
    """
    near = BESIDE_ONSET * noise.width
    beside = [one for one in survey.changes if abs(int(survey.blocks.start[one.at]) - start) <= near]
    if len(beside) != 1:
        return None
    shape = transition_of(survey, beside[0])
    return shape.first if shape.length_s * NS_PER_S <= near and not shape.hidden else None


def _scatter(value: FloatArray) -> float:
    """Mean size of second differences, NaN with too few samples."""
    return float(np.mean(np.abs(value[2:] - 2 * value[1:-1] + value[:-2]))) if value.size > 12 else math.nan


def _clues(
    record: Record,
    survey: Survey,
    noise: NoiseSeries,
    spells: list[NoiseSpell],
    spell: NoiseSpell,
    start: int,
    end: int,
    others: _Others,
    *,
    gradual: bool,
    open_end: bool,
) -> tuple[Clue, ...]:
    clues = [
        heat_clue(record, start),
        state_clue(record, start),
        *(_gas_clue(record, survey, noise, spell) or _usual_clues(record, survey, noise, spells, spell)),
        elsewhere_clue(survey, start, end),
        _end_clue(record, start, end, open_end=open_end),
    ]
    if abs(spell.rise) > STEADY * spell.change.spread:
        clues.append(Clue(odds=2.0, words="the noise keeps steady otherwise", inside=True))
    if gradual and spell.rise > 0:
        clues.append(Clue(odds=1.5, words="grew by and by", inside=True))
    for name, own in others.noises.items():
        clues.extend(_other_clue(own, start, end, spell, name))
    return tuple(clues)


def _level_clue(survey: Survey, noise: NoiseSeries, spells: list[NoiseSpell], spell: NoiseSpell) -> Clue:
    """Whether the record shows the same noise at the same level at other times, those left out that are in question as well."""
    level = survey.blocks.level[noise.block]
    inside, alike = np.zeros(level.size, dtype=np.bool_), np.zeros(level.size, dtype=np.bool_)
    inside[spell.lo : spell.hi] = True
    for other in spells:
        alike[other.lo : other.hi] |= other.rise * spell.rise > 0
    low, high = quantiles(level[inside], (0.25, 0.75))
    near = max(high - low, survey.wander / 4)
    same = ~alike & (level >= low - near / 2) & (level <= high + near / 2)
    if np.count_nonzero(same) < 8:
        return Clue(odds=0.6, words="the reading was hardly ever at that level at other times")
    if (median(noise.rest[same]) - spell.base) / spell.rise > 0.5:
        return Clue(odds=0.1, words="the record shows the same noise at that level at other times")
    return Clue(odds=2.0, words="at other times the same level came with the usual noise", inside=True)


def _glass_clue(record: Record, survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> Clue | None:
    """Broken glass of a pH electrode: it jumps to about 7, where both poles see the same, and hardly follows any more."""
    broken = record.point.quantity.glass_reads
    if math.isnan(broken) or spell.rise > 0:
        return None
    level = survey.blocks.level[noise.block]
    now = float(np.median(level[spell.lo : spell.hi]))
    before = level[max(spell.lo - GLASS_BESIDE, 0) : spell.lo]
    jumped = before.size > 0 and abs(float(np.median(before[-GLASS_BESIDE:])) - now) > max(
        6 * survey.noise, GLASS_JUMP
    )
    others = np.delete(level, np.s_[spell.lo : spell.hi])
    seldom = float(np.mean(np.abs(others - now) < GLASS_JUMP)) < GLASS_SELDOM
    if abs(now - broken) > GLASS_AROUND or not jumped or not seldom:
        return None
    after = level[spell.hi + 1 : spell.hi + 1 + GLASS_BESIDE]
    ended = int(noise.start[min(spell.hi + 1, noise.start.size - 1)])
    reset = next_reset(record, int(noise.start[spell.lo]))
    if after.size and abs(float(np.median(after)) - now) > GLASS_JUMP and (reset is None or reset > ended):
        return None  # it follows again without anybody at the probe: glass does not heal
    return Clue(
        odds=4.0,
        words=f"jumped to pH {now:.1f}, where it hardly ever is, and follows little: as broken glass does",
    )


def _usual_clues(
    record: Record, survey: Survey, noise: NoiseSeries, spells: list[NoiseSpell], spell: NoiseSpell
) -> tuple[Clue, ...]:
    """What level and wander say of it."""
    wander = _glass_clue(record, survey, noise, spell) or _wander_clue(survey, noise, spell)
    return (_level_clue(survey, noise, spells, spell), wander)


def _gas_clue(record: Record, survey: Survey, noise: NoiseSeries, spell: NoiseSpell) -> tuple[Clue, ...]:
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


def _end_clue(record: Record, start: int, end: int, *, open_end: bool) -> Clue:
    """Whether it lasts, ends with a calibration or cleaning, or ends by itself."""
    if open_end:
        return Clue(odds=2.0, words="goes on to the end of the record", inside=True)
    reset = next_reset(record, start)
    if reset is not None and abs(end - reset) <= max((end - start) // 10, 3_600 * NS_PER_S):
        return Clue(odds=5.0, words="ends with a calibration or cleaning")
    return Clue(odds=0.7)


class _Others:
    """Noise of the temperature and of each neighbour, worked out when the first stretch asks for it."""

    def __init__(self, record: Record, blocks: Blocks) -> None:
        self._record, self._blocks = record, blocks

    @cached_property
    def noises(self) -> dict[str, NoiseBlocks]:
        signals = {"the temperature": self._record.temperature, **self._record.neighbours}
        live = {name: live_samples(s, self._record.states) for name, s in signals.items() if s is not None}
        return {name: noise_blocks(one, self._blocks) for name, one in live.items() if len(one) >= 100}


def _other_clue(own: NoiseBlocks, start: int, end: int, spell: NoiseSpell, name: str) -> tuple[Clue, ...]:
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
