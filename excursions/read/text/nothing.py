"""Figures that stand for no reading: -9999 and the like, which some recorders write where they had nothing to write.

Which figures are used so is common practice, no source; that one is meant in a record is decided from all of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from excursions.records import BAD, ByteArray, FloatArray

_NINES = tuple(float("9" * digits) + part for digits in range(3, 9) for part in (0.0, 0.25, 0.9, 0.99))
_LIMITS = (32_767.0, -32_768.0, 65_535.0, 2_147_483_647.0, -2_147_483_648.0)
CODES = frozenset(
    (
        *_NINES,
        *(-code for code in _NINES),
        *_LIMITS,
        -99.0,
        -99.9,
        -99.99,
        -999.5,
        -9_999.5,
        -7_999.0,
        -6_999.0,
    )
)
_ENDLESS = 1e30  # nothing that is measured here comes near
_LEAST = 4  # other readings without which nothing can be said
_MOST = 6  # different figures for nothing in one record
_SPANS = 2.0  # spans of all other readings that must lie between
_BELOW_ZERO = 0.05  # of the figure: how far below zero the other readings may go


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """One figure for nothing: how often, index of the first, and between what all other readings lie."""

    figure: float
    count: int
    first: int
    low: float
    high: float


def is_code(value: float) -> bool:
    """Whether a figure is one of those that are written for nothing."""
    return value in CODES or abs(value) >= _ENDLESS


def figures_for_nothing(
    value: FloatArray, quality: ByteArray, stated: Mapping[str, str] | None = None
) -> tuple[Code, ...]:
    """Figures among the readings of one tag that stand for no reading.

    One does when it is written so by recorders, is the smallest or the largest of the record, and lies beyond all
    other readings by more than twice their span, or below zero where no other reading goes.

    Parameters
    ----------
    value, quality : ndarray, shape (n,)
        As read, in any order.
    stated : mapping of text to quality
        The user's quality words; a figure stated as ``good`` is a reading.
    """
    kept = {number for word, meant in (stated or {}).items() if meant == "good" and (number := _number(word))}
    if not value.size:
        return ()
    ends = float(np.fmin.reduce(value)), float(np.fmax.reduce(value))
    if not any(is_code(end) and end not in kept for end in ends):
        return ()
    rest = value[(quality != BAD) & np.isfinite(value)]
    found: list[float] = []
    while rest.size and len(found) < _MOST:
        ends = float(rest.min()), float(rest.max())
        code = next((end for end in ends if is_code(end) and end not in kept), None)
        if code is None:
            break
        found.append(code)
        rest = rest[rest != code]
    if rest.size < _LEAST:
        return ()
    low, high = float(rest.min()), float(rest.max())
    return tuple(
        Code(figure=code, count=int(np.count_nonzero(value == code)), first=int(np.argmax(value == code)), low=low, high=high)
        for code in found
        if _is_apart(code, low, high)
    )  # fmt: skip


def _is_apart(code: float, low: float, high: float) -> bool:
    gap = low - code if code < low else code - high
    if gap < 0.5 * abs(code):
        return False
    return gap > _SPANS * (high - low) or (code < 0.0 and low >= _BELOW_ZERO * code)


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
