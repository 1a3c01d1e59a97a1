"""Records kept by known rules: the kind is right or said to be unsure, and the figures of the rule come back."""

from __future__ import annotations

import math
from collections import Counter, defaultdict

import numpy as np
import pytest

from excursions.condition import condition
from excursions.condition.drawn import mean_of, share_straight
from excursions.condition.threshold import threshold
from excursions.records import Sampling
from tests.builders import grid, level, quantised, tag_series, with_bridge
from tests.recorders import MEASURANDS, Made, cases, fast, interpolated, jittered, on_grid

pytestmark = pytest.mark.slow

WRONG = {"interpolated": 0.12, "averages": 0.15, "mixed": 0.75}  # rules that leave no mark on some signals
SEEDS = range(40, 41)  # not those the thresholds were looked at with


def of(made: Made) -> Sampling:
    return condition(
        tag_series(made.value, time=made.time, tag="AT1"), measurand=made.measurand
    ).signal.sampling


@pytest.fixture(scope="module")
def found() -> list[tuple[Made, Sampling]]:
    return [(made, of(made)) for _, made in cases(SEEDS) if not made.name.startswith("repeated")]


def test_what_is_said_for_certain_is_right(found: list[tuple[Made, Sampling]]) -> None:
    said: dict[str, Counter[bool]] = defaultdict(Counter)
    for made, sampling in found:
        said[made.kind][bool(sampling.sure and sampling.kind != made.kind)] += 1
    for kind, counts in said.items():
        assert counts[True] / counts.total() <= WRONG.get(kind, 0.0), f"{kind}: {counts}"


def test_clocks_and_recorders_on_change_are_seldom_unsure(found: list[tuple[Made, Sampling]]) -> None:
    plain = [sampling.sure for made, sampling in found if made.kind in ("grid", "exception", "swinging")]
    assert np.mean(plain) > 0.9


def test_the_dead_band_comes_back(found: list[tuple[Made, Sampling]]) -> None:
    for made, sampling in found:
        if made.kind == "exception" and sampling.sure:
            assert sampling.deadband == pytest.approx(made.deadband, rel=0.35), made.name


def test_the_heartbeat_comes_back_where_it_shows(found: list[tuple[Made, Sampling]]) -> None:
    shown = 0
    for made, sampling in found:
        silent = int((np.diff(made.time) / 1e9 > 0.95 * made.heartbeat_s).sum())
        if made.kind == "exception" and silent >= 6 and made.time.size >= 40:
            shown += 1
            assert sampling.heartbeat_s == pytest.approx(made.heartbeat_s, rel=0.05), made.name
    assert shown >= 3


@pytest.mark.parametrize("measurand", sorted(MEASURANDS))
def test_a_trembling_clock_is_a_clock(measurand: str) -> None:
    time, value = jittered(measurand, 1.0, 7, every_s=60.0, share=0.4)
    sampling = condition(tag_series(value, time=time), measurand=measurand).signal.sampling
    assert (sampling.kind, sampling.sure) == ("grid", True)
    assert sampling.interval_s == pytest.approx(60.0, rel=0.05)


def test_a_smooth_signal_is_not_called_drawn() -> None:
    """A slow sine read every second bends less than it is rounded, yet nobody drew it."""
    x = quantised(50 + 30 * np.sin(np.arange(20_000) / 60.0), 0.01)
    assert share_straight(x, 0.01) == 0.0
    assert condition(tag_series(x, every_s=1.0), measurand="temperature").signal.sampling.kind == "grid"


@pytest.mark.parametrize("counts", [2.0, 4.0])
def test_ramps_of_a_controller_are_not_lines_of_an_export(counts: float) -> None:
    """Steam raised and cooled down along straight lines, and a busy reading between: every sample was measured."""
    x = level(20_000, 37.0, 0.01 * counts, seed=8)
    for start in range(2000, 20_000, 4000):
        x[start : start + 35] = np.linspace(37.0, 121.0, 35)
        x[start + 65 : start + 100] = np.linspace(121.0, 37.0, 35)
        x[start + 35 : start + 65] += 84.0
    sampling = condition(
        tag_series(quantised(x, 0.01), every_s=60.0), measurand="temperature"
    ).signal.sampling
    assert sampling.kind == "grid"


@pytest.mark.parametrize(("count", "known"), [(6, True), (12, True), (60, True), (10, False), (1, False)])
def test_means_are_known_by_their_lattice(count: int, known: bool) -> None:
    _, value = fast("ph", 1.0, 3, scan_s=10.0, n=2000 * count)
    means = value.reshape(-1, count).mean(axis=1)
    assert bool(mean_of(means, 0.0 if count > 1 else 0.01)[0]) is known


def test_degrees_fahrenheit_made_celsius_are_no_means() -> None:
    fahrenheit = quantised(level(4000, 100.0, 3.0, seed=2), 0.1)
    assert mean_of((fahrenheit - 32) / 1.8, 0.0) == (0, 0.0)


def test_values_between_samples_are_no_means() -> None:
    kept = on_grid("ph", 4.0, 5, every_s=50.0)
    assert mean_of(interpolated(kept, 30.0)[1], 0.0) == (0, 0.0)


def test_an_empty_stretch_below_a_size_is_its_threshold() -> None:
    sizes = np.concatenate([np.full(40, 0.2), np.full(30, 0.3), np.full(10, 2.0)])
    assert threshold(sizes) == pytest.approx(0.2)
    assert threshold(np.concatenate([sizes, np.linspace(0, 0.2, 30)])) == 0.0
    assert threshold(np.empty(0)) == 0.0


def test_nothing_that_changes_is_not_called_a_clock_for_certain() -> None:
    sampling = condition(tag_series(level(500, 7.0), every_s=600.0), measurand="ph").signal.sampling
    assert (sampling.kind, sampling.sure) == ("grid", False)
    assert "heartbeats" in sampling.why


def test_longest_silence_bridges_and_flat_stretches_are_told_with_their_time() -> None:
    x = quantised(level(4000, 7.0, 0.05, seed=4), 0.01)
    x[2500] = x[2400] + 1.0
    x = with_bridge(x, 2400, 2500)
    time = grid(4000)
    keep = np.ones(4000, bool)
    keep[1000:1030] = False
    sampling = condition(tag_series(x[keep], time=time[keep]), measurand="ph").signal.sampling
    assert sampling.longest_silence_s == 31 * 60
    assert sampling.longest_silence_at == time[999]
    assert sampling.bridged == 1
    assert sampling.bridged_longest_s == pytest.approx(100 * 60, abs=240)
    assert 0 < sampling.flat_usual_s < 600


def test_a_signal_that_is_never_flat_has_no_usual_flat_stretch() -> None:
    sampling = condition(tag_series(level(500, 7.0, 0.1, seed=1)), measurand="ph").signal.sampling
    assert math.isnan(sampling.flat_usual_s)
