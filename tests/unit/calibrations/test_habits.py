"""What a log shows of how it is kept, uncertainties and where the process sat."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.calibrations import evaluate, shifts
from excursions.calibrations.entries import occasions
from excursions.calibrations.habits import habits
from excursions.calibrations.levels import level_before, level_between
from excursions.calibrations.propagate import propagate
from excursions.calibrations.uncertainty import entered_uncertainty
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.measurands import MEASURANDS
from excursions.records import CalibrationEntry
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


@pytest.mark.parametrize(("noise", "low", "high"), [(0.5, 0.8, 1.25), (1.5, 2.0, 3.6), (0.1, 0.3, 0.6)])
def test_repeatability_is_learned_from_rows_found_and_left(noise: float, low: float, high: float) -> None:
    random = np.random.default_rng(5)
    rows = []
    for day in range(60):
        for phase in ("as_found", "as_left"):
            e = random.normal(0.0, noise, 2)
            rows.append(entry("ph", float(day), *buffers(e[0], 176.9 + e[1]), phase=phase))
    assert low <= habits(occasions(rows, PLANT)).repeat["ph"].span <= high


def test_cleaning_between_found_and_left_is_not_taken_for_scatter() -> None:
    random = np.random.default_rng(6)
    rows = []
    for day in range(40):
        dirt = 15.0 if day % 3 == 0 else 0.0
        for phase, shift in (("as_found", dirt), ("as_left", 0.0)):
            e = random.normal(0.0, 0.5, 2)
            rows.append(entry("ph", float(day), *buffers(e[0] + shift, 176.9 + e[1] + shift), phase=phase))
    assert habits(occasions(rows, PLANT)).repeat["ph"].span < 1.7


def test_values_written_twice_teach_nothing() -> None:
    rows = [
        entry("ph", float(d), *buffers(d, 176.9), phase=p) for d in range(40) for p in ("as_found", "as_left")
    ]
    assert habits(occasions(rows, PLANT)).repeat == {}


def test_uncertainty_goes_through_a_product_as_the_guide_has_it() -> None:
    """f = a b at (3, 4) with u = (0.1, 0.2): u(f)^2 = (4*0.1)^2 + (3*0.2)^2 (JCGM 100, 5.1.2)."""
    value, covariance = propagate(
        lambda x: np.array([x[0] * x[1]]), np.array([3.0, 4.0]), np.array([0.1, 0.2])
    )
    assert value[0] == pytest.approx(12.0)
    assert math.sqrt(covariance[0, 0]) == pytest.approx(math.hypot(0.4, 0.6))


def test_exact_inputs_add_nothing() -> None:
    _, covariance = propagate(lambda x: np.array([x[0], x[1]]), np.array([1.0, 2.0]), np.array([0.0, 0.5]))
    assert covariance == pytest.approx(np.array([[0.0, 0.0], [0.0, 0.25]]))


@pytest.mark.parametrize("key", sorted(MEASURANDS))
def test_every_measurand_has_its_assumed_uncertainties(key: str) -> None:
    assumed = MEASURANDS[key].assumed
    assert assumed.raw + assumed.raw_relative + assumed.reading + assumed.reading_relative > 0
    assert entered_uncertainty(key, "gain", 1.0, "") > 0


def line() -> Levels:
    time = np.arange(0, 20 * 24, dtype=np.int64) * NS_PER_HOUR
    value = np.where(time < 10 * NS_PER_DAY, 5.0, 7.0)
    value[-6:] = np.nan
    return Levels(time=time, value=value, temperature=np.full(time.size, 30.0))


def test_the_level_is_that_of_the_last_days() -> None:
    assert level_before({"P": line()}, "P", 20 * NS_PER_DAY, since=0) == (7.0, 30.0)


def test_the_level_falls_back_on_the_whole_span() -> None:
    gone = Levels(time=line().time[:48], value=line().value[:48], temperature=line().temperature[:48])
    assert level_before({"P": gone}, "P", 20 * NS_PER_DAY, since=0) == (5.0, 30.0)


def test_without_readings_there_is_no_level() -> None:
    assert all(math.isnan(x) for x in level_before({}, "P", 1, since=0))
    assert all(math.isnan(x) for x in level_between({"P": line()}, "P", 30 * NS_PER_DAY, 40 * NS_PER_DAY))


def test_zero_and_span_scatter_for_themselves() -> None:
    random = np.random.default_rng(7)
    rows = []
    for day in range(80):
        for phase in ("as_found", "as_left"):
            air = standard(100.0, 60.0 + random.normal(0.0, 0.6), unit="%", raw_unit="nA")
            zero = standard(0.0, random.normal(0.0, 0.02), unit="%", raw_unit="nA")
            rows.append(entry("oxygen_saturation", float(day), air, zero, phase=phase))
    repeat = habits(occasions(rows, PLANT)).repeat["oxygen_saturation"]
    assert repeat.span > 1.5
    assert repeat.zero < 0.6


def test_readings_against_samples_are_no_raw_signals_though_the_first_of_them_cannot_tell() -> None:
    """Zero 7.00 set: what it reads with and what a bare glass would read is the same; the third, read with 6.86, tells."""

    def by_sample(day: float, sample: float, shown: float, zero: float) -> CalibrationEntry:
        row = standard(sample, shown, unit="pH", raw_unit="pH", label="sample")
        return entry("ph", day, row, phase="as_found", zero_point=zero)

    rows = [
        by_sample(1.0, 7.76, 7.77, 7.0),
        by_sample(20.0, 7.79, 7.94, 6.86),
        by_sample(40.0, 7.82, 7.98, 6.69),
    ]
    made = evaluate(rows, PLANT)
    assert all("raw values give" not in " ".join(one.checks) for one in made)
    # Each found off by what it read too high: 0.15 and 0.16 pH.
    changes = [s.change for s in shifts(made, PLANT, {})]
    assert changes == pytest.approx([-0.15, -0.16], abs=0.015)


def test_beside_a_sample_stands_a_reading_where_the_log_has_raw_signals_of_standards() -> None:
    """Conductances at the bench; in the process what the transmitter shows, set to the laboratory's value with another constant."""

    def row(
        day: float, nominal: float, raw: float, phase: str, cell: float, label: str = ""
    ) -> CalibrationEntry:
        seen = standard(nominal, raw, unit="uS/cm", label=label)
        return entry("conductivity", day, seen, phase=phase, cell_constant=cell)

    rows = [
        row(1.0, 1413.0, 1345.7, "as_found", 1.05),
        row(1.0, 1413.0, 1345.7, "as_left", 1.05),
        row(30.0, 840.0, 800.0, "as_found", 1.05, "sample"),
        row(30.0, 840.0, 840.0, "as_left", 1.1025, "sample"),
        row(60.0, 1413.0, 1281.6, "as_found", 1.1025),
    ]
    made = evaluate(rows, PLANT)
    assert [one.as_found["cell_constant"].value for one in made] == pytest.approx(
        [1.05, 1.1025, 1.1025], rel=1e-3
    )
    assert made[1].as_left["cell_constant"].value == pytest.approx(1.1025)
