"""Several files that call different signals alike: a file a tank, each with a column called pH.

Put together they would contradict or interleave one another.  Files of one signal follow one another, or repeat
what the other says where they overlap.  A name with a digit is one of the plant's own: where two files contradict
one another there, the later one is the historian's later word, unless both are called alike, lie in folders of their
own and tell of the same time: a folder a unit, with the same tags in each.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from excursions.clock import TimeArray
from excursions.records import FloatArray, IndexArray

_FEWEST = 20  # readings of both within the time they share, below which nothing is said
_ALIKE = 0.5  # share of the shared instants that must agree
# Of the span of the middle four fifths: readings nearer than this agree, however each file rounds.
_NEAR = 0.1
_COMMON = 0.1  # share of the readings there that must be of shared instants
_SAME = 0.9
_DATE = re.compile(r"[ _.\-]*\d{4,}(?:[-_.]\d+)*")

# A file's readings: its name, from, to.
Range = tuple[str, int, int]
Part = tuple[tuple[str, ...], IndexArray]


def parted(tag: str, time: TimeArray, value: FloatArray, ranges: Sequence[Range]) -> dict[str, Part]:
    """The signals in the readings of one tag, by name: files of each and its rows; none where all are of one signal.

    Parameters
    ----------
    time, value : ndarray, shape (n,)
        In file order.
    ranges : sequence of (file, from, to)
        Whose readings stand where; one file may have several.
    """
    rows: dict[str, list[slice]] = {}
    for file, start, stop in ranges:
        rows.setdefault(file, []).append(slice(start, stop))
    if len(rows) < 2:
        return {}
    own_name = any(char.isdigit() for char in tag)
    spans = {
        file: (min(int(time[r].min()) for r in own), max(int(time[r].max()) for r in own))
        for file, own in rows.items()
    }
    order = sorted(rows, key=lambda file: spans[file])
    others = False
    for position, file in enumerate(order):
        for later in order[position + 1 :]:
            if spans[later][0] > spans[file][1]:
                break
            if own_name and not (_called_alike(file, later) and _same_time(spans[file], spans[later])):
                continue
            others = others or _differ(*(_of(time, value, rows[each]) for each in (file, later)))
    if not others:
        return {}
    names = _names(tag, list(rows))
    return {
        names[file]: ((file,), np.concatenate([np.arange(r.start, r.stop) for r in own]))
        for file, own in rows.items()
    }


def _called_alike(one: str, other: str) -> bool:
    return one != other and Path(one).name == Path(other).name


def _same_time(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Whether two spans of time cover one another nearly."""
    shared = min(one[1], other[1]) - max(one[0], other[0])
    return shared >= _SAME * max(one[1] - one[0], other[1] - other[0])


def _of(time: TimeArray, value: FloatArray, rows: Sequence[slice]) -> tuple[TimeArray, FloatArray]:
    return np.concatenate([time[r] for r in rows]), np.concatenate([value[r] for r in rows])


def _differ(one: tuple[TimeArray, FloatArray], other: tuple[TimeArray, FloatArray]) -> bool:
    """Whether two files are of different signals: where both have readings they share no instants, or hardly agree."""
    low, high = max(one[0].min(), other[0].min()), min(one[0].max(), other[0].max())
    near = [(t[inside], v[inside]) for t, v in (one, other) for inside in ((t >= low) & (t <= high),)]
    (first, before), (second, after) = near
    fewest = min(first.size, second.size)
    if fewest < _FEWEST:
        return False
    shared, left, right = np.intersect1d(first, second, return_indices=True)
    if shared.size < _COMMON * fewest:
        return True
    apart = np.abs(before[left] - after[right])[np.isfinite(before[left]) & np.isfinite(after[right])]
    if not apart.size:
        return False
    low, high = np.nanquantile(before, (0.1, 0.9))
    return float(np.mean(apart <= max(_NEAR * (high - low), 1e-9))) < _ALIKE


def _names(tag: str, files: Sequence[str]) -> dict[str, str]:
    """A name for each file's signal: what tells the files apart before the tag.

    That is what each is called besides its date, else its whole name, else its folder.
    """
    stems = [Path(file.split("!")[-1]).name.split(".")[0] for file in files]
    folders = [Path(file.split("!")[0]).parent.name for file in files]
    numbered = [f"{stem} {number}" for number, stem in enumerate(stems, start=1)]
    for told in ([_DATE.sub("", stem) for stem in stems], stems, folders, numbered):
        if all(told) and len(set(told)) == len(files):
            break
    return {file: f"{name} {tag}" for file, name in zip(files, told, strict=True)}
