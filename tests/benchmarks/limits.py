"""Nominal detection limits: how large a fault must be to stand out of this record's own noise.

They come from the noise written in the truth table and from the recording, by rules of signal theory set
down here once; a detector that states its own limit for a record is scored against that instead.  Sizes are
given relative to the limit: 1 is at the limit, 2 is twice as large.
"""

from __future__ import annotations

import math

from excursions.clock import NS_PER_DAY, NS_PER_S
from sample_data.simulator import TruthRow

CLASSES = (0.0, 0.5, 1.0, 2.0, 4.0, math.inf)
NAMES = ("below half", "half to one", "one to two", "two to four", "over four")

Z = 6.0  # six standard deviations: less than one chance in a million windows
SAMPLES = 30  # samples a state must last to be told from its neighbours


def relative_size(row: TruthRow, *, interval_s: float, rating_degc: float) -> float:
    """Size of a true event over its nominal limit; NaN where the truth table cannot say.

    interval_s: usual time between samples of the export (the heartbeat for exception records is not it);
    rating_degc: sterilisation rating of the probe, for heat.
    """
    lasted = (row.end - row.start) / NS_PER_S
    size = abs(row.size)
    if row.kind == "over_temperature":  # one kelvin above the rating, on two samples
        return min(row.size - rating_degc, lasted / (4 * interval_s))
    if row.kind == "thermal_shock":  # a rate no routine reaches, and a fall that spans three samples
        return min(size / 20.0, 3600.0 / size / (3 * interval_s))
    if row.kind == "temperature_fault":  # five kelvin at once, or far out
        return math.inf if row.mode == "open" else size / (15.0 if row.mode == "drift" else 5.0)
    if row.kind in ("noise_growth", "noise_collapse", "slow_response"):
        return _ratio(row, lasted, interval_s)
    if row.kind in ("stuck", "pinned", "out_of_range", "bridged", "dropout", "bad_quality"):
        return _lasting(row, lasted, interval_s)
    return _in_noise(row, lasted)


def _ratio(row: TruthRow, lasted: float, interval_s: float) -> float:
    """Noise must double, a response time treble; gradual changes count at their end; three times SAMPLES must be there."""
    least = 3.0 if row.kind == "slow_response" else 2.0
    change = abs(math.log(max(row.size, 1e-9))) / math.log(least)
    return min(change, lasted / (3 * SAMPLES * interval_s))


def _lasting(row: TruthRow, lasted: float, interval_s: float) -> float:
    if row.kind in ("dropout", "bad_quality") and row.mode == "bouts":
        lasted = row.size / 10.0  # about ten bouts share the time
    least = {"stuck": SAMPLES, "bridged": SAMPLES, "dropout": 10}.get(row.kind, 3)
    return math.inf if row.mode == "glass" else lasted / (least * interval_s)


def _in_noise(row: TruthRow, lasted: float) -> float:
    size = abs(row.size)
    if row.kind == "step":
        return size / (Z * math.sqrt(2) * row.slow)
    if row.kind in ("drift", "fouling"):  # a random walk of daily medians over the same time, four deviations
        days = max(min(lasted / (NS_PER_DAY / NS_PER_S), 7.0 if row.kind == "fouling" else math.inf), 1.0)
        return size / (4.0 * row.daily * math.sqrt(2 * days))
    if row.kind == "spikes":
        return size / (2 * Z * row.noise)
    return size / (3.0 * row.noise) if row.kind == "periodic" else math.nan


def size_class(relative: float) -> int:
    """Index into NAMES; -1 for NaN."""
    if math.isnan(relative):
        return -1
    return next(k for k in range(len(NAMES)) if relative < CLASSES[k + 1] or k == len(NAMES) - 1)
