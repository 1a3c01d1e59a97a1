"""Times that are odd in the order they were written: steps back, and a few readings far from all others.

Nothing is moved or dropped.  "Now" is no clock of this machine: a time is far off only where the record itself shows it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray, duration_text, iso

FEW = 0.01  # share of the samples up to which an oddity is an oddity; beyond it is how the record is
FAR = 30 * NS_PER_DAY  # a clock that was wrong is wrong by more than an ordinary shutdown
STRAY = 0.005
LEAST = 8  # readings from which most of them can be said to stand together


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


def steps_back(written: TimeArray) -> Oddity | None:
    """Few steps back in a record that otherwise runs on (or, newest first, few steps on).

    Parameters
    ----------
    written : ndarray, shape (m,)
        Times in the order of the files, repeats included [ns].
    """
    step = np.diff(written)
    back = np.flatnonzero(step < 0)
    if back.size > step.size / 2:  # newest first: the other way round is the odd one
        back, step = np.flatnonzero(step > 0), -step
    if not back.size or back.size > max(20, FEW * step.size):
        return None
    # A clock put back by an hour shows an hour less the time until its next reading.
    largest = float(np.median(np.abs(step)) - step[back].min()) / NS_PER_S
    many = f"{back.size} times, by up to" if back.size > 1 else "once, by"
    words = (
        f"the time steps back {many} {duration_text(largest)} (first at {iso(int(written[back[0]]))}): "
        "files that overlap, rows that came late, or a clock put back"
    )
    return Oddity(
        kind="stepped back", count=int(back.size), at=int(written[back[0]]), size_s=largest, words=words
    )


def strays(time: TimeArray) -> tuple[Oddity, ...]:
    """A few samples far before or far behind all others: a clock that was not set."""
    if time.size < LEAST:
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
