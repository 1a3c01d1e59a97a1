"""Keeping the memory of arrays that are done with for the next ones, where the system's allocator lets itself be told.

Every room makes arrays of a few megabytes and gives them up again.  The allocator of GNU C hands such pieces back to the
system each time and asks for new ones, which the system then clears page by page: a tenth of the processor time of a scan.
"""

from __future__ import annotations

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # names of its settings, malloc.h of GNU C
_LARGEST_KEPT = 32 * 2**20  # the most it accepts; larger arrays go back to the system as before
_KEPT = 256 * 2**20  # free memory at the end of the heap that is kept


def keep_freed_memory() -> bool:
    """Have arrays of up to 32 MB come from memory used before; returns whether the allocator agreed.

    Peak memory stays what it was; freed memory counts as used until the process ends.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        told = ctypes.CDLL(None).mallopt
    except AttributeError:  # another C library
        return False
    return bool(told(_MMAP_THRESHOLD, _LARGEST_KEPT)) and bool(told(_TRIM_THRESHOLD, _KEPT))
