"""Figures of one stretch of heat against the lines they were drawn from."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.detect.heat.exposure import Stretch, bounded, fastest, hidden_peak, measure, saturation_degc
from excursions.physics.steam import saturation_pressure_kpa
from excursions.plant import Point
from excursions.records import FloatArray, Sampling, Signal
from excursions.states.trace import Trace, trace_of
from tests.builders import T0, grid, make_record, make_signal

MINUTE = NS_PER_MINUTE


def trace(value: list[float], *, every_s: float = 60.0, gap_s: float = 600.0, **more: object) -> Trace:
    size = len(value)
    made = Trace(
        time=grid(size, every_s), value=np.array(value, dtype=np.float64), interval_s=every_s, usual_s=every_s, gap_s=gap_s,
        resolution=0.0, held=False, drawn=True,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def test_the_fastest_change_is_taken_over_a_minute_in_the_direction_asked_for() -> None:
    line = trace([37.0, 40.0, 60.0, 62.0, 50.0, 49.0])
    assert fastest(line, slice(0, 6), +1) == pytest.approx(20.0)
    assert fastest(line, slice(0, 6), -1) == pytest.approx(12.0)
    assert fastest(line, slice(0, 2), +1) == pytest.approx(3.0)
    assert fastest(line, slice(0, 2), -1) == 0.0
    assert fastest(line, slice(2, 3), +1) == 0.0


def test_samples_closer_than_a_minute_are_taken_over_one() -> None:
    """Every 20 s: 6 K from one sample to the next and no more within the minute are 6 K/min, not 18."""
    line = trace([37.0, 37.0, 37.0, 43.0, 43.0, 43.0, 43.0], every_s=20.0)
    assert fastest(line, slice(0, 7), +1) == pytest.approx(6.0)
    assert fastest(line, slice(0, 3), +1) == 0.0  # not a minute long


def test_samples_further_apart_give_the_mean_of_their_interval() -> None:
    assert fastest(trace([37.0, 87.0], every_s=600.0), slice(0, 2), +1) == pytest.approx(5.0)


GRID = make_signal([37.0, 38.0, 37.0])


def test_a_peak_between_two_samples_is_where_both_lines_meet() -> None:
    """Up by 10 a minute to 130, down by 20 from 125 a minute later: they meet at 135, half a minute after the first."""
    line = trace([110.0, 120.0, 130.0, 125.0, 105.0])
    assert hidden_peak(GRID, line, 2) == pytest.approx(135.0)
    mirrored = trace([105.0, 125.0, 130.0, 120.0, 110.0])
    assert hidden_peak(GRID, mirrored, 2) == pytest.approx(135.0)


def test_a_peak_of_one_sample_may_have_been_half_its_smaller_side_higher() -> None:
    assert hidden_peak(GRID, trace([37.0, 37.0, 130.0, 77.0, 77.0]), 2) == pytest.approx(130.0 + 53.0 / 2)
    assert hidden_peak(GRID, trace([37.0, 130.0, 130.0, 130.0, 77.0]), 1) == pytest.approx(130.0)


def test_what_a_recorder_keeps_bounds_what_it_hides() -> None:
    line = trace([37.0, 37.0, 130.0, 77.0, 77.0], resolution=0.5)
    assert hidden_peak(GRID, line, 2) == pytest.approx(156.5 + 0.25)

    def recorded(**more: object) -> Signal:
        return replace(GRID, sampling=Sampling(interval_s=60.0, **more))  # type: ignore[arg-type]

    assert hidden_peak(recorded(extreme="greatest"), line, 2) == pytest.approx(130.25)
    assert hidden_peak(recorded(extreme="least"), line, 2) == pytest.approx(156.75)
    assert hidden_peak(recorded(kind="exception", deadband=0.8), replace(line, held=True), 2) == pytest.approx(130.8)  # fmt: skip
    # An average of a minute may hide half a minute of the steepest side, 93 K, on top.
    assert hidden_peak(recorded(kind="averages"), line, 2) == pytest.approx(156.75 + 93.0 / 2)


def test_nothing_is_drawn_across_a_gap() -> None:
    line = trace([110.0, 120.0, 130.0, 125.0, 105.0])
    time = line.time.copy()
    time[3:] += 20 * MINUTE
    assert hidden_peak(GRID, replace(line, time=time), 2) == pytest.approx(130.0)
    assert hidden_peak(GRID, trace([130.0, 125.0, 105.0]), 0) == pytest.approx(130.0)
    assert hidden_peak(GRID, trace([105.0, 125.0, 130.0]), 2) == pytest.approx(130.0)


@pytest.mark.parametrize(
    ("hidden", "peak", "saturation", "bound"),
    [
        (150.0, 130.0, 140.0, 140.0),
        (135.0, 130.0, 140.0, 135.0),
        (150.0, 130.0, 129.5, 130.0),  # a kelvin of the element
        (150.0, 130.0, 128.9, 150.0),  # this pressure caps nothing
        (150.0, 130.0, math.nan, 150.0),
    ],
)
def test_steam_is_no_hotter_than_its_pressure_says(
    hidden: float, peak: float, saturation: float, bound: float
) -> None:
    assert bounded(hidden, peak, saturation) == bound


@pytest.mark.parametrize(
    ("unit", "one_kpa", "gauge"),
    [("kPa", 1.0, False), ("bar", 0.01, False), ("bar_g", 0.01, True), ("psi", 0.1450377, False), ("psi_g", 0.1450377, True)],
)  # fmt: skip
def test_the_highest_pressure_in_any_unit_is_the_steam_of_its_table(
    unit: str, one_kpa: float, gauge: bool
) -> None:
    """Steam of 134 °C stands at 304 kPa (IAPWS); with 95 kPa of air a gauge shows 209."""
    pressure = float(saturation_pressure_kpa(134.0))
    shown = np.full(60, 120.0)
    shown[30:34] = pressure
    point = Point(name="A1", measurand="ph", value="A1", temperature="A1.T", pressure_unit=unit)
    record = make_record(
        None,
        np.full(60, 37.0),
        point=point,
        pressure=make_signal((shown - (95.0 if gauge else 0.0)) * one_kpa),
    )
    record = replace(record, plant=replace(record.plant, air_pressure_kpa=95.0))
    assert saturation_degc(record, T0 + 31 * MINUTE, T0 + 33 * MINUTE) == pytest.approx(134.0, abs=0.05)
    assert saturation_degc(record, T0 + 5 * MINUTE, T0 + 7 * MINUTE) < 106.0
    assert math.isnan(saturation_degc(record, T0 - 90 * MINUTE, T0 - 80 * MINUTE))
    assert math.isnan(saturation_degc(make_record(None, np.full(60, 37.0)), T0, T0 + MINUTE))


RATED = Point(
    name="A1", measurand="ph", value="A1", temperature="A1.T", rating_continuous_degc=80.0, rating_sterilisation_degc=120.0,
)  # fmt: skip


def cycle() -> tuple[TimeArray, FloatArray]:
    """An hour at 40 °C, up to 130 in 9 min, 20 min there, down to 40 in 18 min, an hour after."""
    corners = ((0, 40.0), (60, 40.0), (69, 130.0), (89, 130.0), (107, 40.0), (167, 40.0))
    minute = np.arange(168.0)
    return grid(168), np.interp(minute, [m for m, _ in corners], [t for _, t in corners])


@pytest.mark.parametrize("steaming", [True, False])
def test_every_figure_of_a_cycle_follows_from_its_corners(steaming: bool) -> None:
    _, temperature = cycle()
    record = make_record(None, temperature, point=RATED)
    line = trace_of(record.temperature)
    assert line is not None
    hot = Stretch(first=65, past=100, start=T0 + 64 * MINUTE, end=T0 + 99 * MINUTE, steaming=steaming, cleaning=not steaming, confidence=0.7)  # fmt: skip
    seen = measure(record, line, hot)
    assert (seen.first, seen.past, seen.start, seen.end) == (65, 100, hot.start, hot.end)
    assert (seen.steaming, seen.cleaning, seen.confidence) == (steaming, not steaming, 0.7)
    assert (seen.base_degc, seen.peak_degc) == (40.0, 130.0)
    assert seen.heating_k_per_min == pytest.approx(10.0)
    assert seen.cooling_k_per_min == pytest.approx(5.0)
    # From the last minute within 3 K of the peak, the 89th, half way down to 85 degC, reached in the 98th.
    assert seen.cooling_min == pytest.approx(9.0)
    # Up 10 K a minute, down 5: above 80 for 5 + 20 + 10, above 120 for 1 + 20 + 2, above 110 for 2 + 20 + 4.
    assert seen.minutes_continuous == pytest.approx(35.0)
    assert seen.minutes_sterilisation == pytest.approx(23.0)
    assert seen.minutes_steam == pytest.approx(26.0)
    # F0 at 130 °C is 10^0.89 a minute; a ramp of r K/min down to where nothing counts adds z / (r ln 10) of that.
    lethal = 10.0 ** ((130.0 - 121.1) / 10.0)
    assert seen.f0_min == pytest.approx(lethal * (20.0 + 10.0 / math.log(10.0) * (0.1 + 0.2)), rel=0.01)
    # Doubling each 10 K above 80: 32 at 130; ramps from 80 on (32 - 1) 10 / (r ln 2).
    dose = (32.0 * 20.0 + 31.0 * 10.0 / math.log(2.0) * (0.1 + 0.2)) / 60.0
    assert seen.dose_h == pytest.approx(dose, rel=0.01)
    above = (2.0 * 20.0 + 1.0 * 10.0 / math.log(2.0) * (0.1 + 0.2)) / 60.0
    assert seen.dose_sterilisation_h == pytest.approx(above, rel=0.01)
    assert seen.samples == (25 if steaming else 34)
    assert (seen.open_start, seen.open_end) == (False, False)
    assert seen.details["minutes_above_rating_min"] == pytest.approx(23.0 if steaming else 35.0)
    assert math.isnan(seen.saturation_degc)


def test_what_stands_at_an_end_of_the_record_or_beside_a_gap_is_open() -> None:
    _, temperature = cycle()
    early = make_record(None, temperature[70:], point=RATED)
    line = trace_of(early.temperature)
    assert line is not None
    seen = measure(early, line, Stretch(first=0, past=28, start=T0, end=T0 + 28 * MINUTE))
    assert (seen.open_start, seen.open_end) == (True, False)
    assert math.isnan(seen.base_degc)
    assert math.isnan(seen.cooling_min)
    whole = make_record(None, temperature, point=RATED)
    known = trace_of(whole.temperature)
    assert known is not None
    time = known.time.copy()
    time[95:] += round(2 * known.gap_s) * NS_PER_S
    parted = replace(known, time=time)
    cut = measure(whole, parted, Stretch(first=65, past=95, start=T0 + 64 * MINUTE, end=T0 + 95 * MINUTE))
    assert (cut.open_start, cut.open_end) == (False, True)


def test_a_warm_stay_that_hardly_rises_has_no_way_down() -> None:
    temperature = np.full(100, 80.0)
    temperature[60:80] = 85.5
    record = make_record(None, temperature, point=RATED)
    line = trace_of(record.temperature)
    assert line is not None
    seen = measure(record, line, Stretch(first=60, past=80, start=T0 + 60 * MINUTE, end=T0 + 80 * MINUTE))
    assert (seen.base_degc, seen.peak_degc) == (80.0, 85.5)
    assert math.isnan(seen.cooling_min)
