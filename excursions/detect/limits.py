"""What each detector would miss on this record: its own detection limit, from the record itself.

A limit is the smallest fault that is found with a probability of about 98 %: the threshold the record's own
scatter sets, plus three standard errors of the figure that is compared with it.  Smaller faults may be found.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.stats import t as student

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.drift import TRIFLE as WALK_TRIFLE
from excursions.detect.groups import group_median
from excursions.detect.noise import ERROR, NoiseSettings, noise_series
from excursions.detect.periodic import PeriodicSettings, least_amplitude
from excursions.detect.plateaus import joined
from excursions.detect.response import ResponseSettings, disturbances
from excursions.detect.scan import FEW_PEAKS, LEAST_RATIO, SUSPICION, peaks, spreads, widths, windows
from excursions.detect.short import LONGEST as SHORT
from excursions.detect.short import tail_probability
from excursions.detect.slopes import KNOWLEDGE, WINDOWS
from excursions.detect.step import LIKE, TRIFLE
from excursions.detect.stuck import StuckSettings, shortest_stuck
from excursions.detect.sudden import LEAST_NOISE, SIDE, gaps
from excursions.detect.survey import SHORT_LEVEL, Survey, survey_of
from excursions.detect.tails import JUMP, outlying, size_of
from excursions.records import BoolArray, FloatArray, Record

POWER = 3.0  # standard errors above a threshold at which next to none is missed
HABIT = 3  # changes of level as large as a step may be, before it is one of many
UNSEEN_MARGIN = 1.3  # usual noise must pass the smallest that can be told by this
NOISE_MARGIN = 1.25  # the same for a ratio of noises
MARGIN = 1.5  # over a size below which nothing is reported, for the error of the size seen
SHARE = 16  # a width must fit the record this often to state a limit at it
WALK_SHARE = 8  # a drift over an eighth of the record is what its limit is stated for


class Limit(NamedTuple):
    """Smallest fault found with some certainty, its unit, and a sentence; NaN where the record cannot show it."""

    size: float
    unit: str
    sentence: str


def detection_limits(record: Record) -> dict[str, Limit]:
    """Detection limits of the detectors of live readings on this record, by kind of event.

    Returns
    -------
    dict of kind to Limit
        Empty for a record without a live sample.
    """
    survey = survey_of(record)
    if survey is None or record.value is None:
        return {}
    unit = record.value.unit
    step, drift = step_limit(record, survey), drift_limit(record, survey)
    stuck = shortest_stuck(record, StuckSettings())
    growth, collapse = _noise_limits(survey)
    response = _response_limit(record, survey)
    cycle = least_amplitude(record, PeriodicSettings())
    return {
        "stuck": _limit(
            stuck,
            "s",
            lambda s: f"a reading that stands still for {duration_text(s)} where the process does not rest",
        ),
        "pinned": _limit(stuck, "s", lambda s: f"a reading pinned for {duration_text(s)}"),
        "noise_growth": _limit(growth, "", lambda s: f"noise {s:.2g} times as large for a day"),
        "noise_collapse": _limit(collapse, "", lambda s: f"noise fallen to {s:.2g} of what it was for a day"),
        "step": _limit(step, unit, lambda s: f"a lasting step of {s:.3g} {unit}".rstrip()),
        "drift": _limit(drift, unit, lambda s: f"a drift of {s:.3g} {unit} over {_walk_time(survey)}"),
        "fouling": _limit(
            drift, unit, lambda s: f"a saw-tooth that walks {s:.3g} {unit} over {_walk_time(survey)}"
        ),
        "slow_response": _limit(response, "", lambda s: f"a response {s:.2g} times as slow"),
        "periodic": _limit(
            cycle, unit, lambda s: f"a cycle of amplitude {s:.3g} {unit} over four stretches".rstrip()
        ),
    }


def _limit(size: float, unit: str, say: Callable[[float], str]) -> Limit:
    if not math.isfinite(size):
        return Limit(math.nan, unit, "this record cannot show it")
    return Limit(size, unit, f"found from here on: {say(size)}")


def _walk_time(survey: Survey) -> str:
    return duration_text(len(survey.blocks) * survey.blocks.width_s / WALK_SHARE)


def step_limit(record: Record, survey: Survey) -> float:
    """Smallest lasting step, the reading's unit: the best width, or a jump from one sample to the next."""
    floor = 0.3 * survey.quantum
    wide = _least_difference(survey.rest, survey.blocks.broken, floor=floor)
    if len(survey.blocks) <= SHORT:
        wide = min(wide, _least_short(survey.rest, floor))
    tolerance = record.point.tolerance_at(float(np.median(survey.blocks.level)))
    others = sorted((abs(change.size) for change in survey.changes), reverse=True)
    habit = others[HABIT] / LIKE if len(others) > HABIT else 0.0  # smaller ones are what this process does
    return max(min(wide, _least_jump(survey)), habit, MARGIN * TRIFLE * tolerance, survey.quantum)


def _least_difference(level: FloatArray, broken: BoolArray, *, floor: float, ramp: int = 0) -> float:
    """Smallest difference that passes at some width and keeps for it, or the smallest ramp over `ramp` blocks.

    Only widths that the record holds sixteen times, so that it shows by itself what is usual.
    """
    every = windows(level, broken, widths(level.size))
    least = SUSPICION / math.sqrt(max(len(every), 1))
    found = math.inf
    for one, spread in zip(every, spreads(every, level.size, floor=floor), strict=True):
        at = peaks(one.diff, one.clean if one.clean.any() else one.fits, one.width)
        if at.size < FEW_PEAKS or one.width * SHARE > level.size:
            continue
        ratio = np.abs(one.diff[at]) / max(spread, 1e-300)
        seen = max(1.0, ramp / one.width)  # a window shorter than a ramp sees only its share of it
        found = min(found, (_least_ratio(ratio, least) + POWER) * spread * seen)
    return found


def _least_ratio(ratio: FloatArray, least: float) -> float:
    """Smallest ratio to the usual that stands off from those that are usual."""
    bulk = np.sort(ratio[~outlying(ratio, at_most=least)])
    return max(size_of(bulk, least), JUMP * float(bulk[-1]), LEAST_RATIO)


def _least_jump(survey: Survey) -> float:
    """Smallest jump from sample to sample that no other gap of the record explains."""
    live, blocks = survey.live, survey.blocks
    if len(live) < 4 * len(blocks):
        return math.inf
    held = np.flatnonzero(blocks.count > 0)
    size = np.maximum.reduceat(np.abs(gaps(live.value)), blocks.first[held])
    unit = max(survey.noise, 1e-12)
    bulk = np.sort((size + unit)[~outlying(size + unit, at_most=SUSPICION)])
    gap = max(size_of(bulk, SUSPICION), JUMP * float(bulk[-1]), (LEAST_NOISE + 1) * unit) - unit
    spans = np.lib.stride_tricks.sliding_window_view(live.value, SIDE)[:: max(1, len(live) // 20_000)]
    return gap + 2 * float(
        np.quantile(np.ptp(spans, axis=1), 0.9)
    )  # the values on either side reach into the gap


def _least_short(level: FloatArray, floor: float) -> float:
    """Smallest step in the middle of a short series."""
    n = level.size
    if n < 24:
        return math.inf
    rest = level - np.median(level)
    r = float(rest[1:] @ rest[:-1]) / max(float(rest @ rest), 1e-300)
    r = min(max(r + (2 + 4 * r) / n, 0.0), 0.95)
    error = math.sqrt(max(float(rest @ rest) / n, floor**2) * (1 + r) / (1 - r) / (n / 4))
    statistic = 1.0
    while tail_probability(statistic) > SHORT_LEVEL:
        statistic += 0.1
    return (math.sqrt(statistic) + POWER) * error


def drift_limit(record: Record, survey: Survey) -> float:
    """Smallest walk over an eighth of the record, the reading's unit."""
    pieces = joined(survey.rest, survey.blocks.broken, quantum=survey.quantum)
    length = len(pieces.level) // WALK_SHARE
    found = _least_difference(pieces.level, pieces.block < 0, floor=0.3 * survey.quantum, ramp=length)
    for count in WINDOWS:
        if pieces.level.size < 6 * count:
            break
        edge = np.linspace(0, pieces.level.size, count + 1).astype(np.int64)
        step = np.diff(group_median(pieces.level, edge[:-1], edge[1:]))
        found = min(found, _least_walk(step - np.median(step)))
    tolerance = record.point.tolerance_at(float(np.median(survey.blocks.level)))
    return max(found, MARGIN * WALK_TRIFLE * tolerance, survey.quantum)


def _least_walk(step: FloatArray) -> float:
    """Smallest sum of an eighth of the increments that passes, at most half again for its own scatter."""
    n = step.size
    size = max(n // WALK_SHARE, 3)
    scatter = 1.4826 * float(np.median(np.abs(step)))
    if scatter <= 0:
        return math.inf
    z = np.clip(step / scatter, -4, 4)
    r = float(z[1:] @ z[:-1]) / max(float(z @ z), 1e-300)
    r = min(max(r + 1 / n, -0.4), 0.8)
    wide = (1 + r) / (1 - r) * max(float(z @ z) / n, 1.0)
    needed = float(student.isf(SUSPICION / len(WINDOWS) / (2 * n), KNOWLEDGE * (n - size)))
    return (needed + POWER) * math.sqrt(size * wide) * scatter


def _noise_limits(survey: Survey) -> tuple[float, float]:
    """Smallest growth and largest remainder that are found when they last a day (at least eight figures)."""
    noise = noise_series(survey)
    if noise is None:
        return math.nan, math.nan
    settings = NoiseSettings()
    if math.exp(float(np.median(noise.raw))) <= UNSEEN_MARGIN * noise.unseen:
        return math.nan, math.nan
    lasting = max(8, round(86_400 * NS_PER_S / max(noise.width, 1)))
    every = tuple(w for w in widths(noise.rest.size) if w <= lasting)
    found = math.inf
    lot = windows(noise.rest, noise.broken, every)
    least = SUSPICION / math.sqrt(len(widths(noise.rest.size)))
    for one, spread in zip(lot, spreads(lot, noise.rest.size, floor=ERROR / 4), strict=True):
        at = peaks(one.diff, one.clean if one.clean.any() else one.fits, one.width)
        if at.size >= FEW_PEAKS:
            ratio = np.abs(one.diff[at]) / spread
            found = min(found, (_least_ratio(ratio, least) + POWER) * spread)
    growth = max(settings.growth * NOISE_MARGIN, math.exp(found))
    return growth, min(settings.collapse / NOISE_MARGIN, math.exp(-found))


def _response_limit(record: Record, survey: Survey) -> float:
    """Smallest growth of the time constant over four disturbances."""
    _, tau, sort = disturbances(record, survey)
    if tau.size < 12:
        return math.nan
    log = np.log(tau)
    scatter = 0.1
    for each in np.unique(sort):
        own = log[sort == each]
        scatter = max(scatter, 1.4826 * float(np.median(np.abs(own - np.median(own)))))
    settings = ResponseSettings()
    needed = float(student.isf(settings.suspicion * 4 / (tau.size**2 / 2), max(tau.size // 3, 4)))
    return max(math.exp((needed + POWER) * scatter / 2), settings.ratio * 1.1)
