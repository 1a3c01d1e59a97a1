"""Nominal limits by hand."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator import Sampling, TagRows, TruthRow
from tests.benchmarks.limits import NAMES, Recording, relative_size, shown_noise, size_class

MINUTE = 60_000_000_000
MINUTELY = Recording.of(Sampling(interval_s=60.0), 10.0, 130.0, 10.0)


def rows(noise: float, n: int = 3000) -> TagRows:
    """White noise every minute, from time zero."""
    value = noise * np.random.default_rng(1).standard_normal(n)
    zeros = np.zeros(n, np.uint8)
    return TagRows("t", "pH", np.arange(n, dtype=np.int64) * MINUTE, value, zeros, zeros)


def true(kind: str, size: float, minutes: float = 600.0, mode: str = "") -> TruthRow:
    return TruthRow(
        "P",
        "S",
        kind,
        2000 * MINUTE,
        round((2000 + minutes) * MINUTE),
        size,
        "pH",
        "fault",
        mode,
        0.01,
        0.02,
        0.05,
    )


def test_noise_is_that_of_the_export_before_the_fault() -> None:
    """1440 samples: a robust deviation within six per cent (twice its standard error)."""
    assert shown_noise(rows(0.3), true("step", 1.0), 0.0) == pytest.approx(0.3, rel=0.1)
    assert shown_noise(rows(0.01), true("step", 1.0), 0.9) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("kind", "size", "minutes", "expected"),
    [
        ("over_temperature", 148.0, 8.0, 2.0),  # 18 K above, on two of the four minutes asked
        ("over_temperature", 130.5, 100.0, 0.5),
        ("thermal_shock", 40.0, 5.0, 1.0),
        ("thermal_shock", 400.0, 5.0, 1.5),  # no more than 60 K a minute can show
        ("temperature_fault", -10.0, 60.0, 2.0),
        ("stuck", 7.0, 90.0, 1.0),  # thirty samples, or three intervals of silence
        ("step", 0.339, 60.0, 1.998),  # over 6 x sqrt(2) x 0.02
        ("slow_response", 9.0, 600.0, 0.75),  # 90 s against twice the minute
    ],
)
def test_sizes_over_their_limits(kind: str, size: float, minutes: float, expected: float) -> None:
    least = {"stuck": 3.0}.get(kind, 1.0)
    assert relative_size(true(kind, size, minutes), rows(0.01), MINUTELY) == pytest.approx(
        expected * least, rel=0.01
    )


def test_growth_is_judged_by_what_averages_leave_of_it() -> None:
    averaged = Recording.of(Sampling(kind="averages", interval_s=600.0), 30.0, 130.0, 10.0)
    row = true("noise_growth", 4.0, 60000.0)
    assert relative_size(row, rows(0.01), averaged) < relative_size(row, rows(0.01), MINUTELY)
    assert relative_size(row, rows(0.01), MINUTELY) == pytest.approx(2.0, rel=0.12)


def test_size_classes_are_half_open() -> None:
    assert [NAMES[size_class(x)] for x in (0.49, 0.5, 1.0, 3.9, 4.0, float("inf"))] == [
        "below half",
        "half to one",
        "one to two",
        "two to four",
        "over four",
        "over four",
    ]
    assert size_class(float("nan")) == -1
