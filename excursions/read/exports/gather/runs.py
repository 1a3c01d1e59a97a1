"""Readings of one tag in growing arrays: many slices become one piece without being joined a second time."""

from __future__ import annotations

import numpy as np

from excursions.clock import TimeArray
from excursions.read.exports.gather.spill import AnyArray
from excursions.records import ByteArray, FloatArray

_LEAST = 1_024
_GROWTH = 4  # room that is not yet written to is not yet memory, so there may be much of it
_SMALL = 2**16  # readings up to which the room left over is given back by a copy


class Run:
    """Readings that grow at the end; all of good quality until one is not."""

    __slots__ = ("_quality", "_size", "_time", "_value")

    def __init__(self) -> None:
        self._size = 0
        self._time: TimeArray = np.empty(0, np.int64)
        self._value: FloatArray = np.empty(0)
        self._quality: ByteArray | None = None

    def add(self, time: TimeArray, value: FloatArray, quality: ByteArray | None) -> None:
        """Readings (n,) at the end: times [ns UTC], values in the file's unit, qualities or None for good."""
        start, self._size = self._size, self._size + int(time.size)
        if self._size > self._time.size:
            self._grow(start)
        self._time[start : self._size] = time
        self._value[start : self._size] = value
        if quality is not None and self._quality is None:
            self._quality = np.zeros(self._time.size, np.uint8)
        if self._quality is not None:
            self._quality[start : self._size] = 0 if quality is None else quality

    def sealed(self) -> tuple[TimeArray, FloatArray, ByteArray | None]:
        """Times, values and qualities (n,) so far; nothing is added afterwards."""
        quality = None if self._quality is None else self._trimmed(self._quality)
        return self._trimmed(self._time), self._trimmed(self._value), quality

    def _grow(self, filled: int) -> None:
        room = max(_LEAST, self._size if not filled else _GROWTH * self._size)
        self._time, self._value = (
            self._larger(self._time, filled, room),
            self._larger(self._value, filled, room),
        )
        if self._quality is not None:
            self._quality = self._larger(self._quality, filled, room)

    @staticmethod
    def _larger(array: AnyArray, filled: int, room: int) -> AnyArray:
        """The array with room for so many, the first `filled` of them as they were."""
        larger = np.empty(room, array.dtype)
        larger[:filled] = array[:filled]
        return larger

    def _trimmed(self, array: AnyArray) -> AnyArray:
        return array[: self._size].copy() if self._size < _SMALL else array[: self._size]
