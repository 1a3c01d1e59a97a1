"""Steaming and hot cleaning, from the temperature and what the reading did meanwhile.

All limits are of the trade, none is of a plant: steam that sterilises is at 110 degC or more, a hot
cleaning is at 55 degC or more, short of that, and well above what the process usually has.  A process that lives hot is
neither.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray, duration_text
from excursions.records import CLEANING, STEAMING, BoolArray, FloatArray, IndexArray
from excursions.states.element import heat_alone
from excursions.states.line import Claim
from excursions.states.reading import ACID_PH, CAUSTIC_PH, Reading
from excursions.states.trace import Trace, crossing, join, spells, time_quantiles

STEAM_ON_DEGC, STEAM_PEAK_DEGC, STEAM_OFF_DEGC = 105.0, 110.0, 95.0  # (cp) steam that sterilises, and its end
STEAM_LONGEST_H = 12.0  # (cp) hotter for longer is how the process lives
STEAM_JOIN_S = 300.0  # pulses of one cycle
CLEAN_ON_DEGC, CLEAN_OFF_DEGC = 55.0, 48.0  # (cp) below, heat says nothing about cleaning
CLEAN_ABOVE_USUAL_K = 12.0
CLEAN_MIN, CLEAN_LONGEST_H = 3.0, 8.0
LIVES_HOT = 0.25  # share of the time above a limit from which on it is the process itself
RAMP_K_PER_MIN = 0.3  # slower is drifting, not heating up
RAMP_LAG_S = 120.0
RAMP_LONGEST_H = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """Temperatures this process usually has, by share of time: 5 %, half, 85 % [degC]."""

    low: float
    middle: float
    high: float


def usual_temperature(trace: Trace) -> Usual:
    """Where the temperature usually is; heat cycles take far less than a seventh of the time."""
    low, middle, high = time_quantiles(trace, (0.05, 0.5, 0.85))
    return Usual(low=low, middle=middle, high=high)


# --- steam ---------------------------------------------------------------------------------------


def steaming(trace: Trace, usual: Usual) -> list[Claim]:
    """Stretches of steam: from the start of heating up to where it falls below the end of steam."""
    on, off = STEAM_ON_DEGC, STEAM_OFF_DEGC
    if _long(trace):  # a hot process needs steam well beyond its own scatter
        beyond = usual.high + 4.0 + 2.0 * (usual.high - usual.middle)
        on, off = max(on, beyond + 4.0 + 2.0 * (usual.high - usual.middle)), max(off, beyond)
    hot = heat_alone(spells(trace, on=on, off=off), trace, usual.middle)
    ranges = _not_the_process(join(hot, trace.time, STEAM_JOIN_S), trace, STEAM_LONGEST_H)
    claims = []
    for first, past in ranges:
        peak = float(trace.value[first:past].max())
        if peak < STEAM_PEAK_DEGC:
            continue
        end = crossing(trace, int(past) - 1, int(past), off)
        claims.append(
            Claim(
                start=heating_from(trace, int(first)),
                end=max(end, int(trace.time[past - 1]) + 1),
                code=STEAMING,
                confidence=0.97 if peak >= 118.0 else 0.85,
                evidence=f"temperature up to {peak:.0f} °C, above {off:.0f} °C for "
                + duration_text((end - int(trace.time[first])) / NS_PER_S),
            )
        )
    return claims


def _long(trace: Trace) -> bool:
    """Whether the record is long enough to know what is usual: more than two days."""
    return bool(trace.time[-1] - trace.time[0] > 48 * NS_PER_HOUR)


def _not_the_process(ranges: IndexArray, trace: Trace, longest_h: float) -> IndexArray:
    """Leave out spells that last too long for a cycle, and all of them where the process lives that hot."""
    if not ranges.size:
        return ranges
    lasted = _lasting(ranges, trace.time)
    whole = float(trace.time[-1] - trace.time[0])
    if _long(trace) and lasted.sum() > LIVES_HOT * whole:
        return ranges[:0]
    return ranges[lasted <= longest_h * NS_PER_HOUR]


def _lasting(ranges: IndexArray, time: TimeArray) -> FloatArray:
    return (time[ranges[:, 1] - 1] - time[ranges[:, 0]]).astype(np.float64)


def heating_from(trace: Trace, first: int) -> int:
    """Instant (ns) at which the ramp that leads to sample `first` began; in the gap before it, the gap's begin."""
    since = int(trace.time[first]) - int(RAMP_LONGEST_H * NS_PER_HOUR)
    lo = int(np.searchsorted(trace.time, since))
    time, value = trace.time[lo : first + 1], trace.value[lo : first + 1]
    breaks = (
        np.flatnonzero(np.diff(time) > trace.gap_s * NS_PER_S) if math.isfinite(trace.gap_s) else np.empty(0)
    )
    whole = int(breaks[-1]) + 1 if breaks.size else 0
    here = np.arange(whole + 1, time.size)
    back = np.searchsorted(time, time[here] - round(RAMP_LAG_S * NS_PER_S), side="right") - 1
    back = np.clip(back, whole, here - 1)
    idle = here[_slope(time, value, here, back) < RAMP_K_PER_MIN]
    if idle.size:
        return int(time[idle[-1]])
    unseen = bool(whole) and _slope(time, value, whole, whole - 1) >= RAMP_K_PER_MIN
    return int(time[whole - 1 if unseen else whole])


def _slope(time: TimeArray, value: FloatArray, here: IndexArray | int, back: IndexArray | int) -> FloatArray:
    """Change from samples `back` to samples `here` [K/min]."""
    slope: FloatArray = (value[here] - value[back]) / ((time[here] - time[back]) / NS_PER_MINUTE)
    return slope


# --- hot cleaning --------------------------------------------------------------------------------


def cleaning(
    trace: Trace,
    usual: Usual,
    *,
    reading: Reading | None,
    flagged: TimeArray,
    steamed: Sequence[Claim],
) -> list[Claim]:
    """Stretches of hot cleaning, weighed by plateau, recurrence, the reading and flags.

    Temperature alone is weak evidence: one warm stretch stays measuring; it takes a family of like ones,
    or a reading that goes where only cleaning agents are, or a flag.
    """
    on = max(CLEAN_ON_DEGC, usual.high + CLEAN_ABOVE_USUAL_K)
    off = max(CLEAN_OFF_DEGC, usual.high + CLEAN_ABOVE_USUAL_K / 2)
    if on >= STEAM_ON_DEGC:
        return []
    warm = heat_alone(spells(trace, on=on, off=off), trace, usual.middle)
    ranges = _not_the_process(join(warm, trace.time, STEAM_JOIN_S), trace, CLEAN_LONGEST_H)
    ranges = ranges[_lasting(ranges, trace.time) >= CLEAN_MIN * NS_PER_MINUTE] if ranges.size else ranges
    peaks = np.array([trace.value[a:b].max() for a, b in ranges])
    keep = (peaks < STEAM_PEAK_DEGC) & ~_touches(
        trace.time[ranges[:, 0]], trace.time[ranges[:, 1] - 1], steamed
    )
    ranges, peaks = ranges[keep], peaks[keep]
    alike = _alike(peaks, _lasting(ranges, trace.time))
    claims = []
    for (first, past), peak, like in zip(ranges, peaks, alike, strict=True):
        start, end = heating_from(trace, int(first)), crossing(trace, int(past) - 1, int(past), off)
        facts = [f"temperature up to {peak:.0f} °C for {duration_text((end - start) / NS_PER_S)}"]
        odds = -1.0 if reading is not None and reading.known else -3.0
        odds += 0.7 * _has_plateau(trace.value[first:past], float(peak), off)
        if like >= 2:
            odds, facts = odds + 1.2, [*facts, f"{like} others like it"]
        said = reading.while_cleaning(start, end) if reading is not None else ""
        if said:
            odds, facts = odds + 2.0, [*facts, said]
        if _overlaps(flagged, start, end):
            odds, facts = odds + 2.5, [*facts, "flag active"]
        confidence = 1.0 / (1.0 + math.exp(-odds))
        if confidence >= 0.55:
            claims.append(
                Claim(start=start, end=end, code=CLEANING, confidence=confidence, evidence="; ".join(facts))
            )
    return claims


def cleaning_by_reading(reading: Reading) -> list[Claim]:
    """Recurring stays of a pH reading where only cleaning agents are, for points without a temperature."""
    if reading.point.measurand != "ph":
        return []
    caustic = spells(
        reading.trace, on=max(CAUSTIC_PH, reading.high + 1.5), off=max(CAUSTIC_PH, reading.high + 1.5)
    )
    mirrored = replace(reading.trace, value=-reading.trace.value)
    acid = spells(mirrored, on=-min(ACID_PH, reading.low - 1.5), off=-min(ACID_PH, reading.low - 1.5))
    claims = []
    for ranges, agent in ((caustic, "caustic"), (acid, "acid")):
        kept = _not_the_process(
            join(ranges, reading.trace.time, STEAM_JOIN_S), reading.trace, CLEAN_LONGEST_H
        )
        kept = kept[_lasting(kept, reading.trace.time) >= CLEAN_MIN * NS_PER_MINUTE] if kept.size else kept
        alike = _alike(np.zeros(kept.shape[0]), _lasting(kept, reading.trace.time))
        claims += [
            Claim(
                start=int(reading.trace.time[max(a - 1, 0)]),
                end=int(reading.trace.time[min(b, len(reading.trace) - 1)]),
                code=CLEANING,
                confidence=0.7,
                evidence=f"pH as in {agent}; {like} others like it",
            )
            for (a, b), like in zip(kept, alike, strict=True)
            if like >= 2
        ]
    return claims


def _touches(start: TimeArray, end: TimeArray, claims: Sequence[Claim]) -> BoolArray:
    """Whether each span touches one of the claims (which are in time order and apart)."""
    if not claims:
        return np.zeros(start.size, dtype=np.bool_)
    begins = np.array([c.start for c in claims])
    ends = np.array([c.end for c in claims])
    return np.asarray(np.searchsorted(begins, end, side="right") > np.searchsorted(ends, start))


def _overlaps(spans: TimeArray, start: int, end: int) -> bool:
    return bool(np.any((spans[:, 0] < end) & (spans[:, 1] > start)))


def _alike(peaks: FloatArray, lasted: FloatArray) -> IndexArray:
    """How many other spells reach the same heat (4 K) for a like time (factor two)."""
    if not peaks.size:
        return np.empty(0, dtype=np.int64)
    near = np.abs(peaks[:, None] - peaks) <= 4.0
    near &= np.abs(np.log(np.maximum(lasted, 1.0)[:, None] / np.maximum(lasted, 1.0))) <= math.log(2.0)
    return np.asarray(near.sum(axis=1) - 1, dtype=np.int64)


def _has_plateau(value: FloatArray, peak: float, off: float) -> bool:
    """Whether a third of the samples lie in the upper quarter of the rise."""
    return bool(np.mean(value >= peak - 0.25 * (peak - off)) >= 1 / 3)
