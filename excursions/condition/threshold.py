"""Whether sizes of changes begin at a threshold: the mark that a dead band leaves in a record.

A law of sizes that reaches down to nothing has, below any size D, at least about as many members as between D
and 2 D, because its density does not grow away from zero.  Behind a dead band there are next to none below it.
"""

from __future__ import annotations

import numpy as np

from excursions.records import FloatArray

FEWEST = 12  # members between D and 2 D that an empty stretch below D is told from chance by
# Of those between D and 2 D that may lie below: returns from bad quality, repeats, restarts.
SHARE_BELOW = 0.04


def threshold(sizes: FloatArray, *, below: float = SHARE_BELOW) -> float:
    """Largest size below which next to nothing lies although much lies just above; 0 when there is none.

    Parameters
    ----------
    sizes : ndarray, shape (n,)
        Not negative, NaN left out by the caller; zeros count as members below.
    below : float
        Share of the members between D and 2 D that may lie below D.
    """
    if sizes.size < FEWEST:
        return 0.0
    ordered = np.sort(sizes)
    first = np.flatnonzero(np.diff(ordered, prepend=-1.0) > 0)  # each different size once
    size = ordered[first]
    # A hair of slack on both sides: sizes on a lattice are equal but for their last digits.
    lower = np.searchsorted(ordered, size * (1 - 1e-6))
    upper = np.searchsorted(ordered, 2 * size * (1 - 1e-6))
    above = upper - lower
    fits = (size > 0) & (above >= FEWEST) & (lower <= below * above)
    return float(size[fits][-1]) if fits.any() else 0.0
