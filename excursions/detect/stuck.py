"""Stuck: the reading stays still for longer than this live signal ever would.

Method: the record is cut into spells without a change of value, and into spells that stay within one or two
counts.  Their lengths are taken on the signal's own clock (how much it usually changes at that hour of the
day or week), so that a quiet night or weekend that comes back is short on that clock.  A spell is stuck
when the tail of the other spells makes one so long improbable (:mod:`excursions.detect.tails`) and nothing
shows that standing still is a habit of the process: the same level held again and again, a process at
rest at zero.  Silence that the recording rule allows never counts: only samples that repeat do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.held import held_clues
from excursions.detect.origin import Clue, expected_faults, frozen_share, name_origin, weigh, words_of
from excursions.detect.spells import (
    SLOWEST_CLOCK,
    Spells,
    covered_s,
    drawn_line,
    grown,
    nearly_still,
    on_clock,
    own_clock,
    unchanged,
)
from excursions.detect.survey import Survey, survey_of
from excursions.detect.tails import expected_as_large, outlying, size_of
from excursions.digits import chance_text, written
from excursions.records import Event, FloatArray, Record

SINGLES = 50  # where a signal hardly ever repeats, this many single samples make up the bulk
SAME_LEVEL = 0.3  # another spell counts as the same habit from this share of the length on
REST = 0.1  # shorter ones than this share are no rest of the process
ASIDE = 1e-6
LOOP = (3.8, 20.5)  # mA, measuring range of a current loop (NAMUR NE 43)
HEARTBEATS = 3.5  # a recorder that repeats itself says nothing before its fourth repetition
INTERRUPTED = 0.1  # share of their lengths that may lie between two stretches of one standstill
LONGER = 1.3  # a nearly still spell takes the place of the exactly still ones in it when so much longer
RANGE_END = 1e-4  # of the range: a level this near its end is at the end
EDGE = 0.05  # share of the record beyond a level that makes it an end of the span
NEAR_BLOCKS = 4  # shorter near-still spells are left to chance
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
    survey = survey_of(record)
    if survey is None or record.value is None or len(survey.live) < 2 * settings.fewest_samples:
        return ()
    covered, speed = _clocks(record, survey)
    sampling = record.value.sampling
    held = sampling.kind == "exception" and not math.isfinite(sampling.heartbeat_s)
    still = _still(survey, covered, held=held)
    still = still.take(np.flatnonzero(still.held_s > 0)) if held else still
    found = _judge(record, survey, still, speed, settings, exact=True)
    band = max(settings.flicker_counts * sampling.resolution, settings.flicker_noise * survey.sigma)
    near = grown(nearly_still(survey.blocks, covered, band=band), survey.live, covered)
    for event in _judge(record, survey, near, speed, settings, exact=False):
        inner = [other for other in found if event.start < other.end and other.start < event.end]
        if event.end - event.start > LONGER * sum(other.end - other.start for other in inner):
            found = [other for other in found if other not in inner]
            found.append(replace(event, parts=tuple(other.id for other in inner)))
    return _joined(sorted(found, key=lambda event: event.start), survey, band)


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


def _clocks(record: Record, survey: Survey) -> tuple[FloatArray, FloatArray | None]:
    """Seconds of record up to each sample, and the speed of the signal's own clock; worked out once."""
    covered = survey.once("covered", lambda: covered_s(survey.live, thinned=_thinned(record)))
    return covered, survey.once("own clock", lambda: own_clock(survey.blocks))


def _still(survey: Survey, covered: FloatArray, *, held: bool) -> Spells:
    """Runs of one value, worked out once."""
    name = "still, held between" if held else "still"
    return survey.once(name, lambda: unchanged(survey.live, covered, held_between=held))


def shortest_stuck(record: Record, settings: StuckSettings) -> float:
    """Shortest standstill [s] that would be found at any hour, NaN where none would."""
    survey = survey_of(record)
    if survey is None or record.value is None or len(survey.live) < 2 * settings.fewest_samples:
        return math.nan
    covered, speed = _clocks(record, survey)
    spells = _still(survey, covered, held=False)
    size = spells.held_s if speed is None else on_clock(spells, survey.blocks, survey.live, speed)
    lone = max(0, min(SINGLES, len(survey.live)) - len(spells))
    bulk = np.sort(np.concatenate([size, np.zeros(lone)]) + survey.interval_s)
    bulk = bulk[: bulk.size - np.count_nonzero(outlying(bulk, at_most=settings.suspicion))]
    if bulk.size < 2:
        return math.nan
    high = size_of(bulk, settings.suspicion / 10)
    if high > float(covered[-1]):
        return math.nan
    high = max(
        high,
        float(bulk[-2]) / SAME_LEVEL,
        1.5 * settings.fewest_samples * survey.interval_s,
        2 * settings.shortest_s,
    )
    if _thinned(record):
        beat = record.value.sampling.heartbeat_s
        beat = beat if math.isfinite(beat) else record.value.sampling.longest_silence_s
        high = max(high, (HEARTBEATS + 2) * beat)
    else:
        high = max(high, HEARTBEATS * drawn_line(survey))
    slowest = 1.0 if speed is None else float(np.quantile(speed, 0.1))
    return high / max(slowest, SLOWEST_CLOCK)


def shortest_flicker(survey: Survey, settings: StuckSettings) -> float:
    """Shortest stretch [s] of a last digit that flickers, or a level that creeps, that would be found."""
    return (NEAR_BLOCKS + 2) * survey.blocks.width_s + 2 * settings.shortest_s


def _judge(
    record: Record,
    survey: Survey,
    spells: Spells,
    speed: FloatArray | None,
    settings: StuckSettings,
    *,
    exact: bool,
) -> list[Event]:
    """Events from those spells that are too long for this signal."""
    if not len(spells):
        return []
    size = spells.held_s if speed is None else on_clock(spells, survey.blocks, survey.live, speed)
    lone = max(0, min(SINGLES, len(survey.live)) - len(spells))
    every = np.concatenate([size, np.zeros(lone)]) + survey.interval_s
    suspect = outlying(every, at_most=settings.suspicion)
    bulk = every[~suspect]
    fewest = settings.fewest_recorded if _thinned(record) else settings.fewest_samples
    shortest = settings.shortest_s if exact else max(NEAR_BLOCKS * survey.blocks.width_s, settings.shortest_s)
    if record.value is not None and math.isfinite(record.value.sampling.heartbeat_s) and _thinned(record):
        shortest = max(shortest, HEARTBEATS * record.value.sampling.heartbeat_s)
    long = spells.held_s >= shortest
    many = spells.last - spells.first + 1 >= fewest
    chosen = suspect[: len(spells)] & long & many
    if chosen.any() and not _thinned(record):
        chosen &= spells.held_s > HEARTBEATS * drawn_line(survey)
    found = []
    kept = spells.take(np.flatnonzero(chosen)) if exact else spells.take(np.empty(0, np.int64))
    for i in np.flatnonzero(chosen):
        chance = expected_as_large(bulk, float(every[i])) + settings.surprises_per_year * survey.years
        chance += settings.unseen_habit * min(float(spells.held_s[i]) / settings.habit_s, 1.0)
        event = _event(record, survey, spells, int(i), chance, settings, exact=exact, others=kept)
        if event.confidence >= settings.least_confidence:
            found.append(event)
    return found


def _thinned(record: Record) -> bool:
    return record.value is not None and record.value.sampling.kind in ("exception", "swinging")


def _event(
    record: Record,
    survey: Survey,
    spells: Spells,
    i: int,
    chance: float,
    settings: StuckSettings,
    *,
    exact: bool,
    others: Spells,
) -> Event:
    live, first, last = survey.live, int(spells.first[i]), int(spells.last[i])
    start, end = int(live.time[first]), int(live.time[last]) + round(survey.interval_s * NS_PER_S)
    kind = _kind(record, survey, spells, i)
    habit = () if kind == "pinned" else _habit(survey, spells, i)
    held = held_clues(record, live, others, (start, end))
    clues = (
        *habit,
        *held,
        _temperature(record, start, end),
        *_glass(record, survey, spells, i),
        *_unseen_start(first),
    )
    probe = weigh(prior=expected_faults(settings.faults_per_year, survey.years), chance=chance, clues=clues)
    both = frozen_share(record.temperature, start, end) > 0.98
    if spells.held_s[i] > MOSTLY * survey.blocks.width_s * len(survey.blocks):
        probe, both = min(probe, 0.5), True
    change = (
        "no change" if exact else f"stays within {written(float(np.ptp(live.value[first : last + 1])), 2)}"
    )
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=end,
        size=float(spells.level[i]),
        size_unit=record.value.unit if record.value else "",
        confidence=probe,
        origin="undecided" if both else _whose(probe, held),
        severity="act",
        probe=record.plant.probe_at(record.point.name, start) or "",
        open_start=first == 0,
        open_end=last == len(live) - 1,
        onset_uncertainty_s=float(start - int(live.time[max(first - 1, 0)])) / NS_PER_S,
        evidence=(
            f"{change} for {duration_text(spells.held_s[i])} over {last - first + 1} samples",
            f"by the rest of this record {chance_text(chance)} such stretches are due by chance",
            *words_of(clues),
        ),
        details={"samples": float(last - first + 1), "held_s": float(spells.held_s[i])},
    )


def _whose(probe: float, held: tuple[Clue, ...]) -> str:
    """Origin by probability; what a hold explains is a routine, not the process."""
    origin = name_origin(probe)
    return "routine" if origin == "process" and held else origin


def _kind(record: Record, survey: Survey, spells: Spells, i: int) -> str:
    """``pinned`` at an end of the range, else ``stuck``."""
    level = float(spells.level[i])
    scale = max(survey.noise, survey.quantum)
    if record.value is not None and record.value.unit == "mA":
        return "stuck" if LOOP[0] < level < LOOP[1] else "pinned"
    if record.point.range is not None:
        low, high = record.point.range
        near = max(scale, RANGE_END * (high - low))
        return "pinned" if level >= high - near or level <= low + near else "stuck"
    others = np.delete(survey.blocks.level, _block_range(survey, spells, i))
    if not others.size:
        return "stuck"
    low, high = np.quantile(others, [0.003, 0.997])
    return "pinned" if level > high + 3 * scale or level < low - 3 * scale else "stuck"


def _block_range(survey: Survey, spells: Spells, i: int) -> slice:
    lo = survey.blocks.at(int(survey.live.time[spells.first[i]]))
    return slice(lo, survey.blocks.at(int(survey.live.time[spells.last[i]])) + 1)


def _habit(survey: Survey, spells: Spells, i: int) -> tuple[Clue, ...]:
    """Whether standing still at this level, or at rest at zero, is what the process does."""
    level = float(spells.level[i])
    near = max(2 * survey.quantum, survey.sigma) + ASIDE * abs(level)
    same = np.abs(spells.level - level) <= near
    same[i] = False
    long = int(np.count_nonzero(same & (spells.held_s >= SAME_LEVEL * spells.held_s[i])))
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


def _unseen_start(first: int) -> tuple[Clue, ...]:
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


def _temperature(record: Record, start: int, end: int) -> Clue:
    """A temperature that goes on moving shows that the interface is alive."""
    share = frozen_share(record.temperature, start, end)
    if not math.isfinite(share):
        return Clue(odds=1.0)
    if share > 0.98:
        return Clue(
            odds=1.0, words="the temperature is frozen too: the interface or the export, not this probe"
        )
    return Clue(odds=3.0, words="the temperature goes on moving meanwhile")


def _glass(record: Record, survey: Survey, spells: Spells, i: int) -> tuple[Clue, ...]:
    """A pH electrode with broken glass reads near its zero point whatever the process does."""
    level = float(spells.level[i])
    if not abs(level - record.point.quantity.glass_reads) <= 0.5:
        return ()
    first = int(spells.first[i])
    before = survey.live.value[max(first - 60, 0) : first]
    if before.size < 3 or abs(float(np.median(before)) - level) < 6 * max(survey.noise, survey.quantum):
        return ()
    return (Clue(odds=3.0, words="went to pH 7 and stays there, as with broken glass or a wet plug"),)
