"""How fast a reading follows inside a cleaning: from the rinse to the caustic and back the medium changes within seconds.

A conductivity probe that separates the phases of a cleaning has nothing else to follow: its live readings lie between the
cleanings, still.  The first rise from the level before a cleaning to its highest plateau, and the fall from it, are timed
from 10 to 63 % of the way; what takes no more than a sample is known to a sample.  In a vessel, which fills by and by, they
tell nothing of the probe and are left out.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_MINUTE, NS_PER_S
from excursions.ranks import median, quantile
from excursions.records import BAD, CLEANING, FloatArray, IndexArray, Record

MOST = 300  # cleanings
BEFORE = 30 * NS_PER_MINUTE  # a cleaning shows a while after it began
FEWEST_BEFORE, FEWEST_ON_TOP = 8, 12  # samples
BEGUN, TOP = 0.1, 0.9
WAY = 1 - math.exp(-1)
CLEAR = 30.0  # noises, and counts, that the way must measure
PIPE_S = 60.0  # in a pipe the medium changes within so long; a vessel that fills takes its own time (cp)
RISE, FALL = 101, 102  # sorts of these disturbances


def phase_changes(record: Record, noise: float) -> list[tuple[int, float, int]]:
    """Rises and falls inside cleanings: begin [ns], time constant [s] and sort; `noise` in the reading's unit."""
    signal, spans = record.value, record.states.spans(CLEANING)
    if signal is None or not spans.size:
        return []
    if len(spans) > MOST:
        spans = spans[np.linspace(0, len(spans) - 1, MOST).astype(np.int64)]
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    time, value = signal.time[good], signal.value[good]
    told = signal.sampling.kind == "exception" and signal.sampling.shortest_s > 0
    look_s = signal.sampling.shortest_s if told else math.inf
    interval = min(signal.sampling.interval_s, look_s)
    least = CLEAR * max(noise, signal.sampling.resolution)
    found: list[tuple[int, float, int]] = []
    past = 0
    for start, end in spans:
        lo, hi = (int(k) for k in np.searchsorted(time, [max(int(start) - BEFORE, past), end]))
        past = int(end)
        found.extend(_timed(time[lo:hi], value[lo:hi], least, interval, look_s))
    return [one for sort in (RISE, FALL) for one in _in_pipes(found, sort, max(PIPE_S, 2 * interval))]


def _in_pipes(found: list[tuple[int, float, int]], sort: int, quick_s: float) -> list[tuple[int, float, int]]:
    """Those of a sort, where at least a quarter of them are quick; none otherwise."""
    own = [one for one in found if one[2] == sort]
    return own if own and float(np.quantile([tau for _, tau, _ in own], 0.25)) <= quick_s else []


def _timed(
    time: IndexArray, value: FloatArray, least: float, interval_s: float, look_s: float
) -> list[tuple[int, float, int]]:
    """Rise to the highest plateau of one cleaning and the fall from it.

    Kept on exception, the last value of a plateau stood until one look of the recorder, `look_s`, before the next.
    """
    if value.size < FEWEST_BEFORE + FEWEST_ON_TOP:
        return []
    before = median(value[:FEWEST_BEFORE])
    high = quantile(value, TOP)
    top = median(value[value >= before + TOP * (high - before)])
    if not top - before > least:
        return []
    way = (value - before) / (top - before)
    above = np.flatnonzero(way > TOP)
    if above.size < FEWEST_ON_TOP:
        return []
    found = []
    up, down = way[: above[0] + 1], 1 - way[above[-1] :]
    for part, offset, sort in ((up, 0, RISE), (down, int(above[-1]), FALL)):
        done = int(np.argmax(part > WAY))
        idle = np.flatnonzero(part[:done] <= BEGUN)
        if done and idle.size:
            begin = offset + int(idle[-1])
            tau = float(time[offset + done] - time[begin]) / NS_PER_S
            begun_s = min(tau, float(time[offset + done] - time[begin + 1]) / NS_PER_S + look_s)
            found.append((int(time[begin]), max(begun_s, interval_s), sort))
    return found
