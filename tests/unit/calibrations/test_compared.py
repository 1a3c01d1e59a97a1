"""Two calibrations compared: chances, scatter of a kind, what it does to the reading, and where the probe stood then."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.calibrations import chance_remark, set_aside, shifts
from excursions.calibrations.levels import level_before, level_between
from excursions.calibrations.shifts import comparable, histories
from excursions.clock import NS_PER_DAY as DAY
from excursions.conclusions import Levels
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import Calibration, CalibrationEntry, Parameter, Shift

PLANT = Plant(points=(Point(name="A", measurand="ph"), Point(name="B", measurand="ph")))


def parameter(value: float, uncertainty: float = 0.1, unit: str = "", basis: str = "computed") -> Parameter:
    return Parameter(value=value, uncertainty=uncertainty, unit=unit, basis=basis)


def calibration(
    day: float, measurand: str = "ph", probe: str = "S1", point: str = "A", **found: Parameter
) -> Calibration:
    return Calibration(
        time=int(day * DAY), point=point, probe=probe, measurand=measurand, action="calibration", as_found=found, as_left=found,
    )  # fmt: skip


def steady(value: float, temp: float = 25.0, days: int = 90) -> Levels:
    time = np.arange(days * 24, dtype=np.int64) * (DAY // 24)
    return Levels(time=time, value=np.full(time.size, value), temperature=np.full(time.size, temp))


def zeros(
    *pairs: tuple[float, float], levels: dict[str, Levels] | None = None, plant: Plant = PLANT
) -> tuple[Shift, ...]:
    """One pair of calibrations a probe: zero point as (value, uncertainty of each)."""
    rows = []
    for n, (change, spread) in enumerate(pairs):
        for day, value in ((1.0, 7.0), (31.0, 7.0 + change)):
            rows.append(
                calibration(day, probe=f"S{n}", zero_point=parameter(value, spread / math.sqrt(2.0), "pH"))
            )
    return shifts(rows, plant, levels or {})


@pytest.mark.parametrize(
    ("sigmas", "p_value"), [(0.0, 1.0), (1.0, 0.3173), (-1.96, 0.0500), (2.5758, 0.0100), (3.0, 0.0027)]
)
def test_the_chance_of_a_change_under_nothing_changed(sigmas: float, p_value: float) -> None:
    """Two-sided, of the normal law's table."""
    (one,) = zeros((0.02 * sigmas, 0.02))
    assert one.uncertainty == pytest.approx(0.02)
    assert one.p_value == pytest.approx(p_value, abs=6e-5)
    assert one.significant == (p_value < 0.01)


def test_figures_without_any_uncertainty_differ_or_do_not() -> None:
    same, other = zeros((0.0, 0.0), (0.001, 0.0))
    assert (same.p_value, same.significant) == (1.0, False)
    assert (other.p_value, other.significant) == (0.0, True)


def test_a_shift_says_of_what_when_and_how_much() -> None:
    (one,) = zeros((0.05, 0.02), levels={"A": steady(4.0)})
    assert (one.point, one.probe, one.measurand, one.parameter, one.unit) == (
        "A",
        "S0",
        "ph",
        "zero_point",
        "pH",
    )
    assert (one.start, one.end, one.before, one.after) == (DAY, 31 * DAY, 7.0, 7.05)
    assert one.reading_error == pytest.approx(-0.05)
    assert one.reading_error_uncertainty == pytest.approx(0.02)  # reading for reading, at 100 %


def test_the_uncertainty_of_the_effect_goes_with_the_distance_from_the_zero_point() -> None:
    """1 % of a slope of 100 % at pH 4, three from the zero point, is 0.03 pH; nothing at pH 7."""
    rows = [
        calibration(day, slope=parameter(100.0, 1.0 / math.sqrt(2.0), "%"), zero_point=parameter(7.0, 0.0, "pH"))
        for day in (1.0, 31.0)
    ]  # fmt: skip
    for level, spread in ((4.0, 0.03), (10.0, 0.03), (7.0, 0.0)):
        one = next(s for s in shifts(rows, PLANT, {"A": steady(level)}) if s.parameter == "slope")
        assert one.reading_error_uncertainty == pytest.approx(spread, abs=1e-4)


def test_the_effect_of_a_membrane_probe_is_worked_out_at_the_temperature_of_the_process() -> None:
    """A zero current of 0.6 nA at 0.3 nA/hPa is 2 hPa of oxygen; warmer, the membrane turns less of it into a reading."""
    rows = [
        calibration(
            day, "oxygen_saturation", slope=parameter(0.3, 0.001, "nA/hPa"), zero=parameter(zero, 0.1, "nA")
        )
        for day, zero in ((1.0, 0.0), (31.0, 0.6))
    ]
    cold, warm = (
        next(s for s in shifts(rows, PLANT, {"A": steady(50.0, temp)}) if s.parameter == "zero").reading_error
        for temp in (25.0, 45.0)
    )
    assert cold == pytest.approx(100.0 * 2.0 / 205.6, rel=0.01)  # of 205.6 hPa in moist air
    assert warm == pytest.approx(
        cold * math.exp(-0.6) * 205.6 / (0.2095 * (1013.25 - 95.9)), rel=0.01
    )  # 95.9 hPa of water


def test_the_level_is_that_of_the_point_where_the_probe_stood_not_where_it_was_calibrated() -> None:
    stays = (
        Installation(probe="S0", point="B", start=0, end=20 * DAY),
        Installation(probe="S0", point="A", start=20 * DAY, end=29 * DAY),
        Installation(probe="S0", point="B", start=31 * DAY),
        Installation(probe="S9", point="B", start=20 * DAY),
    )
    plant = replace(PLANT, installations=stays)
    slopes = [calibration(day, probe="S0", point=point, slope=parameter(slope, 0.5, "%"), zero_point=parameter(7.0, 0.01, "pH")) for day, point, slope in ((1.0, "B", 100.0), (31.0, "B", 90.0))]  # fmt: skip
    levels = {"A": steady(4.0), "B": steady(10.0)}
    one = next(s for s in shifts(slopes, plant, levels) if s.parameter == "slope")
    assert one.reading_error > 0.25  # pH 4 is read too high, pH 10 would be too low
    nowhere = next(s for s in shifts(slopes, PLANT, levels) if s.parameter == "slope")
    assert nowhere.reading_error < -0.25


def test_calibrations_at_once_are_no_shift() -> None:
    rows = [calibration(1.0, zero_point=parameter(value, 0.01, "pH")) for value in (7.0, 7.1)]
    assert shifts(rows, PLANT, {}) == ()


def test_a_nameless_calibration_is_of_the_probe_that_sat_there() -> None:
    stays = (
        Installation(probe="S1", point="A", end=20 * DAY),
        Installation(probe="S2", point="A", start=20 * DAY),
    )
    plant = replace(PLANT, installations=stays)
    rows = [
        calibration(day, probe=probe, zero_point=parameter(7.0 + day / 100, 0.01, "pH"))
        for day, probe in ((1.0, "S1"), (10.0, ""), (30.0, ""), (40.0, "S2"))
    ]
    assert [(s.probe, s.start, s.end) for s in shifts(rows, plant, {})] == [
        ("S1", DAY, 10 * DAY),
        ("S2", 30 * DAY, 40 * DAY),
    ]
    assert [[c.time for c in one] for one in histories(rows)] == [
        [DAY],
        [10 * DAY, 30 * DAY],
        [40 * DAY],
    ]


def test_a_number_that_is_also_the_name_of_a_point_is_not_that_point() -> None:
    rows = [
        calibration(1.0, probe="A", zero_point=parameter(7.0)),
        calibration(9.0, probe="", zero_point=parameter(7.1)),
    ]
    assert len(histories(rows)) == 2


def test_twenty_five_shifts_that_scatter_by_half_of_what_was_assumed() -> None:
    """Fifteen assumed and twenty-five at half: at their median, 0.25 and 2.33 standard errors over five of it, so the square is
    (15 + 25 x 0.3665 x 1.466) / 40 of the assumed one, if the median square is 0.25 (0.25 / 0.4549 = 0.5496)."""
    found = zeros(*[(0.01 * (-1) ** n, 0.02) for n in range(25)], levels={"A": steady(4.0)})
    share = math.sqrt((15.0 + 25.0 * 0.25 / 0.4549 * (1.0 + 2.33 / 5.0)) / 40.0)
    assert share < 0.95
    alone = zeros((0.01, 0.02), levels={"A": steady(4.0)})[0]
    for one in found:
        assert one.uncertainty == pytest.approx(0.02 * share)
        assert one.reading_error_uncertainty == pytest.approx(alone.reading_error_uncertainty * share)
        assert one.p_value == pytest.approx(math.erfc(0.5 / share / math.sqrt(2.0)))
        assert not one.significant


def test_however_well_a_log_repeats_half_of_the_assumed_uncertainty_stays() -> None:
    found = zeros(*[(1e-6, 0.02)] * 200, (0.027, 0.02))
    assert {round(s.uncertainty, 12) for s in found} == {0.01}
    assert [s.significant for s in found if s.change > 0.01] == [
        True
    ]  # 2.7 of the halved, 1.35 of the assumed


def test_figures_written_down_twice_teach_nothing_of_the_scatter() -> None:
    found = zeros(*[(0.0, 0.02)] * 200, (0.02, 0.02))
    assert {round(s.uncertainty, 12) for s in found} == {0.02}


def test_what_one_kind_repeats_says_nothing_of_another() -> None:
    fine = [
        calibration(day, "redox", probe=f"R{n}", offset=parameter(0.001 * day, 1.0, "mV"))
        for n in range(100)
        for day in (1.0, 31.0)
    ]
    other = [
        calibration(day, probe="S1", zero_point=parameter(7.0 + day / 100, 0.1, "pH")) for day in (1.0, 31.0)
    ]
    made = {s.measurand: s.uncertainty for s in shifts([*fine, *other], PLANT, {})}
    assert made["redox"] < 0.8
    assert made["ph"] == pytest.approx(0.1 * math.sqrt(2.0))


@pytest.mark.parametrize(
    ("before", "after", "same"),
    [
        (parameter(1.0), parameter(2.0), True),
        (parameter(1.0), parameter(2.0, basis="entered"), True),
        (parameter(1.0, basis="relative"), parameter(2.0, basis="relative"), True),
        (parameter(1.0, basis="relative"), parameter(2.0), False),
        (parameter(1.0), parameter(2.0, basis="relative"), False),
        (parameter(1.0), parameter(2.0, basis="kept"), False),
        (parameter(1.0), parameter(2.0, unit="%"), False),
        (parameter(math.nan), parameter(2.0), False),
        (parameter(1.0), parameter(math.inf), False),
    ],
)
def test_what_can_be_compared(before: Parameter, after: Parameter, same: bool) -> None:
    assert comparable(before, after) == same


def test_how_many_would_be_called_changed_by_chance() -> None:
    """Sixty tests at one in a hundred are 0.6; two of these sixty did change."""
    found = zeros(*[(0.01, 0.02)] * 58, (0.5, 0.02), (-0.5, 0.02))
    told = chance_remark(found)
    assert told is not None
    assert told.subject == "calibration shifts"
    assert told.what == "2 of 60 shifts are called significant at the 1% level, each tested by itself"
    assert told.why == "chance alone would call about 0.6 of 60 unchanged parameters changed"


def ramp() -> Levels:
    time = np.arange(10, dtype=np.int64) * DAY
    return Levels(time=time, value=np.arange(10.0), temperature=20.0 + np.arange(10.0))


def test_a_level_is_the_median_from_the_begin_up_to_before_the_end() -> None:
    levels = {"P": ramp(), "one": Levels(time=np.array([4 * DAY]), value=np.array([4.0]), temperature=np.array([30.0]))}  # fmt: skip
    assert level_between(levels, "P", 3 * DAY, 6 * DAY) == (4.0, 24.0)
    assert level_between(levels, "P", 3 * DAY + 1, 6 * DAY) == (4.5, 24.5)
    assert level_before(levels, "one", 5 * DAY, since=0) == (4.0, 30.0)
    assert level_before(levels, "P", 9 * DAY, since=0) == (7.0, 27.0)  # of days 6, 7 and 8
    assert level_before(levels, "P", 9 * DAY, since=8 * DAY) == (8.0, 28.0)


def test_a_record_without_temperatures_has_a_level_and_no_temperature() -> None:
    bare = replace(ramp(), temperature=np.empty(0))
    value, temp = level_between({"P": bare}, "P", 3 * DAY, 6 * DAY)
    assert value == 4.0
    assert math.isnan(temp)


REGISTER = Plant(
    points=(Point(name="A1", measurand="ph"),),
    probes=(Probe(serial="P1", measurand="ph"),),
    installations=(
        Installation(probe="P2", point="A1", end=5),
        Installation(probe="P3", point="A1", start=5),
    ),
)


def of(time: int, probe: str) -> CalibrationEntry:
    return CalibrationEntry(time=time, file="log.csv", line=time, point="A1", probe=probe)


@pytest.mark.parametrize("last", ["P1", "P2", "P3"])
def test_a_probe_is_known_by_the_register_or_by_its_stay(last: str) -> None:
    kept, told = set_aside([of(2, "X"), of(7, "Y"), of(9, last), of(8, "P1")], REGISTER)
    assert [row.time for row in kept] == [9, 8]
    assert "P2 sat there" in told[0].why
    assert "P3 sat there" in told[1].why


def test_an_entry_as_late_as_the_last_known_one_is_kept() -> None:
    entries = [of(9, "X"), of(9, "P3"), of(3, "P2")]
    assert set_aside(entries, REGISTER) == (tuple(entries), ())


def test_the_newest_known_entry_is_the_newest_in_time_wherever_it_stands_in_the_log() -> None:
    kept, told = set_aside([of(9, "P3"), of(4, "P2"), of(7, "X")], REGISTER)
    assert [row.time for row in kept] == [9, 4]
    assert len(told) == 1
