"""The simulation's clock and the two filters everything is made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter  # type: ignore[import-untyped]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
NS = 1_000_000_000
DAY_S = 86_400.0


@dataclass(frozen=True)
class Grid:
    """Regular times: `t` seconds since `start_ns` (UTC), `step` seconds apart."""

    start_ns: int
    t: FloatArray
    step: float

    @staticmethod
    def of(start_ns: int, days: float, step: float) -> Grid:
        """A grid of `days` from `start_ns`."""
        return Grid(
            start_ns, np.asarray(np.arange(round(days * DAY_S / step)) * step, dtype=np.float64), step
        )

    @property
    def days(self) -> float:
        """Length in days."""
        return float(self.t.size * self.step / DAY_S)

    @property
    def ns(self) -> IntArray:
        """Times in nanoseconds UTC."""
        return self.start_ns + np.round(self.t * NS).astype(np.int64)

    def slice(self, start: float, end: float) -> slice:
        """Samples with start <= t < end (seconds)."""
        first, last = np.searchsorted(self.t, [start, end])
        return slice(int(first), int(last))


def lag(x: FloatArray, step: float, tau: float) -> FloatArray:
    """First-order response of time constant `tau` [s], settled at the first sample."""
    if tau <= 0 or x.size == 0:
        return x.copy()
    keep = float(np.exp(-step / tau))
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], x, zi=[keep * x[0]])[0])


def ar1(rng: np.random.Generator, n: int, step: float, sd: float, tau: float) -> FloatArray:
    """Stationary AR(1) noise of standard deviation `sd` and time constant `tau` [s]."""
    white = rng.standard_normal(n)
    if sd == 0 or n == 0:
        return np.zeros(n)
    keep = float(np.exp(-step / tau)) if tau > 0 else 0.0
    white *= sd * np.sqrt(1.0 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], white, zi=[keep * sd * rng.standard_normal()])[0])
