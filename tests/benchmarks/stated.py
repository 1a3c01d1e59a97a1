"""Size of a true fault over the limit that the tool itself states for that record and kind.

What is planted is put into the units of the limit first: noise as the export shows it, a slower response as the
seconds it adds.  A fault that lasts shorter than the limit asks is that much smaller.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from excursions.clock import NS_PER_S
from excursions.records import Limit
from sample_data.simulator import TagRows, TruthRow
from tests.benchmarks.limits import Recording, shown_noise

WALKS = ("drift", "fouling")
PLAYED_S, FEWEST_PLAYED = (
    3_600.0,
    48,
)  # the simulated archive plays back an hour; samples that make a block known


def stated_size(row: TruthRow, value: TagRows, how: Recording, limits: Mapping[str, Limit]) -> float:
    """Size of a true event over its stated limit; NaN where the record is said not to show that kind."""
    limit = limits.get(row.kind)
    if limit is None or not limit.is_stated:
        return math.nan
    lasted = (row.end - row.start) / NS_PER_S
    size = _over(row, value, how, limit, lasted)
    if not limit.lasting_s or row.kind == "stuck":
        return size
    share = lasted / limit.lasting_s
    return size * min(1.0, 1.0 / share) if row.kind in WALKS else min(size, share)


def _over(row: TruthRow, value: TagRows, how: Recording, limit: Limit, lasted: float) -> float:
    size = abs(row.size)
    if row.kind == "over_temperature":  # two sizes at once: how hot and how long
        return min(row.size - how.rating_degc, lasted / limit.size)
    if row.kind == "temperature_fault":
        return math.inf if row.mode == "open" else math.nan if row.mode == "drift" else size / limit.size
    if row.kind in ("noise_growth", "noise_collapse"):
        before, after = shown_noise(value, row, how.deadband), _noise_within(value, row)
        return max(math.log(max(after, 0.01 * before) / before) / math.log(limit.size), 0.0)
    if row.kind == "step":  # NaN where only what comes at once can be shown
        at_once = math.isfinite(limit.at_once) and row.mode != "ramp"
        return size / (limit.at_once if at_once else limit.size)
    if row.kind == "spikes" and how.averaged > 1:
        size /= 2  # it falls into two averages
    if row.kind == "slow_response":
        return how.tau_s * (row.size - 1.0) / limit.size
    if row.kind == "stuck" and row.mode == "repeat" and FEWEST_PLAYED * how.interval_s > PLAYED_S:
        return math.nan  # a block of so few samples has no fingerprint
    if row.kind == "stuck" and row.mode in ("flicker", "slow"):
        return lasted / limit.lasting_s
    if limit.unit == "s":
        if row.kind in ("dropout", "bad_quality") and row.mode == "bouts":
            lasted = row.size / 10.0  # about ten bouts share the time
        return lasted / limit.size
    return size / limit.size


def _noise_within(value: TagRows, row: TruthRow) -> float:
    """Noise that the export shows inside a fault (of one that grows: in the middle of it); same figure as before it."""
    middle = slice(*np.searchsorted(value.time, [row.start, row.end]))
    moves = np.abs(np.diff(value.value[middle]))
    moves = moves[np.isfinite(moves)]
    return 1.4826 * float(np.median(moves)) / math.sqrt(2) if moves.size > 8 else math.nan
