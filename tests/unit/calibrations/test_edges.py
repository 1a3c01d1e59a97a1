"""Limits of the checks of an entry, one value inside and one outside of each; mutation testing found them open."""

from __future__ import annotations

import dataclasses
import math

import pytest

from excursions.calibrations import evaluate, set_aside
from excursions.calibrations.checks import agrees, check_band
from excursions.calibrations.entries import PAIR_WITHIN_NS
from excursions.calibrations.uncertainty import entered_uncertainty
from excursions.clock import NS_PER_DAY
from excursions.physics.nernst import nernst_slope_mv
from excursions.plant import Installation, Plant, Point, Probe
from excursions.read.logs.figures import SECOND_SLOPE
from excursions.records import CalibrationEntry, Parameter
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


def parameter(value: float, unit: str) -> Parameter:
    return Parameter(value=value, uncertainty=0.1, unit=unit, basis="computed")


@pytest.mark.parametrize(
    ("zero", "told"), [(7.0, False), (6.6, False), (6.4, True), (7.4, False), (7.6, True)]
)
def test_an_offset_beyond_30_mv_at_ph_7_is_told_with_its_size(zero: float, told: bool) -> None:
    """USP <791>: within 30 mV at pH 7; at 100 % slope and 25 °C that is 0.507 pH either way."""
    notes = check_band(
        "ph", {"zero_point": parameter(zero, "pH"), "slope": parameter(100.0, "%")}, "as found"
    )
    assert bool(notes) == told
    if told:
        assert f"{nernst_slope_mv(25.0) * (zero - 7.0):+.0f} mV at pH 7" in notes[0]


@pytest.mark.parametrize(("gain", "told"), [(0.69, True), (0.71, False), (1.29, False), (1.31, True)])
def test_a_gain_far_from_one_is_told(gain: float, told: bool) -> None:
    assert bool(check_band("turbidity", {"gain": parameter(gain, "")}, "as found")) == told
    assert bool(check_band("co2", {"slope": parameter(100.0 * gain, "%")}, "as found")) == told


@pytest.mark.parametrize(("temp", "told"), [(-1.0, True), (0.5, False), (59.5, False), (60.5, True)])
def test_a_standard_is_read_between_0_and_60_degc(temp: float, told: bool) -> None:
    (found,) = evaluate([entry("ph", 1.0, *buffers(0.0, 176.0, temp=temp))], PLANT)
    assert any("hard to believe" in note for note in found.checks) == told


@pytest.mark.parametrize(
    ("name", "entered", "computed", "same"),
    [
        ("slope", 98.2, 98.0, True),
        ("slope", 98.6, 98.0, True),  # by another table of buffers
        ("slope", 98.8, 98.0, False),
        ("gain", 1.009, 1.0, True),
        ("gain", 1.02, 1.0, False),
        ("cell_constant", 0.5045, 0.5, True),
        ("cell_constant", 0.506, 0.5, False),
    ],
)
def test_an_entered_figure_agrees_up_to_rounding(
    name: str, entered: float, computed: float, same: bool
) -> None:
    assert agrees(name, entered, computed) == same


def test_oxygen_as_a_share_of_gas_is_air_where_it_is_that_of_air() -> None:
    """20.95 % of oxygen by volume is air: the same slope as from a standard that is called air."""
    named = entry("oxygen", 1.0, standard(math.nan, 60.0, label="air", raw_unit="nA"))
    share = entry("oxygen", 1.0, standard(20.95, 60.0, unit="vol%", raw_unit="nA"))
    (by_name,), (by_share,) = evaluate([named], PLANT), evaluate([share], PLANT)
    assert by_share.as_left["slope"].value == pytest.approx(by_name.as_left["slope"].value, rel=1e-6)


def test_a_second_slope_hides_no_figure_behind_it() -> None:
    figures = {SECOND_SLOPE: 97.0, "slope": 98.0, "zero_point": 6.9}
    (found,) = evaluate([entry("ph", 1.0, **figures)], PLANT)
    assert {name: p.value for name, p in found.as_left.items()} == {"slope": 98.0, "zero_point": 6.9}


def test_found_and_left_belong_together_within_a_shift_counted_from_the_first() -> None:
    half = PAIR_WITHIN_NS / NS_PER_DAY
    rows = [
        entry("ph", day, *buffers(1.0 + day, 176.0), phase=phase)
        for day, phase in ((1.0, "as_found"), (1.0 + 0.6 * half, "as_found"), (1.0 + 1.2 * half, "as_left"))
    ]
    assert len(evaluate([*rows[:2], entry("ph", 1.0 + 0.9 * half, *buffers(0.0, 176.0))], PLANT)) == 1
    assert len(evaluate(rows, PLANT)) == 2


def test_a_figure_without_raw_values_is_known_to_two_percent_where_nothing_else_is() -> None:
    assert entered_uncertainty("other", "gain", 2.0, "") == pytest.approx(0.04)
    assert entered_uncertainty("other", "zero", 5.0, "") == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("tolerance", "expected"), [(None, 0.1), (0.3, 0.1), (0.003, 0.001), (0.0015, 0.0005)]
)
def test_where_traces_are_measured_a_zero_is_not_known_worse_than_they_are(
    tolerance: float | None, expected: float
) -> None:
    """0.1 mg/L are a third of the error that matters (0.3 mg/L); in traces 3 µg/L matter."""
    plant = Plant(points=(Point(name="A1", measurand="oxygen", tolerance=tolerance),))
    row = dataclasses.replace(entry("oxygen", 1.0, zero=0.0, slope=98.0), point="A1")
    (made,) = evaluate([row], plant)
    assert made.as_left["zero"].uncertainty == pytest.approx(expected)
    assert made.as_left["slope"].uncertainty == pytest.approx(2.0)


def test_strange_entries_are_counted() -> None:
    plant = Plant(
        points=(Point(name="A1", measurand="ph"),),
        probes=(Probe(serial="P1", measurand="ph"),),
        installations=(Installation(probe="P1", point="A1", start=None, end=None),),
    )

    def of(day: float, probe: str) -> CalibrationEntry:
        return entry("A1", day, probe=probe, slope=98.0)

    one = set_aside([of(1, "P1"), of(2, "X"), of(4, "P1")], plant)[1]
    two = set_aside([of(1, "P1"), of(2, "X"), of(3, "X"), of(4, "P1")], plant)[1]
    assert one[0].what.startswith("1 entry of probe X")
    assert two[0].what.startswith("2 entries of probe X")
