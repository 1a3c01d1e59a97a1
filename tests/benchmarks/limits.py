"""Nominal detection limits: how large a fault must be to stand out of this record's own noise.

They come from the noise before the fault, as the export shows it, and from the recording, by rules of signal
theory set down here once and for every detector; a limit that a detector states for a record would take their
place.  Sizes are given relative to the limit: 1 is at the limit, 2 is twice as large.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_MINUTE, NS_PER_S
from sample_data.simulator import Sampling, TagRows, TruthRow

CLASSES = (0.0, 0.5, 1.0, 2.0, 4.0, math.inf)
NAMES = ("below half", "half to one", "one to two", "two to four", "over four")

Z = 6.0  # six standard deviations: less than one chance in a million windows
SAMPLES = 30  # samples a state must last to be told from its neighbours


@dataclass(frozen=True)
class Recording:
    """What the export does to a fault.

    interval_s: time between samples offered; silence_s: longest silence that means nothing (a heartbeat, or one
    interval); deadband: what is not recorded; averaged: samples of the simulation in one average;
    rating_degc, tau_s: sterilisation rating and response time of the probe.
    """

    interval_s: float
    silence_s: float
    deadband: float
    averaged: int
    rating_degc: float
    tau_s: float

    @staticmethod
    def of(sampling: Sampling, step_s: float, rating_degc: float, tau_s: float) -> Recording:
        """From the sampling of a simulated export."""
        sparse = sampling.kind in ("exception", "swinging", "interpolated")
        return Recording(
            interval_s=sampling.interval_s,
            silence_s=sampling.heartbeat_s if sparse else sampling.interval_s,
            deadband=sampling.deadband,
            averaged=max(round(sampling.interval_s / step_s), 1) if sampling.kind == "averages" else 1,
            rating_degc=rating_degc,
            tau_s=tau_s,
        )


def shown_noise(value: TagRows, row: TruthRow, deadband: float) -> float:
    """Noise of the exported record in the day before a fault: robust deviation of differences over root two of
    the last known values each minute (or each interval), never below a third of the dead band (what falls
    into it is not seen)."""
    first, end = np.searchsorted(value.time, [row.start - NS_PER_DAY, row.start])
    if end - first < 20:
        return max(row.noise, deadband / 3.0, 1e-9)
    usual = np.median(np.diff(value.time[first:end]))
    every = int(max(usual, NS_PER_MINUTE)) if deadband == 0 else NS_PER_MINUTE
    at = np.arange(value.time[first], value.time[end - 1], every)
    moves = np.abs(np.diff(value.value[np.searchsorted(value.time[:end], at, side="right") - 1]))
    moves = moves[np.isfinite(moves)]
    return max(1.4826 * float(np.median(moves)) / math.sqrt(2), deadband / 3.0, 1e-9)


def relative_size(row: TruthRow, value: TagRows, how: Recording) -> float:
    """Size of a true event over its nominal limit; NaN where the record before it is too short to say."""
    lasted = (row.end - row.start) / NS_PER_S
    size = abs(row.size)
    if row.kind == "over_temperature":  # one kelvin above the rating, on four samples
        return min(row.size - how.rating_degc, lasted / (4 * how.interval_s))
    if (
        row.kind == "thermal_shock"
    ):  # 40 K/min is what is called one; a fall of 60 K shows at most 60 K an interval
        return min(size, 3600.0 / how.interval_s) / 40.0
    if row.kind == "temperature_fault":  # five kelvin at once, three times that when it creeps
        return math.inf if row.mode == "open" else size / (15.0 if row.mode == "drift" else 5.0)
    if row.kind in ("stuck", "pinned", "out_of_range", "bridged", "dropout", "bad_quality"):
        return _lasting(row, lasted, how)
    noise = shown_noise(value, row, how.deadband)
    if row.kind in ("noise_growth", "noise_collapse", "slow_response"):
        return min(_ratio(row, noise, how), lasted / (3 * SAMPLES * how.interval_s))
    return _in_noise(row, lasted, noise, how)


def _ratio(row: TruthRow, noise: float, how: Recording) -> float:
    """The noise shown must double or halve; the response must treble and outlast two samples and a minute."""
    if row.kind == "slow_response":
        slow = how.tau_s * row.size
        return min(math.log(row.size) / math.log(3.0), slow / (2 * how.interval_s), slow / 60.0)
    change = (row.size**2 - 1.0) * row.noise**2 / (how.averaged if row.kind == "noise_growth" else 1)
    after = max(noise**2 + change, (0.01 * noise) ** 2)
    return abs(0.5 * math.log(after / noise**2)) / math.log(2.0)


def _lasting(row: TruthRow, lasted: float, how: Recording) -> float:
    """Long enough to be told from a quiet stretch of this recording."""
    if row.mode == "glass":
        return math.inf
    if row.kind in ("dropout", "bad_quality") and row.mode == "bouts":
        lasted = row.size / 10.0  # about ten bouts share the time
    least = {
        "stuck": max(SAMPLES * how.interval_s, 3 * how.silence_s),
        "bridged": max(SAMPLES * how.interval_s, 3 * how.silence_s),
        "dropout": max(10 * how.interval_s, 3 * how.silence_s),
    }.get(row.kind, 3 * how.interval_s)
    return lasted / least


def _in_noise(row: TruthRow, lasted: float, noise: float, how: Recording) -> float:
    size = abs(row.size)
    if row.kind == "step":
        return size / max(Z * math.sqrt(2) * row.slow, 2 * how.deadband)
    if row.kind in ("drift", "fouling"):  # a random walk of daily medians over the same time, four deviations
        days = max(min(lasted * NS_PER_S / NS_PER_DAY, 7.0 if row.kind == "fouling" else math.inf), 1.0)
        return size / max(4.0 * row.daily * math.sqrt(2 * days), 2 * how.deadband)
    if row.kind == "spikes":
        return size / (2 * Z * noise)
    if row.kind == "periodic":
        return size / (3.0 * noise)
    return math.nan


def size_class(relative: float) -> int:
    """Index into NAMES; -1 for NaN."""
    if math.isnan(relative):
        return -1
    return next(k for k in range(len(NAMES)) if relative < CLASSES[k + 1] or k == len(NAMES) - 1)
