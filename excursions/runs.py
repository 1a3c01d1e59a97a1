"""Runs: stretches of an array in which something holds, as index ranges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Index ranges [from, to), shape (k, 2), of the True stretches of a mask (n,)."""
    return np.flatnonzero(np.diff(mask, prepend=False, append=False)).reshape(-1, 2)
