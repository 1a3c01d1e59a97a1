"""Arrays in an unnamed temporary file, that is gone when the last array from it is."""

from __future__ import annotations

import mmap
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

AnyArray = np.ndarray[Any, Any]  # Any: every dtype, shape (n,)
_ALIGN = 8
_GROW = 64 * 2**20


@dataclass(frozen=True, slots=True)
class Stored:
    """Where an array lies in the file."""

    offset: int
    size: int
    dtype: str

    @property
    def key(self) -> int:
        """Identity among the stored arrays."""
        return self.offset


def let_go(*arrays: AnyArray) -> None:
    """Take arrays out of memory that are views of a file: whoever reads them again finds them there.

    Arrays that live in memory stay as they are.
    """
    for array in arrays:
        base: Any = array  # Any: what an array is a view of may be an array, a view of memory or a map
        while isinstance(base, np.ndarray) and base.base is not None:
            base = base.base
        mapped = base.obj if isinstance(base, memoryview) else base
        if isinstance(mapped, mmap.mmap) and hasattr(mmap, "MADV_DONTNEED"):
            start = np.frombuffer(mapped, np.uint8).ctypes.data
            first = (array.ctypes.data - start) // mmap.PAGESIZE * mmap.PAGESIZE
            mapped.madvise(mmap.MADV_DONTNEED, first, array.ctypes.data - start + array.nbytes - first)


class Spill:
    """An append-only file of arrays."""

    def __init__(self) -> None:
        self.file = tempfile.TemporaryFile(prefix="excursions-")  # noqa: SIM115 - closed with the last array
        self.end = 0
        self._map: mmap.mmap | None = None

    def store(self, arrays: Iterable[AnyArray]) -> Stored:
        """Append arrays of one dtype as one."""
        start, size = self.end, 0
        self.file.seek(self.end)
        dtype = ""
        for array in arrays:
            self.file.write(np.ascontiguousarray(array).data.cast("B"))
            size, dtype = size + int(array.size), array.dtype.str
            self.end += array.nbytes
        self.end = -(-self.end // _ALIGN) * _ALIGN
        return Stored(start, size, dtype)

    def load(self, stored: Stored) -> AnyArray:
        """Read an array back into memory."""
        self.file.seek(stored.offset)
        dtype = np.dtype(stored.dtype)
        return np.frombuffer(self.file.read(stored.size * dtype.itemsize), dtype)

    def view(self, stored: Stored) -> AnyArray:
        """The array as a read-only view of the file: it takes memory only where it is touched."""
        needed = stored.offset + stored.size * np.dtype(stored.dtype).itemsize
        if self._map is None or len(self._map) < needed:
            self.file.truncate(max(needed, self.end + _GROW))
            self.file.flush()
            self._map = mmap.mmap(self.file.fileno(), 0, access=mmap.ACCESS_READ)
        else:
            self.file.flush()
        return np.frombuffer(self._map, dtype=np.dtype(stored.dtype), count=stored.size, offset=stored.offset)
