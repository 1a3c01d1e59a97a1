"""Whether a hot stretch can be heat at all, or only a failing temperature element or its cable.

Used by the states and by the heat detectors, so that both judge alike.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_S
from excursions.ranks import median
from excursions.records import IndexArray
from excursions.states.trace import Trace, spells

FASTEST_K_PER_S = 10.0  # (cp) steam on an element in a probe shaft: a few kelvin a second
JUMP_K = 20.0
FEW = 2  # a peak of so few samples with nothing on its way is no heat, level or not
HIGHEST_DEGC = 200.0  # saturated steam of 15 bar: no line with a probe in it
ONE_STEP = 0.8  # share of the whole rise that one step takes, where the element should need several
SEEN_S = 120.0  # sampled more coarsely, a ramp of an ordinary cycle can hide between two samples
DEAD = 1e-3  # chance that a temperature shows one and the same value for so many samples in a row
AROUND = 5  # samples just before and after that say where the temperature came from
WILD_K = 20.0  # away from the usual band by this much, without heat that explains it (cp)
LOWEST_DEGC = -40.0  # below: no process with a probe in it (cp)


def not_heat(trace: Trace, first: int, past: int, usual: float) -> bool:
    """Whether samples [first, past) look like a failing element rather than heat.

    Impossible: a change faster than any element follows, or hotter than any steam.  Unlikely: up in one
    step, down in one step and exactly constant in between (an open circuit, or one or two wild samples), where
    samples are close enough that a real rise would show on its way; further apart, constant for longer than this
    temperature ever is by chance.

    Parameters
    ----------
    usual : float
        Temperature the process usually has [degC].
    """
    top = trace.value[first:past]
    if float(top.max()) > HIGHEST_DEGC:
        return True
    entry, left = _step(trace, first - 1), _step(trace, past - 1)
    if max(_rate(trace, first - 1), _rate(trace, past - 1)) > FASTEST_K_PER_S:
        return True
    least = min(abs(entry), abs(left))
    if least <= ONE_STEP * JUMP_K:  # neither is most of a rise worth asking about
        return False
    rise = median(top) - min(usual, _around(trace, first, past))
    at_once = least > ONE_STEP * abs(rise) and abs(rise) > JUMP_K
    flat = bool(np.ptp(top) <= trace.resolution)
    if trace.interval_s > SEEN_S:
        return at_once and flat and _repeats(trace) ** (past - first - 1) < DEAD
    return at_once and (past - first <= FEW or flat)


def heat_alone(ranges: IndexArray, trace: Trace, usual: float) -> IndexArray:
    """Those of the index ranges, shape (k, 2), that can be heat; to be asked before neighbours are joined."""
    keep = [not not_heat(trace, int(first), int(past), usual) for first, past in ranges]
    return ranges[np.array(keep, dtype=np.bool_)] if ranges.size else ranges


def failing(trace: Trace, *, low: float, middle: float, high: float, away_k: float = WILD_K) -> IndexArray:
    """Index ranges, shape (k, 2) in time order, in which only a failing element can have drawn the temperature.

    Parameters
    ----------
    low, middle, high : float
        Band the process usually has and its middle [degC]; stretches at least `away_k` outside it are asked about.
    """
    mirrored = replace(trace, value=-trace.value)
    above = spells(trace, on=high + away_k, off=high + away_k / 2)
    below = spells(mirrored, on=-(low - away_k), off=-(low - away_k / 2))
    wrong = [(int(a), int(b)) for a, b in above if not_heat(trace, int(a), int(b), middle)]
    wrong += [
        (int(a), int(b))
        for a, b in below
        if not_heat(mirrored, int(a), int(b), -middle) or trace.value[a:b].min() < LOWEST_DEGC
    ]
    return np.array(sorted(wrong), dtype=np.int64).reshape(-1, 2)


def _around(trace: Trace, first: int, past: int) -> float:
    """Median of the samples next to a stretch; infinite where it is the whole record."""
    near = np.concatenate([trace.value[max(first - AROUND, 0) : first], trace.value[past : past + AROUND]])
    return median(near) if near.size else float("inf")


def _repeats(trace: Trace) -> float:
    """Share of the samples that equal the one before."""
    return float(np.mean(np.diff(trace.value) == 0))


def _step(trace: Trace, before: int) -> float:
    """Change from sample `before` to the next; infinite sizes where the record has no next."""
    if before < 0 or before + 1 >= len(trace):
        return float("inf")
    return float(trace.value[before + 1] - trace.value[before])


def _rate(trace: Trace, before: int) -> float:
    """Speed of a large change [K/s]; 0 for small changes, at the ends and across gaps."""
    change = _step(trace, before)
    if not np.isfinite(change) or abs(change) < JUMP_K:
        return 0.0
    lasted = float(trace.time[before + 1] - trace.time[before]) / NS_PER_S
    return 0.0 if lasted > trace.gap_s else abs(change) / lasted
