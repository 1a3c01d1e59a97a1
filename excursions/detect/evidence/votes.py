"""Of three or more that measure the same, which one parted: the one that stands alone.

A difference between two probes does not say which of them went.  A third one that measures the same quantity does: where it
kept to this reading, the other one parted; where it parted from this reading as well, this one did.
"""

from __future__ import annotations

import numpy as np

from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.evidence.origin import Clue
from excursions.detect.series.survey import Survey
from excursions.ranks import median
from excursions.records import MOVED_NOT, FloatArray

KEPT = 0.3  # of the change between the two: a third that moved by less against this reading kept to it
PARTED = (0.6, 1.6)  # share of that change by which one parted alike
WENT_ALONG = "went along with it"
ALIKE = 5.0  # odds: two that agree with each other and not with this one


def outvoted(survey: Survey, basis: str, before: tuple[int, int], after: tuple[int, int]) -> bool:
    """Whether a third probe kept to this reading while `basis` parted from both, between two ranges of blocks [lo, hi)."""
    kept, parted = _votes(survey, basis, before, after)
    return bool(kept) and not parted


def votes_clue(
    survey: Survey, basis: str, before: tuple[int, int], after: tuple[int, int]
) -> tuple[Clue, ...]:
    """That other probes parted from this reading just as `basis` did; nothing where none did, or some kept to it."""
    kept, parted = _votes(survey, basis, before, after)
    if kept:
        return ()
    return tuple(
        Clue(odds=ALIKE, words=f"{name} parted from it alike", source=name, said=MOVED_NOT) for name in parted
    )


def went_along(
    survey: Survey, before: tuple[int, int], after: tuple[int, int], size: float
) -> tuple[str, ...]:
    """Names of those that measure the same and made nearly all of a change of `size` between two ranges of blocks as well."""
    every = apart_from_neighbours(survey)
    return tuple(name for name, series in every if abs(_moved(series, before, after)) <= KEPT * abs(size))


def _votes(
    survey: Survey, basis: str, before: tuple[int, int], after: tuple[int, int]
) -> tuple[list[str], list[str]]:
    """Names of the other neighbours that kept to this reading, and of those that parted from it as `basis` did."""
    apart = dict(apart_from_neighbours(survey))
    size = _moved(apart[basis], before, after) if basis in apart else 0.0
    kept, parted = [], []
    for name, series in apart.items():
        if name == basis or not size:
            continue
        share = _moved(series, before, after) / size
        if abs(share) <= KEPT:
            kept.append(name)
        elif PARTED[0] <= share <= PARTED[1]:
            parted.append(name)
    return kept, parted


def _moved(series: FloatArray, before: tuple[int, int], after: tuple[int, int]) -> float:
    """Change of a series on the blocks between two ranges; 0 where one of them is empty."""
    first, last = series[max(before[0], 0) : before[1]], series[after[0] : after[1]]
    return median(last) - median(first) if np.size(first) and np.size(last) else 0.0
