"""Readings by tag while files are read: pieces in file order, in memory up to a limit, then on disk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import polars as pl

from excursions.clock import TimeArray
from excursions.read.exports.cells.values import STATE_OFF, STATE_ON
from excursions.read.exports.gather.contradictions import contradicted
from excursions.read.exports.gather.parting import Part, parted
from excursions.read.exports.gather.runs import Run
from excursions.read.exports.gather.spill import AnyArray, Spill, Stored
from excursions.read.text.aggregates import aggregate_of, with_note
from excursions.records import BAD, GOOD, ByteArray, Decision, FloatArray, TagSeries

_READING_BYTES = 17  # time, value, quality

# A piece of one tag: times, values, qualities; None for good throughout.
Piece = tuple[TimeArray | Stored, FloatArray | Stored, ByteArray | Stored | None]


@dataclass(slots=True)
class _Pieces:
    """The pieces of one tag, and what the files say of it; files: name, and how many readings were there before it."""

    parts: list[Piece] = field(default_factory=list)
    run: Run | None = None
    files: list[tuple[str, int]] = field(default_factory=list)
    unit: str = ""
    description: str = ""
    kept: str = ""
    count: int = 0
    has_states: bool = False
    places: tuple[str, ...] = ()

    def seal(self) -> None:
        """The run at hand becomes a piece; what is added later begins another."""
        if self.run is not None:
            self.parts.append(self.run.sealed())
            self.run = None


@dataclass(slots=True)
class Gather:
    """All readings so far.  Beyond `spill_bytes` the pieces move to an unnamed temporary file.

    kept : what says that the readings of the table at hand are averages, or empty
    contradicted : readings on which two files of one tag do not agree, a frame a tag; told : what is said of them
    parted : tags that several files held with readings that cannot be of one signal, and what each file's is called
    """

    spill_bytes: int
    kept: str = ""
    tags: dict[str, _Pieces] = field(default_factory=dict)
    held: int = 0
    spill: Spill | None = None
    parted: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    contradicted: list[pl.DataFrame] = field(default_factory=list)
    told: list[Decision] = field(default_factory=list)

    def add(
        self, tag: str, time: TimeArray, value: FloatArray, quality: ByteArray | None, file: str, *, slices: bool = False
    ) -> None:  # fmt: skip
        """Add readings of one tag, in file order.

        slices : whether the arrays are slices of larger ones of many tags; they are copied, so that those can go
        """
        if not time.size:
            return
        pieces = self.tags.setdefault(tag, _Pieces())
        pieces.kept = pieces.kept or self.kept
        if slices:
            pieces.run = pieces.run or Run()
            pieces.run.add(time, value, quality)
        else:
            pieces.seal()
            pieces.parts.append((time, value, quality))
        pieces.has_states = pieces.has_states or (quality is not None and int(quality.max()) >= STATE_OFF)
        if not pieces.files or pieces.files[-1][0] != file:
            pieces.files.append((file, pieces.count))
        pieces.count += int(time.size)
        self.held += time.size * _READING_BYTES

    def describe(self, tag: str, unit: str, description: str) -> None:
        """Note a unit and a description; the first of each stays."""
        pieces = self.tags.setdefault(tag, _Pieces())
        pieces.unit = pieces.unit or unit
        pieces.description = pieces.description or description

    def holds_others(self, tag: str, places: tuple[str, ...]) -> bool:
        """Whether the tag's readings so far are of other places (or other figures) than these, which are noted."""
        pieces = self.tags.setdefault(tag, _Pieces())
        if pieces.places and places and pieces.places != places:
            return True
        pieces.places = pieces.places or places
        return False

    def unit_of(self, tag: str) -> str:
        """The unit noted for a tag, or empty."""
        return self.tags[tag].unit if tag in self.tags else ""

    def relieve(self) -> None:
        """Move all pieces in memory to disk when they have grown beyond the limit."""
        if self.held <= self.spill_bytes:
            return
        self.spill = self.spill or Spill()
        kept: dict[int, tuple[object, Stored]] = {}  # columns of a wide table share their times
        for pieces in self.tags.values():
            pieces.seal()
            pieces.parts = [self._stored(part, kept) for part in pieces.parts]
        self.held = 0

    def _stored(self, part: Piece, kept: dict[int, tuple[object, Stored]]) -> Piece:
        time, value, quality = part
        if isinstance(time, Stored) or self.spill is None:
            return part
        if id(time) not in kept:
            kept[id(time)] = (time, self.spill.store([time]))
        stored_value = value if isinstance(value, Stored) else self.spill.store([value])
        stored_quality = (
            quality if quality is None or isinstance(quality, Stored) else self.spill.store([quality])
        )
        return kept[id(time)][1], stored_value, stored_quality

    def mark(self) -> dict[str, int]:
        """Where the record stands, for :meth:`rollback`."""
        for pieces in self.tags.values():
            pieces.seal()
        return {tag: len(pieces.parts) for tag, pieces in self.tags.items()}

    def rollback(self, mark: dict[str, int]) -> None:
        """Drop what was added since the mark."""
        for tag in list(self.tags):
            pieces = self.tags[tag]
            pieces.seal()
            pieces.count -= sum(part[0].size for part in pieces.parts[mark.get(tag, 0) :])
            del pieces.parts[mark.get(tag, 0) :]
            pieces.files = [at for at in pieces.files if at[1] < pieces.count]

    def series(self, *, apart: bool = False) -> dict[str, TagSeries]:
        """One series a tag, in the order of names; the pieces are given up on the way.

        apart : whether files that contradict one another under one tag are kept apart

        Where pieces were moved to disk the series are views of one file there, read-only, and take no memory until used.
        """
        join = _Join(self.spill)
        found: dict[str, TagSeries] = {}
        for tag in sorted(self.tags):
            pieces = self.tags[tag]
            if not pieces.count:
                continue
            self.tags[tag] = _Pieces()
            pieces.seal()
            time, value, quality = join.tag(pieces)
            parts = self._parts(tag, pieces, time, value) if apart else {}
            for name, (files, rows) in parts.items():
                found[name] = TagSeries(
                    tag=name, time=time[rows], value=value[rows], quality=quality[rows], unit=pieces.unit,
                    description=with_note(pieces.description, _kept(tag, pieces)), files=files,
                )  # fmt: skip
            if apart and not parts and len(pieces.files) > 1:
                frame, said = contradicted(tag, time, value, quality, pieces.files)
                self.contradicted.append(frame)
                self.told += said
            if not parts:
                found[tag] = TagSeries(
                    tag=tag, time=time, value=value, quality=quality, unit=pieces.unit,
                    description=with_note(pieces.description, _kept(tag, pieces)), files=tuple(dict.fromkeys(file for file, _ in pieces.files)),
                )  # fmt: skip
        return dict(sorted(found.items()))

    def _parts(self, tag: str, pieces: _Pieces, time: TimeArray, value: FloatArray) -> dict[str, Part]:
        """The signals of one tag where several files hold different ones under it; none where it is one."""
        ranges = [(*at, end) for at, (_, end) in pairwise([*pieces.files, ("", pieces.count)])]
        parts = parted(tag, time, value, ranges)
        if parts:
            self.parted.append((tag, tuple(parts)))
        return parts


def _kept(tag: str, pieces: _Pieces) -> str:
    """What says that a tag's readings are averages; not said of the least and the greatest of the same file."""
    return pieces.kept if aggregate_of(tag)[1] in ("", "average") else ""


class _Join:
    """Joins pieces to whole arrays: in memory, or through a second file when the pieces lie in a first."""

    def __init__(self, spill: Spill | None) -> None:
        self.spill = spill
        self.final = Spill() if spill else None
        self.last: tuple[tuple[object, ...], list[Piece], TimeArray] = ((), [], np.empty(0, np.int64))

    def tag(self, pieces: _Pieces) -> tuple[TimeArray, FloatArray, ByteArray]:
        """Time, value and quality of one tag."""
        values = [part[1] for part in pieces.parts]
        time = self._time(pieces)
        if all(part[2] is None for part in pieces.parts):
            return time, self._joined(values), self._joined([np.zeros(pieces.count, np.uint8)])
        qualities = self._qualities(pieces)
        if not pieces.has_states:
            return time, self._joined(values), self._joined(qualities)
        value, quality = _settle_states(self._in_memory(values), self._in_memory(qualities))
        return time, self._joined([value]), self._joined([quality])

    def _time(self, pieces: _Pieces) -> TimeArray:
        """Columns of a wide table have the same times: the same pieces are joined once."""
        key = tuple(part[0].key if isinstance(part[0], Stored) else id(part[0]) for part in pieces.parts)
        if key != self.last[0]:
            # The pieces are kept beside the key, so that their identities stay theirs.
            self.last = (key, pieces.parts, self._joined([part[0] for part in pieces.parts]))
        return self.last[2]

    def _qualities(self, pieces: _Pieces) -> list[AnyArray | Stored]:
        return [
            np.zeros(time.size, np.uint8) if quality is None else quality for time, _, quality in pieces.parts
        ]

    def _loaded(self, part: AnyArray | Stored) -> AnyArray:
        if not isinstance(part, Stored):
            return part
        if self.spill is None:
            raise ValueError("a stored piece without the file it lies in")
        return self.spill.load(part)

    def _in_memory(self, parts: Sequence[AnyArray | Stored]) -> AnyArray:
        arrays = [self._loaded(part) for part in parts]
        return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)

    def _joined(self, parts: Sequence[AnyArray | Stored]) -> AnyArray:
        if self.final is None:
            return self._in_memory(parts)
        return self.final.view(self.final.store(self._loaded(part) for part in parts))


def _settle_states(value: FloatArray, quality: ByteArray) -> tuple[FloatArray, ByteArray]:
    """Two-state words are the values of a two-state signal, and bad readings of any other."""
    states = quality >= STATE_OFF
    if not states.any():
        return value, quality
    plain = value[np.isfinite(value)]
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
