"""A signal that is lost for moments: the reading falls to one and the same value far off, again and again, and returns.

A medium that spikes goes somewhere else each time; an open circuit, a lost supply or an input that gives up always shows
the same number to the last digit.  Such stays are dropouts, though numbers stand in the record.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammainc

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.series.bouts import Bout
from excursions.detect.series.survey import Survey
from excursions.digits import written
from excursions.ranks import row_median
from excursions.records import Event, FloatArray, IndexArray, Record
from excursions.runs import runs

FEWEST = 4  # times at exactly the same value
CHANCE = 1e-3  # expected number of values met as often by chance
SCATTER = 0.1  # of their height: excursions of a medium differ by that at least, though all that were seen are alike (cp)
LONGEST_S = 3_600.0  # a longer stay is stuck or pinned
MOST = 0.05  # share of the record, as at an end of the range: a level where the reading is oftener is the process's (cp)
AT_ONCE, BEFORE = (
    0.5,
    8,
)  # share of the way from the level of so many samples before that the jump makes; a process takes its time
CONFIDENCE = 0.85


def lost_levels(record: Record, survey: Survey, reached: FloatArray) -> FloatArray:
    """Values [reading's unit] that excursions, which go to `reached` (n,), end at more often than rounding makes alike.

    The ends of a stated range are left out: a reading clipped there was beyond it, whoever made it so
    (:mod:`excursions.detect.still.pinned`).
    """
    if reached.size < FEWEST:
        return np.empty(0)
    level, count = np.unique(reached, return_counts=True)
    height = abs(float(np.median(reached)) - float(np.median(survey.blocks.level)))
    spread = max(float(np.diff(np.quantile(reached, [0.1, 0.9]))[0]), survey.noise, SCATTER * height)
    counts = max(spread / max(survey.quantum, 1e-9 * abs(spread), 1e-300), 1.0)  # values that were to be had
    by_chance = counts * gammainc(count, reached.size / counts)  # Poisson: as many at one of them
    level = level[(count >= FEWEST) & (by_chance < CHANCE)]
    return np.asarray(level[~np.isin(level, record.point.range or ())])


def flat_stays(survey: Survey, least: float, *, longer: int) -> IndexArray:
    """Index ranges, shape (k, 2), of more than `longer` live samples of one value, to which and from which the reading jumps by
    at least `least`: a signal that is lost for minutes is no spike."""
    value, time, fresh = survey.live.value, survey.live.time, survey.live.fresh
    stays = runs(np.diff(value) == 0.0) + np.array([0, 1])
    stays = stays[(stays[:, 1] - stays[:, 0] > longer) & (stays[:, 0] > 0) & (stays[:, 1] < value.size)]
    first, past = stays[:, 0], stays[:, 1]
    there, back = value[first] - value[first - 1], value[past] - value[past - 1]
    jumped = (np.abs(there) >= least) & (np.abs(back) >= least) & (there * back < 0)
    before = row_median(value[np.maximum(first[:, None] - np.arange(1, BEFORE + 1), 0)])
    at_once = np.abs(there) >= AT_ONCE * np.abs(before - value[first])
    short = (time[past] - time[first]) / NS_PER_S <= LONGEST_S
    stays = stays[jumped & at_once & short & ~fresh[first] & ~fresh[past]]
    seldom = (stays[:, 1] - stays[:, 0]).sum() <= MOST * value.size
    return np.asarray(stays if seldom else stays[:0])


def stays_at(survey: Survey, levels: FloatArray, least: float) -> IndexArray:
    """Index ranges, shape (k, 2), of live samples exactly at one of the levels, entered by a jump of at least `least`."""
    value, time = survey.live.value, survey.live.time
    stays = runs(np.isin(value, levels))
    stays = stays[(stays[:, 0] > 0) & (stays[:, 1] < value.size)]
    jump = np.abs(value[stays[:, 0]] - value[stays[:, 0] - 1])
    lasted = (time[stays[:, 1]] - time[stays[:, 0]]) / NS_PER_S
    return stays[(jump >= least) & (lasted <= LONGEST_S)]


def lost_event(record: Record, survey: Survey, stays: IndexArray, bout: Bout) -> Event:
    """One event from a bout of stays."""
    time, value = survey.live.time, survey.live.value
    lost_s = float((time[stays[:, 1]] - time[stays[:, 0]]).sum()) / NS_PER_S
    levels = np.unique(value[stays[:, 0]])
    unit = record.unit
    shown = " or ".join(written(float(level)) for level in levels)
    electrode = record.point.quantity.electrode
    start = int(time[stays[0, 0]])
    cause = (
        "an open or shorted circuit, or a lost supply, shows the same number each time"
        if electrode
        else "a lost signal shows the same number each time, but so does an empty line"
    )
    return Event(
        point=record.point.name,
        kind="dropout",
        start=start,
        end=max(int(time[stays[-1, 1]]), start + 1),
        size=lost_s / 3_600.0,
        size_unit="h",
        confidence=CONFIDENCE,
        origin="probe" if electrode else "undecided",
        severity="check",
        probe=record.probe_at(start),
        open_end=bout.goes_on,
        onset_uncertainty_s=survey.interval_s,
        evidence=(
            f"fell {stays.shape[0]} times to exactly {shown} {unit}, together {duration_text(lost_s)}",
            cause,
            *(("still coming back when the record ends",) if bout.goes_on else ()),
        ),
        details={
            "count": float(stays.shape[0]),
            "level": float(levels[0]),
            "longest_h": _longest_h(stays, time),
        },
    )


def _longest_h(stays: IndexArray, time: IndexArray) -> float:
    return float((time[stays[:, 1]] - time[stays[:, 0]]).max()) / NS_PER_S / 3_600.0
