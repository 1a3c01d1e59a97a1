"""Stuck: the reading stays still for longer than this live signal ever would.

Method: the record is cut into spells without a change of value, and into spells that stay within one or two
counts.  Their lengths are taken on the signal's own clock (how much it usually changes at that hour of the
day or week), so that a quiet night or weekend that comes back is short on that clock.  A spell is stuck when
the tail of the other spells makes one so long improbable (:mod:`excursions.detect.series.tails`), when the ranges of
all other stretches of its length make one so still improbable (:mod:`excursions.detect.series.stillness`), and when
nothing shows that standing still is a habit of the process: the same level held again and again, a process at
rest at zero.  What is told is the larger of the two chance numbers.  Silence that the recording rule allows
never counts: only samples that repeat do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    expected_faults,
    frozen_share,
    name_origin,
    weigh,
    words_of,
)
from excursions.detect.series.spells import INTERRUPTED, SLOWEST_CLOCK, Spells, grown
from excursions.detect.series.stillness import Stillness, least_width, stillness
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.series.tails import expected_as_large, outlying, size_of
from excursions.detect.still.held import held_clues, may_be_held
from excursions.detect.still.standing import Standing
from excursions.detect.still.standstill import (
    SAME_LEVEL,
    empty_clue,
    followed_meanwhile,
    glass_clue,
    habit,
    kind_of,
    temperature_clue,
    unseen_start,
)
from excursions.digits import chance_text, written
from excursions.ranks import quantile
from excursions.records import BoolArray, Event, IndexArray, Record

LONGER = 1.3  # a nearly still spell takes the place of the exactly still ones in it when so much longer
NEAR_BINS = 4  # shorter near-still spells are left to chance
MOSTLY = 0.5  # a signal that stands still for more than half of its record has nothing to be compared with


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckSettings:
    """When a still reading is called stuck."""

    shortest_s: float = 300.0  # shorter silences harm nobody and are not reported (cp)
    fewest_samples: int = 8  # fewer equal samples happen by chance in any rounded signal
    fewest_recorded: int = 2  # where the recorder leaves out what does not change, two equal ones are many
    faults_per_year: float = (
        1.0  # how often a probe that somebody looks into sticks (cp); weighs against chance
    )
    surprises_per_year: float = 0.02  # quiet of the process that no tail foretells (cp)
    unseen_habit: float = 0.02  # probability that the process rests that long but did not in this record (cp)
    holds_per_year: float = (
        0.5  # holds that nobody flagged and no state explains: half as often as faults (cp)
    )
    habit_s: float = 4 * 3600.0  # a rest of the process takes hours (cp)
    flicker_counts: float = 2.0  # a converter's last digit moves by one count or two
    flicker_noise: float = 0.1  # of the usual noise, for values without a lattice
    suspicion: float = 0.05  # chance number below which a spell is looked at
    least_confidence: float = 0.3  # below, it is more likely the process at rest, or a hold


def detect_stuck(record: Record, settings: StuckSettings | None = None) -> tuple[Event, ...]:
    """Find stretches where the reading is stuck or pinned.

    Parameters
    ----------
    record : Record
    settings : StuckSettings, optional

    Returns
    -------
    tuple of Event
        Kinds ``stuck`` and ``pinned``; size is the level held.
    """
    settings = settings or StuckSettings()
    standing = _standing(record, settings)
    if standing is None:
        return ()
    sampling = standing.sampling
    held = sampling.kind == "exception" and not math.isfinite(sampling.heartbeat_s)
    still = standing.still(held_between=held)
    still = still.take(np.flatnonzero(still.held_s > 0)) if held else still
    found = _judge(standing, still, settings, exact=True)
    band = standing.band(settings.flicker_counts, settings.flicker_noise)
    for event in _judge(standing, standing.nearly_still(band), settings, exact=False):
        inner = [other for other in found if event.start < other.end and other.start < event.end]
        if event.end - event.start > LONGER * sum(other.end - other.start for other in inner):
            found = [other for other in found if other not in inner]
            found.append(replace(event, parts=tuple(other.id for other in inner)))
    return _joined(sorted(found, key=lambda event: event.start), standing.survey, band)


def _standing(record: Record, settings: StuckSettings) -> Standing | None:
    """How the record stands still; None where it is too short, or holds no reading."""
    survey = survey_of(record)
    if survey is None or record.value is None or len(survey.live) < 2 * settings.fewest_samples:
        return None
    return Standing(record, survey, record.value.sampling)


def _joined(found: list[Event], survey: Survey, band: float) -> tuple[Event, ...]:
    """Stretches at the same level with next to nothing between them are one."""
    out: list[Event] = []
    for event in found:
        last = out[-1] if out else None
        if last is None or event.kind != last.kind or abs(event.size - last.size) > 2 * band:
            out.append(event)
            continue
        lengths = (event.end - event.start) + (last.end - last.start)
        if event.start - last.end > max(2 * survey.blocks.width, INTERRUPTED * lengths):
            out.append(event)
            continue
        best = max(last, event, key=lambda one: one.confidence)
        out[-1] = replace(
            best,
            start=last.start,
            end=max(last.end, event.end),
            open_start=last.open_start,
            open_end=event.open_end,
            onset_uncertainty_s=last.onset_uncertainty_s,
            parts=tuple(sorted({*last.parts, *event.parts})),
        )
    return tuple(out)


def shortest_stuck(record: Record, settings: StuckSettings) -> tuple[float, float]:
    """Shortest standstill, and shortest flicker of the last digit, found at any hour [s]; NaN where none would be."""
    standing = _standing(record, settings)
    if standing is None:
        return math.nan, math.nan
    slowest = 1.0 if standing.speed is None else max(quantile(standing.speed, 0.1), SLOWEST_CLOCK)
    shown = max(
        2 * settings.shortest_s,
        standing.unseen_s(),
        1.5 * settings.fewest_samples * standing.survey.interval_s,
    )
    band = standing.band(settings.flicker_counts, settings.flicker_noise)
    still = standing.still()
    found = []
    for spells, moves, others in (
        (still, 0.0, np.empty(0)),
        (standing.nearly_still(band), band, standing.lengths(still)),
    ):
        bulk = np.sort(np.concatenate([standing.lengths(spells), others]))
        bulk = bulk[: bulk.size - np.count_nonzero(outlying(bulk, at_most=settings.suspicion))]
        high = size_of(bulk, settings.suspicion / 10) if bulk.size > 1 else math.inf
        if high > float(standing.covered[-1]):
            found.append(math.nan)
            continue
        high = max(high, float(bulk[-2]) / SAME_LEVEL, shown)
        found.append(max(high / slowest, _stillest(standing, moves, settings)))
    return found[0], max(found)


def _stillest(standing: Standing, moves: float, settings: StuckSettings) -> float:
    """Time [s] over which a reading that moves by `moves` is stiller than this record ever is, NaN where there is none."""
    bins, survey = standing.bins, standing.survey
    width = least_width(bins, moves, step=standing.step, at_most=settings.suspicion / 10)
    if width is None:
        return math.nan
    of_blocks = bins.first is survey.blocks.first
    bin_s = survey.blocks.width_s if of_blocks else float(bins.first[1]) * survey.interval_s
    return (max(width, NEAR_BINS if moves else 1) + 2) * bin_s  # the bins at either end are hit in part


def _beside_others(
    standing: Standing, spells: Spells, i: int, settings: StuckSettings, suspect: Sequence[tuple[int, int]]
) -> Stillness | None:
    """How still a spell is beside other stretches; None where it has too few samples to compare."""
    bins = standing.bins
    first, last = int(spells.first[i]), int(spells.last[i])
    lo, past = bins.within(first, last)
    if past <= lo:
        return None
    # A recorder on exception repeats what has not changed: so many repetitions show every digit.
    full = last - first + 1 >= max(settings.fewest_samples, (past - lo) // 2)
    step = standing.step
    seen = standing.count if full else step
    return stillness(bins, lo, past, step=step, at_most=settings.suspicion, seen=seen, suspect=suspect)


def _judge(standing: Standing, spells: Spells, settings: StuckSettings, *, exact: bool) -> list[Event]:
    """Events from those spells that are too long, and too still, for this signal."""
    if not len(spells):
        return []
    record, survey = standing.record, standing.survey
    every = standing.lengths(spells)
    if not exact:  # what stands still is nearly still too
        every = np.concatenate([every, standing.lengths(standing.still())])
    suspect = outlying(every, at_most=settings.suspicion)
    bulk, bins = every[~suspect], standing.bins
    odd = suspect[: len(spells)]
    under = [bins.within(int(spells.first[i]), int(spells.last[i])) for i in np.flatnonzero(odd)]
    chosen = _worth_a_look(standing, spells, odd, settings, exact=exact)
    kept = spells.take(chosen if exact else np.empty(0, np.int64))
    found = []
    for i in chosen:
        beside = _beside_others(standing, spells, int(i), settings, under)
        if not exact and (beside is None or not beside.expected <= settings.suspicion):
            continue
        chance = expected_as_large(bulk, float(every[i]))
        if beside is not None and math.isfinite(beside.expected):
            chance = max(chance, beside.expected)
        one = spells.take(np.array([i]))
        if not exact:
            one = grown(one, survey.live, standing.covered)
        if _followed(record, survey, one):
            continue
        resting = habit(survey, spells, int(i))
        event = _event(record, survey, one, resting, chance, beside, settings, others=kept)
        if event.confidence >= settings.least_confidence:
            found.append(event)
    return found


def _worth_a_look(
    standing: Standing, spells: Spells, odd: BoolArray, settings: StuckSettings, *, exact: bool
) -> IndexArray:
    """Those of the odd spells that have samples enough and last long enough to harm anybody."""
    fewest = settings.fewest_recorded if standing.thinned else settings.fewest_samples
    chosen = odd & (spells.last - spells.first + 1 >= fewest)
    if chosen.any():
        chosen &= spells.held_s >= standing.shortest(settings.shortest_s)
    if not exact:
        first = standing.bins.first
        chosen &= np.searchsorted(first, spells.last) - np.searchsorted(first, spells.first) >= NEAR_BINS
    return np.flatnonzero(chosen)


def _followed(record: Record, survey: Survey, spell: Spells) -> bool:
    """Whether the reading moved in a state that lies within a spell."""
    first, last = int(spell.first[0]), int(spell.last[0])
    held = survey.live.value[first : last + 1]
    start, end = int(survey.live.time[first]), int(survey.live.time[last])
    return followed_meanwhile(record, start, end, float(held.min()), float(held.max()))


def _event(
    record: Record,
    survey: Survey,
    spell: Spells,
    resting: tuple[Clue, ...],
    chance: float,
    beside: Stillness | None,
    settings: StuckSettings,
    *,
    others: Spells,
) -> Event:
    """The event of a single spell."""
    live, first, last, held_s = survey.live, int(spell.first[0]), int(spell.last[0]), float(spell.held_s[0])
    surprises = settings.surprises_per_year * survey.years  # what no tail foretells
    surprises += settings.unseen_habit * min(held_s / settings.habit_s, 1.0)
    start, end = survey.span_of(first, last)
    kind = kind_of(record, survey, spell)
    held = held_clues(record, live, others, (start, end))
    empty = empty_clue(record, spell) if kind == "pinned" else ()
    usual = (
        *(empty if kind == "pinned" else resting),
        temperature_clue(record, start, end),
        *glass_clue(record, survey, spell),
        *unseen_start(first),
    )
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years), chance=chance + surprises, clues=usual
    )
    if held or (kind == "stuck" and may_be_held(record, live, others, (first, last))):
        rate = settings.holds_per_year / settings.faults_per_year
        probe /= 1.0 + probe * rate / math.prod(clue.odds for clue in held)
    both = frozen_share(record.temperature, start, end) > 0.98
    if held_s > MOSTLY * survey.blocks.width_s * len(survey.blocks):
        probe, both = min(probe, 0.5), True
    moved = float(np.ptp(live.value[first : last + 1]))
    change = f"stays within {written(moved, 2)} {record.change_unit}".rstrip() if moved else "no change"
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=end,
        size=float(spell.level[0]),
        size_unit=record.unit,
        confidence=probe,
        origin="undecided" if both else _whose(probe, held),
        severity="check" if empty else "act",
        probe=record.probe_at(start),
        open_start=first == 0,
        open_end=last == len(live) - 1,
        onset_uncertainty_s=float(start - int(live.time[max(first - 1, 0)])) / NS_PER_S,
        evidence=(
            f"{change} for {duration_text(held_s)} over {last - first + 1} samples",
            f"by the rest of this record {chance_text(chance)} such stretches are due by chance",
            *_others_words(beside, record.change_unit),
            *words_of((*held, *usual)),
        ),
        details={"samples": float(last - first + 1), "held_s": held_s},
    )


def _others_words(beside: Stillness | None, unit: str) -> tuple[str, ...]:
    """What the other stretches did."""
    if beside is None or not math.isfinite(beside.expected):
        return ()
    return (
        f"the stillest of {beside.others} other stretches of that length moved by {written(beside.least, 2)} {unit}".rstrip(),
    )


def _whose(probe: float, held: tuple[Clue, ...]) -> str:
    """Origin by probability; what a hold explains is a routine, not the process."""
    origin = name_origin(probe)
    return "routine" if origin == "process" and held else origin
