"""Units, bad quality, segments and what had to be assumed."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.condition import condition
from excursions.condition.signal import unbroken
from excursions.records import BAD
from excursions.report.recording import peaks, recorded
from tests.builders import grid, level, quantised, tag_series


def test_fahrenheit_becomes_degc_and_so_does_its_resolution() -> None:
    given = quantised(level(500, 212.0, 2.0, seed=1), 0.1)
    signal = condition(tag_series(given, unit="degF"), measurand="temperature").signal
    assert signal.unit == "degC"
    assert signal.value[0] == pytest.approx((given[0] - 32) / 1.8)
    assert signal.sampling.resolution == pytest.approx(0.1 / 1.8)


def test_the_register_goes_before_the_file() -> None:
    signal = condition(tag_series([1.0, 2.0], unit="uS/cm"), measurand="conductivity", unit="mS/cm").signal
    assert signal.value.tolist() == [1000.0, 2000.0]


def test_an_unknown_unit_is_kept_and_said() -> None:
    done = condition(tag_series([1.0, 2.0], unit="furlong"), measurand="conductivity")
    assert done.signal.unit == "furlong"
    assert done.signal.value.tolist() == [1.0, 2.0]
    assert "furlong" in done.decisions[0].what


def test_a_missing_unit_is_assumed_and_said() -> None:
    done = condition(tag_series([1.0, 2.0]), measurand="conductivity")
    assert done.signal.unit == "uS/cm"
    assert "uS/cm" in done.decisions[0].what


def test_ph_needs_no_unit() -> None:
    assert condition(tag_series([7.0]), measurand="ph").decisions == ()


def test_a_signal_of_no_known_quantity_keeps_its_unit() -> None:
    assert condition(tag_series([2.0], unit="bar"), measurand="other").signal.unit == "bar"


def test_bad_quality_and_infinity_are_no_values() -> None:
    series = tag_series([7.0, 7.1, np.inf, 7.2], quality=[0, BAD, 0, 1])
    signal = condition(series, measurand="ph").signal
    np.testing.assert_array_equal(np.isnan(signal.value), [False, True, True, False])
    assert signal.quality.tolist() == [0, BAD, 0, 1]
    assert signal.sampling.share_bad == 0.25


def test_segments_cut_where_the_silence_is_longer_than_the_gap() -> None:
    time = np.array([0, 1, 2, 10, 11, 30], dtype=np.int64) * 10**9
    assert unbroken(time, 5.0).tolist() == [[0, 3], [3, 5], [5, 6]]
    assert unbroken(time, float("nan")).tolist() == [[0, 6]]


def test_two_late_samples_on_a_grid_make_no_gap_but_three_do() -> None:
    time = np.delete(grid(300), [50, 51, 100, 101, 102])
    signal = condition(tag_series(level(295, 7.0, 0.01), time=time), measurand="ph").signal
    assert signal.segments.tolist() == [[0, 98], [98, 295]]


def test_the_greatest_of_each_interval_is_named_so_and_hides_no_peak() -> None:
    value = quantised(level(500, 40.0, 0.3, seed=4), 0.1)
    sampling = condition(tag_series(value, tag="TE-7 max"), measurand="temperature").signal.sampling
    assert (sampling.kind, sampling.extreme) == ("grid", "greatest")
    assert recorded(sampling, str).startswith("the greatest of each interval")
    assert "full height" in peaks(sampling, str)
