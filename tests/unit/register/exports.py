"""Made exports for tests of inference: a name, what its numbers look like, and what the file states."""

from __future__ import annotations

import numpy as np

from excursions.records import TagSeries
from tests.builders import grid

N = 400

SHAPES = {
    "ph": lambda r: 7.0 + r.normal(0, 0.3, N),
    "acid": lambda r: 2.2 + r.normal(0, 0.1, N),
    "degc": lambda r: 40.0 + r.normal(0, 3, N),
    "steam_degf": lambda r: np.where(np.arange(N) % 100 < 10, 250.0, 100.0) + r.normal(0, 1, N),
    "volt": lambda r: 0.41 + r.normal(0, 0.005, N),
    "mg": lambda r: 7.0 + r.normal(0, 0.8, N),
    "sat": lambda r: 70.0 + r.normal(0, 5, N),
    "us": lambda r: 1500.0 + r.normal(0, 50, N),
    "ms": lambda r: 30.0 + r.normal(0, 3, N),
    "mv": lambda r: 200.0 + r.normal(0, 40, N),
    "ntu": lambda r: np.abs(3.0 + r.normal(0, 1, N)),
    "bar": lambda r: 1.5 + r.normal(0, 0.1, N),
    "gauge": lambda r: np.abs(r.normal(0, 0.3, N)),
    "flow": lambda r: 120.0 + r.normal(0, 4, N),
    "flag": lambda r: (np.arange(N) % 50 < 2).astype(float),
    "busy_flag": lambda r: (np.arange(N) % 50 < 30).astype(float),
    "off": lambda r: np.zeros(N),
    "word": lambda r: r.integers(0, 6, N).astype(float),
    "ma": lambda r: np.clip(12.0 + 6 * r.normal(0, 1, N), 4.0, 20.0),
}


def tag(name: str, shape: str, unit: str = "", description: str = "", seed: int = 1) -> TagSeries:
    value = SHAPES[shape](np.random.default_rng(seed))
    return TagSeries(
        tag=name, time=grid(N), value=value, quality=np.zeros(N, np.uint8), unit=unit, description=description
    )


def export(*tags: tuple[str, ...]) -> dict[str, TagSeries]:
    """Tags as (name, shape[, unit[, description]]) in the order of the export."""
    return {row[0]: tag(*row) for row in tags}
