"""The samples a detector of live readings may see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import TimeArray
from excursions.records import BAD, MEASURING, BoolArray, FloatArray, IndexArray, Signal, StateLine

PIECE = 16_384  # samples worked on at a time: short enough for the processor's own memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """The samples a detector of live readings may see: measuring, finite, not bad, not bridged.

    time (n,), value (n,); index (n,) position in the signal; fresh (n,) True where the sample before is
    not its neighbour in time (a gap, another state or a left-out sample lies between).
    """

    time: TimeArray
    value: FloatArray
    index: IndexArray
    fresh: BoolArray

    def __len__(self) -> int:
        return int(self.time.size)


def live_samples(signal: Signal, states: StateLine) -> Live:
    """Leave out what is not a live reading; cost linear in samples."""
    time = signal.time
    good = np.isfinite(signal.value) & (signal.quality != BAD) & states.mask(time, MEASURING)
    for lo, hi in signal.bridged:
        good[lo:hi] = False
    fresh = np.zeros(time.size, dtype=np.bool_)
    fresh[signal.segments[:, 0]] = True
    index = np.flatnonzero(good)
    if index.size == time.size:
        if index.size:
            fresh[0] = True
        return Live(time=time, value=signal.value, index=index, fresh=fresh)
    kept = fresh[index]
    kept[:1] = True
    kept[1:] |= np.diff(index) != 1
    return Live(time=time[index], value=signal.value[index], index=index, fresh=kept)


def bends(live: Live) -> tuple[FloatArray, IndexArray]:
    """Absolute second differences over unbroken triples of samples, and the first samples of the broken ones."""
    value, fresh = live.value, live.fresh
    bend = np.empty(max(value.size - 2, 0))
    for start in range(0, bend.size, PIECE):
        part = value[start : start + PIECE + 2]
        out = bend[start : start + PIECE]
        np.multiply(part[1:-1], 2, out=out)
        np.subtract(part[2:], out, out=out)
        np.abs(np.add(out, part[:-2], out=out), out=out)
    begins = np.flatnonzero(fresh)
    broken = np.union1d(begins - 2, begins - 1)
    broken = broken[(broken >= 0) & (broken < bend.size)]
    return np.delete(bend, broken) if broken.size else bend, broken
