"""Errors that a visit finds as USGS parts them, fouling and calibration drift, and its rating classes.

References
----------
.. [1] Wagner, Boulger, Oblinger, Smith, "Guidelines and standard procedures for continuous water-quality monitors:
   station operation, record computation, and data reporting", USGS Techniques and Methods 1-D3 (2006).  Forms of the
   fouling error and of linear proration as used in public scripts that follow it; the sign of the drift error and the
   divisor of its percentage from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from excursions.measurands import MEASURANDS

CLASSES = ("excellent", "good", "fair", "poor")


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What a visit found: error of fouling and of calibration drift, reading's unit and per cent of the reading."""

    fouling: float
    fouling_percent: float
    drift: float
    drift_percent: float

    @property
    def total(self) -> float:
        """Sum of the absolute errors, which decides the class."""
        return abs(self.fouling) + abs(self.drift)

    @property
    def total_percent(self) -> float:
        """The same in per cent."""
        return abs(self.fouling_percent) + abs(self.drift_percent)


def visit(
    *,
    before: float,
    after: float,
    field_before: float,
    field_after: float,
    standard: float,
    in_standard: float,
) -> Visit:
    """Errors of one visit [1]_.

    Parameters
    ----------
    before, after : float
        The monitor in place before and after cleaning.
    field_before, field_after : float
        An independent meter beside it at the same two times.
    standard, in_standard : float
        True value of a standard and what the cleaned monitor reads in it.
    """
    fouling = (after - before) - (field_after - field_before)
    drift = standard - in_standard
    return Visit(
        fouling=fouling,
        fouling_percent=100.0 * fouling / before,
        drift=drift,
        drift_percent=100.0 * drift / in_standard,
    )


def rating(measurand: str, corrections: Sequence[tuple[float, float]]) -> str:
    """Rating class of a record from its corrections (absolute, per cent): the lowest class of any of them.

    Returns
    -------
    str
        One of `CLASSES`, or ``beyond the limit`` when a correction exceeds the poor class; empty for a measurand the
        source does not rate.
    """
    row = MEASURANDS[measurand]
    bounds = (row.classes, row.classes_percent)
    if bounds == (None, None):
        return ""
    worst = max((_class_index(bounds, absolute, percent) for absolute, percent in corrections), default=0)
    return (*CLASSES, "beyond the limit")[worst]


def _class_index(
    bounds: tuple[tuple[float, ...] | None, tuple[float, ...] | None], absolute: float, percent: float
) -> int:
    """The class is the better one that either limit allows, since the greater limit applies."""
    sizes = (abs(absolute), abs(percent))
    found = [
        next((i for i, bound in enumerate(limits) if size <= bound * (1.0 + 1e-12)), len(limits))
        for limits, size in zip(bounds, sizes, strict=True)
        if limits is not None
    ]
    return min(found)
