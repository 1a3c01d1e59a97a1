"""The smallest step a record can show: a decimal place, a count of a converter, or nothing visible."""

from __future__ import annotations

import numpy as np

from excursions.records import FloatArray, IndexArray

WINDOWS = 16  # places of a long record that are looked at
WINDOW_SAMPLES = 2_000
FINEST_DECIMAL = 6  # digits beyond this are arithmetic, not measurement
FEWEST_LEVELS = 4  # with fewer different values a step is not told from chance
SINGLE = 1.2e-7  # relative rounding of a single-precision number, which many exports carry
ON_LATTICE = 0.98  # share of values on the lattice; the rest may be interpolated or scaled by hand


def resolution(value: FloatArray) -> float:
    """Smallest step between different values, same unit; 0 when the record is continuous or too short.

    Decimal steps (0.01, 0.5, 2) are found exactly on integers; other steps (a converter count of a scaled
    range) from the spacing of the values met, and only believed when the values sit on that lattice.

    Parameters
    ----------
    value : ndarray, shape (n,)
        In the unit as exported, before any conversion; NaN is skipped.
    """
    levels, count = np.unique(_excerpt(value), return_counts=True)
    if levels.size < FEWEST_LEVELS:
        return 0.0
    return _decimal_step(levels, count) or _free_step(levels)


def _excerpt(value: FloatArray) -> FloatArray:
    """Finite values of evenly spread windows: enough to see a lattice, however long the record."""
    if value.size > WINDOWS * WINDOW_SAMPLES:
        starts = np.linspace(0, value.size - WINDOW_SAMPLES, WINDOWS).astype(np.int64)
        value = np.concatenate([value[lo : lo + WINDOW_SAMPLES] for lo in starts])
    return value[np.isfinite(value)]


def _decimal_step(levels: FloatArray, count: IndexArray) -> float:
    for decimals in range(-1, FINEST_DECIMAL + 1):
        scaled = levels * 10.0**decimals
        whole = np.rint(scaled)
        on = np.abs(scaled - whole) <= np.minimum(0.01, SINGLE * np.abs(scaled) + 1e-9)
        if count[on].sum() >= ON_LATTICE * count.sum():
            return _common_step(whole[on].astype(np.int64)) / 10.0**decimals
    return 0.0


def _common_step(whole: IndexArray) -> float:
    """Largest whole number that divides the distances of (nearly) all levels."""
    away = np.diff(np.unique(whole))
    if away.size < FEWEST_LEVELS - 1:
        return 1.0
    step = int(np.gcd.reduce(away))
    offsets = whole - whole[0]
    for prime in (5, 2):
        while _share_divided(offsets, step * prime) >= ON_LATTICE:
            step *= prime
    return float(step)


def _share_divided(offsets: IndexArray, by: int) -> float:
    """Share of offsets on the commonest residue class modulo `by`."""
    counts = np.unique(np.mod(offsets, by), return_counts=True)[1]
    return float(counts.max() / offsets.size)


def _free_step(levels: FloatArray) -> float:
    """Step of a lattice that is no decimal, 0 when the levels sit on none."""
    span = float(levels[-1] - levels[0])
    apart = np.diff(levels)
    apart = apart[apart > 1e-9 * max(span, abs(float(levels[0])))]
    if apart.size < FEWEST_LEVELS - 1:
        return 0.0
    step = float(np.median(apart[apart <= 1.5 * apart.min()]))
    if span / step > 1e6:
        return 0.0
    for _ in range(3):  # the first guess is off by rounding; the long distances sharpen it
        count = np.rint((levels - levels[0]) / step)
        step = float(np.dot(count, levels - levels[0]) / np.dot(count, count))
    error = np.abs((levels - levels[0]) / step - np.rint((levels - levels[0]) / step))
    few = span / step < 5 * levels.size  # a lattice far finer than the levels met fits anything
    return step if few and np.mean(error < 0.05) >= ON_LATTICE else 0.0
