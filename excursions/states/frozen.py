"""Calibrations hidden by a hold: the reading frozen or held, while the temperature walks or a log enters the work."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE, NS_PER_S
from excursions.records import IndexArray
from excursions.states.line import Claim
from excursions.states.plateaus import FEWEST_SAMPLES, usual_noise
from excursions.states.reading import Reading
from excursions.states.signs import CAME_BACK, LONGEST_H, PRIOR, Signs, with_common_signs
from excursions.states.trace import Trace, between, split_at_gaps
from excursions.states.walk import WALK_K

FROZEN = 1.5  # log odds
FROZEN_MIN, FROZEN_ALONE_MIN = 5.0, 10.0
FROZEN_TIMES_USUAL, FROZEN_SHARE = 3.0, 0.95
MOST_FROZEN = 500


def frozen(reading: Reading) -> list[tuple[int, int]]:
    """Spans in which a lively reading does not move at all, as long as a calibration lasts.

    A hold keeps what was measured last; what stands at an end of the range is pinned there.
    """
    trace = reading.trace
    if usual_noise(trace) == 0.0 or trace.held:
        return []
    every = between(np.flatnonzero(trace.value[1:] != trace.value[:-1]) + 1, len(trace))
    ranges = split_at_gaps(every[every[:, 1] - every[:, 0] >= 2 * FEWEST_SAMPLES], trace)
    if not ranges.size:
        return []
    lasted = (trace.time[ranges[:, 1] - 1] - trace.time[ranges[:, 0]]) / NS_PER_S
    if lasted.max() < 60 * FROZEN_MIN:
        return []
    usual = _usual_stay_s(every, trace)
    long = (lasted >= max(60 * FROZEN_MIN, FROZEN_TIMES_USUAL * usual)) & (lasted <= 3600 * LONGEST_H)
    if np.count_nonzero(long) > MOST_FROZEN:
        return []
    low, high = reading.point.range or (-math.inf, math.inf)
    return [
        (int(trace.time[a]), int(trace.time[b - 1])) for a, b in ranges[long] if low < trace.value[a] < high
    ]


def _usual_stay_s(stays: IndexArray, trace: Trace) -> float:
    """How long the same value stands as a rule [s]: no longer than this for all but a twentieth of the time.

    Holds for calibration and cleaning take less than that; a value that is recorded coarsely stands long all the time.
    """
    until = np.minimum(stays[:, 1], len(trace) - 1)
    lasted = np.sort((trace.time[until] - trace.time[stays[:, 0]]) / NS_PER_S)
    passed = np.cumsum(lasted)
    return float(lasted[np.searchsorted(passed, FROZEN_SHARE * passed[-1])]) if passed[-1] > 0 else 0.0


def weigh_frozen(span: tuple[int, int], signs: Signs) -> Claim | None:
    """A frozen reading while the temperature walks, or that a log explains."""
    walk = signs.walk(*span)
    lasted_min = (span[1] - span[0]) / NS_PER_MINUTE
    told = signs.entered(*span) and lasted_min >= FROZEN_ALONE_MIN
    walked = walk is not None and walk.kelvin > 0
    if not told and not walked:
        return None
    claim = with_common_signs(span, PRIOR + FROZEN + CAME_BACK, ["reading frozen"], walk, signs)
    return claim if claim is None or walked else replace(claim, helped=math.inf)


def weigh_held(span: Sequence[int], signs: Signs) -> Claim | None:
    """A held output and a walk to room temperature: what the reading did meanwhile need not be known."""
    start, end = int(span[0]), int(span[1])
    if end - start < FROZEN_MIN * NS_PER_MINUTE:
        return None
    walk = signs.walk(start, end)
    if walk is None or walk.kelvin < WALK_K:
        return None
    return with_common_signs((start, end), PRIOR, [], walk, signs)
