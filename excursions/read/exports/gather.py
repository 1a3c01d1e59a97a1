"""Readings by tag while files are read: pieces in file order, in memory up to a limit, then on disk."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from typing import IO

import numpy as np

from excursions.clock import TimeArray
from excursions.read.exports.values import STATE_OFF, STATE_ON
from excursions.records import BAD, GOOD, ByteArray, FloatArray, TagSeries

_BYTES = 17  # a reading: time, value, quality


@dataclass(slots=True)
class _Pieces:
    """The pieces of one tag; quality None stands for good throughout."""

    time: list[TimeArray] = field(default_factory=list)
    value: list[FloatArray] = field(default_factory=list)
    quality: list[ByteArray | None] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    unit: str = ""
    description: str = ""
    count: int = 0


@dataclass(slots=True)
class Gather:
    """All readings so far.  `spill_bytes`: beyond it pieces move to an unnamed temporary file."""

    spill_bytes: int
    tags: dict[str, _Pieces] = field(default_factory=dict)
    held: int = 0
    _file: IO[bytes] | None = None

    def add(self, tag: str, time: TimeArray, value: FloatArray, quality: ByteArray | None, file: str) -> None:
        """Add readings of one tag, in file order."""
        if not time.size:
            return
        pieces = self.tags.setdefault(tag, _Pieces())
        pieces.time.append(time)
        pieces.value.append(value)
        pieces.quality.append(quality)
        pieces.count += int(time.size)
        if not pieces.files or pieces.files[-1] != file:
            pieces.files.append(file)
        self.held += time.size * _BYTES

    def describe(self, tag: str, unit: str, description: str) -> None:
        """Note a unit and a description; the first of each stays."""
        pieces = self.tags.setdefault(tag, _Pieces())
        pieces.unit = pieces.unit or unit
        pieces.description = pieces.description or description

    def mark(self) -> dict[str, int]:
        """Where the record stands, for :meth:`rollback`."""
        return {tag: len(pieces.time) for tag, pieces in self.tags.items()}

    def rollback(self, mark: dict[str, int]) -> None:
        """Drop what was added since the mark."""
        for tag in list(self.tags):
            keep, pieces = mark.get(tag, 0), self.tags[tag]
            gone = sum(part.size for part in pieces.time[keep:])
            del pieces.time[keep:], pieces.value[keep:], pieces.quality[keep:]
            pieces.count -= gone
            self.held -= gone * _BYTES

    def series(self) -> dict[str, TagSeries]:
        """One series a tag, in the order of names; the pieces are given up on the way."""
        found: dict[str, TagSeries] = {}
        shared: dict[tuple[int, ...], tuple[list[TimeArray], TimeArray]] = {}
        for tag in sorted(self.tags):
            pieces = self.tags[tag]
            if not pieces.count:
                continue
            time = _joined_times(pieces.time, shared)
            value = np.concatenate(pieces.value) if len(pieces.value) > 1 else pieces.value[0]
            quality = _joined_quality(pieces)
            value, quality = _settle_states(value, quality)
            found[tag] = TagSeries(
                tag=tag, time=time, value=value, quality=quality, unit=pieces.unit,
                description=pieces.description, files=tuple(dict.fromkeys(pieces.files)),
            )  # fmt: skip
            self.tags[tag] = _Pieces()
        return found


def _joined_times(
    pieces: list[TimeArray], shared: dict[tuple[int, ...], tuple[list[TimeArray], TimeArray]]
) -> TimeArray:
    """Columns of one wide table share their times: the same pieces are joined once."""
    if len(pieces) == 1:
        return pieces[0]
    key = tuple(id(piece) for piece in pieces)
    if key not in shared:
        shared.clear()
        shared[key] = (pieces, np.concatenate(pieces))
    return shared[key][1]


def _joined_quality(pieces: _Pieces) -> ByteArray:
    quality = np.zeros(pieces.count, np.uint8)
    position = 0
    for time, part in zip(pieces.time, pieces.quality, strict=True):
        if part is not None:
            quality[position : position + time.size] = part
        position += time.size
    return quality


def _settle_states(value: FloatArray, quality: ByteArray) -> tuple[FloatArray, ByteArray]:
    """Two-state words are the values of a two-state signal, and bad readings of any other."""
    states = quality >= STATE_OFF
    if not states.any():
        return value, quality
    numbers = np.isfinite(value)
    plain = value[numbers]
    two_state = plain.size == 0 or (
        plain.size < 0.5 * states.sum() and bool(np.isin(plain, (0.0, 1.0)).all())
    )
    value, quality = value.copy(), quality.copy()
    if two_state:
        value[states] = quality[states] == STATE_ON
        quality[states] = GOOD
    else:
        quality[states] = BAD
    return value, quality


__all__ = ["Gather", "tempfile"]
