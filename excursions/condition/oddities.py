"""What is odd about the clock of a record: steps back, a shifted grid, readings far from all others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray, duration_text, iso
from excursions.records import Sampling

FEW = 0.01  # share of the samples up to which an oddity is an oddity; beyond it is how the record is
OFF_GRID = 0.1  # share of the interval by which a step misses the grid
FAR = 30 * NS_PER_DAY  # a clock that was wrong is wrong by more than an ordinary shutdown
STRAY = 0.005
ON_GRID = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Oddity:
    """One thing that is odd: ``stepped back``, ``shifted``, ``far ahead``, ``far behind`` or ``in the future``.

    count : how many; at : the first (ns); size_s : the largest, in seconds; words : a sentence without its subject.
    """

    kind: str
    count: int
    at: int
    size_s: float
    words: str


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
    found = [_steps_back(written), _shifts(time, sampling), *strays(time), _future(time, now)]
    return tuple(oddity for oddity in found if oddity is not None)


def _steps_back(written: TimeArray) -> Oddity | None:
    step = np.diff(written)
    back = np.flatnonzero(step < 0)
    if back.size > step.size / 2:  # newest first: the other way round is the odd one
        back, step = np.flatnonzero(step > 0), -step
    if not back.size or back.size > max(20, FEW * step.size):
        return None
    largest = float(-step[back].min()) / NS_PER_S
    many = f"{back.size} times, by up to" if back.size > 1 else "once, by"
    words = (
        f"the time steps back {many} {duration_text(largest)} (first at {iso(int(written[back[0]]))}): "
        "files that overlap, rows that came late, or a clock put back"
    )
    return Oddity(
        kind="stepped back", count=int(back.size), at=int(written[back[0]]), size_s=largest, words=words
    )


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


def strays(time: TimeArray) -> tuple[Oddity, ...]:
    """A few samples far before or far behind all others: a clock that was not set."""
    if time.size < 20:
        return ()
    step = np.diff(time)
    few = max(1, int(STRAY * time.size))
    apart = max(FAR, int(time[-few - 1] - time[few]))
    found = []
    ahead = int(np.argmax(step[-few:])) + step.size - few
    if step[ahead] > apart:
        found.append(_stray("far ahead", time.size - ahead - 1, int(time[ahead + 1]), int(step[ahead])))
    behind = int(np.argmax(step[:few]))
    if step[behind] > apart:
        found.append(_stray("far behind", behind + 1, int(time[0]), int(step[behind])))
    return tuple(found)


def _stray(kind: str, count: int, at: int, gap: int) -> Oddity:
    where = "after" if kind == "far ahead" else "before"
    stand = "reading stands" if count == 1 else "readings stand"
    words = (
        f"{count} {stand} {duration_text(gap / NS_PER_S)} {where} all others (first at {iso(at)}): "
        "a clock that was not set, or dates read in the wrong order"
    )
    return Oddity(kind=kind, count=count, at=at, size_s=gap / NS_PER_S, words=words)


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
