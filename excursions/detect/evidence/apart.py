"""The difference to a neighbour that usually goes along: what is left is one of the two probes."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from excursions.detect.series.alike import gain, related
from excursions.detect.series.scan import Windows, differences
from excursions.detect.series.survey import Survey
from excursions.records import FloatArray

KNOWN_SHARE = 0.8  # of the blocks in which the neighbour must be known
WIDTH = 5  # blocks: a calibration or cleaning of one of the two is shorter than half of them
CALMER = 0.7  # the difference must be this much calmer than the reading itself


def apart_from_neighbours(survey: Survey) -> tuple[tuple[str, FloatArray], ...]:
    """Reading less the neighbour's share in it, for every neighbour that goes along.

    Returns
    -------
    tuple of (name, ndarray (m,))
        In the unit of the reading, without what lasts less than half of five blocks: a neighbour's calibration, or a move
        of the process that one of the two shows a block later.  The difference is filtered, not the neighbour, so that what
        both see of the process within the hour cancels.  Empty where no neighbour of the same quantity explains the
        reading's changes.  Worked out once for all who ask.
    """
    return survey.once("apart", lambda: _apart(survey))


def differences_apart(survey: Survey, name: str, apart: FloatArray) -> tuple[Windows, ...]:
    """Differences at all widths of the reading less this neighbour's share, worked out once for all who ask."""
    return survey.once(f"differences apart from {name}", lambda: differences(apart, survey.blocks.broken))


def _apart(survey: Survey) -> tuple[tuple[str, FloatArray], ...]:
    found = []
    level = survey.blocks.level
    for name, other in sorted(survey.neighbours.items()):
        known = np.isfinite(other)
        if name not in survey.redundant or np.mean(known) < KNOWN_SHARE or not related(level, other):
            continue
        at = np.arange(other.size)
        every = np.interp(at, at[known], other[known])
        apart = median_filter(level - gain(level, every) * every, WIDTH, mode="nearest")
        if _restless(apart) < CALMER * _restless(level):
            found.append((name, apart))
    return tuple(found)


def _restless(x: FloatArray) -> float:
    """Mean size of changes over a fiftieth of the record."""
    step = max(1, x.size // 50)
    return float(np.mean(np.abs(x[step:] - x[:-step])))
