"""Sizes over the stated limit, and the level at which rivals are held to as many false events."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.records import Limit
from sample_data.simulator import TagRows, TruthRow
from tests.benchmarks.limits import Recording
from tests.benchmarks.rivals import Mark, Seen, least_score
from tests.benchmarks.stated import stated_size

HOUR = 3_600_000_000_000
HOW = Recording(interval_s=60.0, silence_s=60.0, deadband=0.0, averaged=1, rating_degc=130.0, tau_s=20.0)


def row(kind: str, hours: float, size: float, mode: str = "") -> TruthRow:
    return TruthRow(point="P", probe="S", kind=kind, start=100 * HOUR, end=round((100 + hours) * HOUR), size=size, unit="", role="fault", mode=mode)  # fmt: skip


def limit(kind: str, size: float, unit: str = "pH", lasting_s: float = 0.0) -> dict[str, Limit]:
    return {kind: Limit(kind=kind, size=size, unit=unit, lasting_s=lasting_s, sentence="")}


def rows(noise_inside: float) -> TagRows:
    time = np.arange(0, 400 * 60) * HOUR // 60
    value = np.random.default_rng(3).standard_normal(time.size)
    value[100 * 60 : 150 * 60] *= noise_inside
    zero = np.zeros(time.size, np.uint8)
    return TagRows(tag="P", unit="", time=time, value=value, quality=zero, status=zero)


@pytest.mark.parametrize(
    ("fault", "stated", "size"),
    [
        (row("step", 50, -0.4), limit("step", 0.2), 2.0),
        (row("step", 50, -0.4), limit("step", 0.2, lasting_s=100 * 3_600.0), 0.5),
        (row("drift", 50, 0.4), limit("drift", 0.2, lasting_s=25 * 3_600.0), 1.0),
        (row("stuck", 2, 7.0), limit("stuck", 3_600.0, "s"), 2.0),
        (row("stuck", 2, 7.0, "flicker"), limit("stuck", 3_600.0, "s", lasting_s=14_400.0), 0.5),
        (row("slow_response", 90, 4.0), limit("slow_response", 30.0, "s"), 2.0),
        (row("over_temperature", 1, 130.5), limit("over_temperature", 240.0, "s"), 0.5),
        (row("step", 50, 0.4), limit("drift", 0.2), math.nan),
        (row("step", 50, 0.4), limit("step", math.nan), math.nan),
    ],
)
def test_a_fault_is_measured_in_the_unit_of_its_limit(
    fault: TruthRow, stated: dict[str, Limit], size: float
) -> None:
    assert stated_size(fault, rows(1.0), HOW, stated) == pytest.approx(size, nan_ok=True)


@pytest.mark.parametrize(
    ("kind", "inside", "at"), [("noise_growth", 4.0, 2.0), ("noise_collapse", 0.25, 0.5)]
)
def test_noise_is_taken_as_the_export_shows_it(kind: str, inside: float, at: float) -> None:
    measured = stated_size(row(kind, 50, 99.0), rows(inside), HOW, limit(kind, at, ""))
    assert measured == pytest.approx(2.0, rel=0.1)


def test_a_rival_is_held_to_the_false_events_allowed() -> None:
    marks = tuple(
        Mark(at * 24 * HOUR, at * 24 * HOUR + 1, score) for at, score in enumerate((5.0, 9.0, 7.0, 1.0))
    )
    seen = [Seen((), (row("step", 2, 1.0),), 0, {"rival": marks}, 0, 1.0)]
    assert least_score(seen, "rival", 2) == 7.0
    assert least_score(seen, "rival", 0) == math.inf
