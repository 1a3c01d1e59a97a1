"""A block of values that comes twice: an interface or an archive that plays back what it had before.

Method: windows of 24 samples that begin at marked places (one in sixteen is marked, by the bits of three
values alone, so that equal blocks have equal marks) are given a fingerprint; equal fingerprints are compared and let out
as far as the values agree.  How long an agreement chance would show follows from how often two steps of
the value agree in this record.  A signal that repeats itself many times is made that way and is left alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from excursions.clock import NS_PER_S, TimeArray, duration_text, iso
from excursions.detect.series.survey import Survey, survey_of
from excursions.records import Event, FloatArray, IndexArray, Record

WINDOW = 24
MULTIPLIER = np.uint64(0x9E3779B97F4A7C15)  # odd, bits well mixed (golden ratio in 64 bits)
MOVING_SHARE = 0.4  # of a window's samples must differ from the one before
BEAT = 0.05
LINE = 1e-9  # of the value: smaller bends are the rounding of a straight line
MOST_PAIRS = 400  # agreements at more distances than this are the way of the signal
MOSTLY = 0.5  # share of the record from which on repeating itself is the way of the signal
MOST_MOVES = 50_000  # say how often two moves agree
MOST_WINDOWS = 20_000  # windows that agree with an earlier one; more are a signal of few values


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatedSettings:
    """When a block of values is a repetition."""

    false_alarms: float = 1e-4  # agreements that long expected by chance in the record
    shortest_s: float = 600.0  # shorter ones harm nobody (cp)
    fewest_samples: int = 40  # shorter blocks agree by chance
    most: int = 3  # repetitions; more are the way of the signal


def detect_repeated(record: Record, settings: RepeatedSettings | None = None) -> tuple[Event, ...]:
    """Find blocks of values that repeat an earlier block exactly.

    Returns
    -------
    tuple of Event
        Kind ``stuck``, origin ``record``; size is the level of the block, ``details["lag_s"]`` how much
        earlier the block came first.
    """
    settings = settings or RepeatedSettings()
    survey = survey_of(record)
    if survey is None or len(survey.live) < 4 * settings.fewest_samples:
        return ()
    value = survey.live.value
    pairs = _pairs(value)
    if not pairs or len({b - a for a, b in pairs}) > MOST_PAIRS:
        return ()
    blocks = _let_out(value, pairs)
    chance = _agreement(value, blocks)
    found = []
    for first, again, length in blocks:
        move = np.diff(value[again : again + length])
        bend = np.abs(np.diff(move)) > LINE * np.abs(value[again : again + length]).max()
        moves = int(np.count_nonzero(bend & (move[1:] != 0)))
        expected = value.size**2 / 2 * chance**moves
        event = _event(record, survey, first, again, length)
        long = (event.end - event.start) / NS_PER_S >= settings.shortest_s
        beat = _same_beat(survey.live.time, first, again, length)
        if beat and expected <= settings.false_alarms and length >= settings.fewest_samples and long:
            found.append(event)
    played = sum(event.details["samples"] for event in found)
    return tuple(found) if len(found) <= settings.most and played <= MOSTLY * value.size else ()


def _agreement(value: FloatArray, played: list[tuple[int, int, int]]) -> float:
    """Probability that two moves of the value are equal where the moves before them are; nil moves and what was
    `played` again are left out, for a block that comes twice would vouch for itself.
    """
    own = np.ones(max(value.size - 1, 0), dtype=np.bool_)
    for _, again, length in played:
        own[again : again + length] = False
    move = np.diff(value)
    move = np.round(move[own & (move != 0)], 12)[:MOST_MOVES]
    if move.size < 4:
        return 1.0
    _, kind = np.unique(move, return_inverse=True)
    alone = _equal_pairs(kind)
    paired = _equal_pairs(kind[1:] * (int(kind.max()) + 1) + kind[:-1])
    pairs = move.size * (move.size - 1) / 2
    return float(np.clip(max((alone + 1) / pairs, (paired + 0.5) / (alone + 1)), 1e-3, 1.0))


def _equal_pairs(kind: IndexArray) -> float:
    """How many pairs of different draws are of the same kind."""
    _, count = np.unique(kind, return_counts=True)
    count = count.astype(np.float64)
    return float(np.sum(count * (count - 1)) / 2)


def _same_beat(time: TimeArray, first: int, again: int, length: int) -> bool:
    """Whether the samples of two blocks follow one another at the same distances."""
    a, b = np.diff(time[first : first + length]), np.diff(time[again : again + length])
    return bool(np.mean(np.abs(a - b) <= BEAT * np.maximum(a, b)) > 1 - BEAT)


def _pairs(value: FloatArray) -> list[tuple[int, int]]:
    """Starts of windows with equal fingerprints, each with the first one like it."""
    bits = np.ascontiguousarray(value).view(np.uint64) * MULTIPLIER
    mixed = ((bits[:-2] * MULTIPLIER + bits[1:-1]) * MULTIPLIER + bits[2:]) >> np.uint64(60)
    start = np.flatnonzero(mixed == 0)
    start = start[start < value.size - WINDOW]
    moved = np.concatenate([[0], np.cumsum(value[1:] != value[:-1])])
    start = start[moved[start + WINDOW - 1] - moved[start] >= MOVING_SHARE * WINDOW]
    if start.size < 2:
        return []
    print_of = _fingerprints(bits, start)
    ordered = np.sort(print_of)
    again = ordered[1:][ordered[1:] == ordered[:-1]]
    if not 0 < again.size <= MOST_WINDOWS:
        return []
    met = np.isin(print_of, again)
    start, print_of = start[met], print_of[met]
    order = np.argsort(print_of, kind="stable")
    same = np.flatnonzero(print_of[order][1:] == print_of[order][:-1])
    return sorted((int(start[order[k]]), int(start[order[k + 1]])) for k in same)


def _fingerprints(bits: NDArray[np.uint64], start: IndexArray) -> NDArray[np.uint64]:
    """Fingerprint of the window at each start, by Horner's rule modulo 2^64."""
    out = np.zeros(start.size, dtype=np.uint64)
    folded = bits ^ (bits >> np.uint64(29))
    for k in range(WINDOW):
        out = out * MULTIPLIER + folded[start + k]
    return out


def _let_out(value: FloatArray, pairs: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
    """Longest agreements (first, again, length), one for each stretch and lag."""
    found: list[tuple[int, int, int]] = []
    reached: dict[int, int] = {}  # lag -> where its last agreement ends
    for a, b in pairs:
        if a < reached.get(b - a, -1):
            continue
        after = _agree(value, a, b, +1)
        before = _agree(value, a - 1, b - 1, -1)
        if after >= WINDOW:
            reached[b - a] = a + after
            found.append((a - before, b - before, before + after))
    return found


def _agree(value: FloatArray, a: int, b: int, way: int) -> int:
    """How many values from `a` and from `b` on (forward or back) are equal; a block played over and over agrees with itself."""
    most = value.size - b if way > 0 else a + 1
    done, size = 0, 4 * WINDOW
    while done < most:
        n = min(size, most - done)
        first, again = a + way * done + way * np.arange(n), b + way * done + way * np.arange(n)
        differ = np.flatnonzero(value[first] != value[again])
        if differ.size:
            return done + int(differ[0])
        done, size = done + n, 2 * size
    return done


def _event(record: Record, survey: Survey, first: int, again: int, length: int) -> Event:
    time, value = survey.live.time, survey.live.value
    start, end = survey.span_of(again, again + length - 1)
    return Event(
        point=record.point.name,
        kind="stuck",
        start=start,
        end=end,
        size=float(np.median(value[again : again + length])),
        size_unit=record.unit,
        confidence=0.95,
        origin="record",
        severity="act",
        probe=record.probe_at(start),
        onset_uncertainty_s=survey.interval_s,
        open_end=again + length == len(survey.live),
        evidence=(
            f"{length} values in a row are those of {iso(int(time[first]))}, moves and all",
            f"they fill {duration_text((end - start) / NS_PER_S)}: played back, not measured",
        ),
        details={"samples": float(length), "lag_s": float(start - int(time[first])) / NS_PER_S},
    )
