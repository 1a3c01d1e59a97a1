"""What is odd about the clock of a record: steps back, a shifted grid, readings far from all others, the future."""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray, duration_text, iso
from excursions.read.text.oddtimes import FEW, Oddity, steps_back, strays
from excursions.records import Sampling

OFF_GRID = 0.1  # share of the interval by which a step misses the grid
ON_GRID = 0.95


def oddities(
    written: TimeArray, time: TimeArray, sampling: Sampling, now: int | None = None
) -> tuple[Oddity, ...]:
    """What is odd about the times of one signal.

    Parameters
    ----------
    written : ndarray, shape (m,)
        Times in the order of the files, repeats included.
    time : ndarray, shape (n,)
        The same, strictly increasing.
    sampling : Sampling
        Of the record.
    now : int or None
        The present as the caller knows it (ns); None leaves the question of future times to the record alone.
    """
    found = [steps_back(written), _shifts(time, sampling), *strays(time), _future(time, now)]
    return tuple(oddity for oddity in found if oddity is not None)


def _shifts(time: TimeArray, sampling: Sampling) -> Oddity | None:
    """Steps that are no whole number of intervals in a record that is otherwise exactly on its grid."""
    if sampling.kind not in ("grid", "averages", "interpolated") or not sampling.interval_s > 0:
        return None
    step = np.diff(time) / NS_PER_S / sampling.interval_s
    off = np.abs(step - np.rint(step))
    odd = np.flatnonzero(off > OFF_GRID)
    if not odd.size or odd.size > max(3, FEW * step.size) or np.mean(off < OFF_GRID / 5) < ON_GRID:
        return None
    size = float(off[odd].max()) * sampling.interval_s
    words = (
        f"the grid of {duration_text(sampling.interval_s)} is shifted {odd.size} "
        f"{'times' if odd.size > 1 else 'time'}, by up to {duration_text(size)} (first at {iso(int(time[odd[0]]))}): "
        "a clock that was set, or a recorder that was restarted"
    )
    return Oddity(kind="shifted", count=int(odd.size), at=int(time[odd[0]]), size_s=size, words=words)


def _future(time: TimeArray, now: int | None) -> Oddity | None:
    if now is None or not time.size or time[-1] <= now + NS_PER_DAY:
        return None
    first = int(np.searchsorted(time, now + NS_PER_DAY, side="right"))
    count = int(time.size) - first
    words = f"{count} {'reading lies' if count == 1 else 'readings lie'} in the future (first at {iso(int(time[first]))}, last at {iso(int(time[-1]))})"
    return Oddity(
        kind="in the future",
        count=count,
        at=int(time[first]),
        size_s=float(time[-1] - now) / NS_PER_S,
        words=words,
    )
