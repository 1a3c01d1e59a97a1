"""Noise growth and noise collapse: the scatter of neighbouring samples changes, and stays changed.

Method: the logarithm of the noise of each stretch (from second differences, which steps and drift do not
touch), less its daily or weekly pattern, is searched for changes of level exactly as the reading itself is
(:mod:`excursions.detect.series.scan`), so that a noise that always wanders or comes in bursts sets its own bar.
What lies apart from the noise before by a factor that matters becomes one event.  Noise that follows the
level, the temperature's noise or a neighbour's is the process's.  Below about half a count of resolution
noise cannot be told, and is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.evidence.origin import (
    Clue,
    elsewhere_clue,
    expected_faults,
    heat_clue,
    name_origin,
    state_clue,
    times,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.noise.calmed import calmed
from excursions.detect.noise.over_time import NoiseSeries, NoiseSpell, noise_series
from excursions.detect.noise.whose import (
    BESIDE_ONSET,
    OtherNoises,
    end_clue,
    gas_in_cell,
    other_clue,
    usual_clues,
)
from excursions.detect.series.scan import changes_among
from excursions.detect.series.shape import ramp, transition_of
from excursions.detect.series.spells import drawn_line
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import median
from excursions.records import Event, FloatArray, Record

ERROR = 0.15  # standard error of the logarithm of one noise figure (24 differences)
UNEXPLAINED = 0.2  # unexplained changes of a process's noise to be expected in a record (cp)
STEADY = 8.0  # a change this many usual ones large, of a noise that keeps steady


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSettings:
    """When a change of noise is an event, and whose."""

    growth: float = 1.4  # smaller factors matter to nobody (cp)
    collapse: float = 0.6  # to this share; less of a loss matters to nobody (cp)
    shortest_blocks: int = 3  # noise figures; fewer are chance
    shortest_s: float = 600.0  # shorter changes harm nobody (cp)
    failing: float = 3.0  # grown so much by the probe: it fails, however small beside the tolerance (cp)
    failing_s: float = (
        86_400.0  # where it is over: shorter ones are a bout, and nothing is left to look at (cp)
    )
    growths_per_year: float = 0.6  # how often a probe that somebody looks into grows noisy (cp)
    collapses_per_year: float = 0.3  # how often one is coated over (cp)
    gradual_blocks: int = 6  # a longer transition is gradual
    least_confidence: float = 0.1  # below, it is the process or chance as far as the record can tell


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
    others = OtherNoises(record, survey.blocks)
    events = [_event(record, survey, noise, spells, spell, settings, others) for spell in spells]
    return tuple(event for event in events if event is not None)


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
    others: OtherNoises,
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
    lasting = open_end or end - start >= settings.failing_s * NS_PER_S
    failing = lasting and origin == "probe" and ratio >= settings.failing
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
        probe=record.probe_at(start),
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
    others: OtherNoises,
    *,
    gradual: bool,
    open_end: bool,
) -> tuple[Clue, ...]:
    clues = [
        heat_clue(record, start),
        state_clue(record, start),
        *(gas_in_cell(record, survey, noise, spell) or usual_clues(record, survey, noise, spells, spell)),
        elsewhere_clue(survey, start, end),
        end_clue(record, start, end, growth=spell.rise > 0, open_end=open_end),
    ]
    if abs(spell.rise) > STEADY * spell.change.spread:
        clues.append(Clue(odds=2.0, words="the noise keeps steady otherwise", inside=True))
    if gradual and spell.rise > 0:
        clues.append(Clue(odds=1.5, words="grew by and by", inside=True))
    for name, own in others.noises.items():
        clues.extend(other_clue(own, start, end, spell, name))
    return tuple(clues)
