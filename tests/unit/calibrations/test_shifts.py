"""What is compared with what, and what it does to the reading."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.calibrations import SIGNIFICANCE, chance_remark, evaluate, shifts
from excursions.calibrations.shifts import _as_repeated
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.plant import Installation, Plant
from excursions.records import Shift
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


def level(value: float, *, days: int = 60, temp: float = 25.0) -> Levels:
    time = np.arange(0, days * 24, dtype=np.int64) * NS_PER_HOUR
    return Levels(time=time, value=np.full(time.size, value), temperature=np.full(time.size, temp))


def found(*rows: object, plant: Plant = PLANT, **levels: Levels) -> dict[str, Shift]:
    return {s.parameter: s for s in shifts(evaluate(rows, plant), plant, levels)}  # type: ignore[arg-type]


def test_as_found_now_is_compared_with_as_left_before() -> None:
    rows = (
        entry("ph", 1.0, *buffers(20.0, 196.0), phase="as_found"),
        entry("ph", 1.01, *buffers(0.0, 176.0)),
        entry("ph", 31.0, *buffers(10.0, 186.0), phase="as_found"),
    )
    zero = found(*rows, ph=level(7.0))["zero_point"]
    assert zero.change == pytest.approx(10.0 / 58.86, rel=0.01)
    assert zero.reading_error == pytest.approx(-zero.change, rel=1e-6)
    assert zero.significant
    assert zero.start == entry("ph", 1.01).time


def test_after_a_verification_what_it_found_is_the_start() -> None:
    rows = (
        entry("ph", 1.0, *buffers(0.0, 176.0)),
        entry("ph", 15.0, *buffers(10.0, 186.0), phase="as_found", action="verification"),
        entry("ph", 30.0, *buffers(10.5, 186.5), phase="as_found"),
    )
    last = [s for s in shifts(evaluate(rows, PLANT), PLANT, {}) if s.parameter == "zero_point"][-1]
    assert last.change == pytest.approx(0.5 / 58.86, rel=0.01)
    assert not last.significant


def test_a_parameter_that_was_kept_is_compared_with_when_it_was_found() -> None:
    rows = (
        entry("ph", 1.0, *buffers(0.0, 176.0)),
        entry("ph", 15.0, standard(7.0, 3.0, unit="pH", raw_unit="mV")),
        entry("ph", 30.0, *buffers(3.0, 170.0)),
    )
    made = found(*rows)
    assert made["slope"].start == entry("ph", 1.0).time
    assert made["zero_point"].start == entry("ph", 15.0).time


def test_a_copy_measured_nothing() -> None:
    rows = [entry("ph", d, *buffers(0.0, 176.0, temp=21.0)) for d in (1.0, 15.0)]
    made = found(*rows, entry("ph", 30.0, *buffers(5.0, 176.0)))
    assert made["zero_point"].start == entry("ph", 1.0).time


def test_relative_and_absolute_figures_are_not_compared() -> None:
    rows = (entry("ph", 1.0, *buffers(7.0, 4.01, raw_unit="pH")), entry("ph", 30.0, *buffers(20.0, 180.0)))
    assert found(*rows) == {}


def test_probes_are_not_mixed_at_a_point() -> None:
    rows = (entry("ph", 1.0, *buffers(0.0, 176.0)), entry("ph", 30.0, *buffers(20.0, 180.0), probe="S2"))
    assert found(*rows) == {}


def test_a_known_swap_parts_a_nameless_history() -> None:
    stays = tuple(
        Installation(probe=name, point="ph", start=start, end=end)
        for name, start, end in (("A", None, 20 * NS_PER_DAY), ("B", 20 * NS_PER_DAY, None))
    )
    plant = Plant(points=PLANT.points, installations=stays)
    rows = [entry("ph", d, *buffers(d, 176.0), probe="") for d in (1.0, 10.0, 30.0)]
    (first,) = (s for s in shifts(evaluate(rows, plant), plant, {}) if s.parameter == "slope")
    assert first.probe == "A"


def test_slope_error_is_told_where_the_process_sat() -> None:
    """Slope 100 to 90 % at pH 4.3 with zero 7: the reading is 0.3 too high (by hand)."""
    rows = (entry("ph", 1.0, slope=100.0, zero_point=7.0), entry("ph", 30.0, slope=90.0, zero_point=7.0))
    assert found(*rows, ph=level(4.3))["slope"].reading_error == pytest.approx(0.3, abs=1e-9)
    assert math.isnan(found(*rows)["slope"].reading_error)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_in_a_hundred_unchanged_parameters_is_called_changed(seed: int) -> None:
    """Noise of the size the tool assumes: 0.5 mV and a bottle 0.005 pH off; binomial bounds at 1e-4."""
    random = np.random.default_rng(seed)
    rows = []
    for probe in range(150):
        for day in (1.0, 31.0):
            off = random.normal(0.0, 0.5, 2) + 59.16 * random.normal(0.0, 0.005, 2)
            rows.append(entry("ph", day, *buffers(off[0], 176.9 + off[1]), probe=f"S{probe}"))
    called = sum(s.significant for s in shifts(evaluate(rows, PLANT), PLANT, {}))
    assert called <= 11  # P(X > 11) is 1e-4 for 300 tests at 0.01
    assert SIGNIFICANCE == 0.01


def test_the_number_called_by_chance_is_said() -> None:
    rows = (entry("ph", 1.0, *buffers(0.0, 176.0)), entry("ph", 30.0, *buffers(20.0, 180.0)))
    remark = chance_remark(shifts(evaluate(rows, PLANT), PLANT, {}))
    assert remark is not None
    assert "of 2 shifts" in remark.what
    assert chance_remark([]) is None


def test_shifts_that_scatter_by_less_than_was_assumed_have_a_smaller_uncertainty() -> None:
    """Sixty probes whose offset repeats to 1 mV where 2.8 mV are assumed: 1 / 2.8, drawn to one by fifteen shifts, is 0.55."""
    random = np.random.default_rng(7)
    rows = [
        entry(
            "redox",
            day,
            standard(220.0, 220.0 + random.normal(0.0, 0.7), unit="mV", raw_unit="mV"),
            probe=f"R{n}",
        )
        for n in range(60)
        for day in (1.0, 31.0)
    ]
    alone = found(*rows[:2])["offset"].uncertainty
    every = shifts(evaluate(rows, PLANT), PLANT, {})
    assert [s.uncertainty / alone for s in every] == pytest.approx([0.55] * 60, abs=0.06)
    wild = [
        entry(
            "redox", d, standard(220.0, 220.0 + 20.0 * n * (d > 1), unit="mV", raw_unit="mV"), probe=f"W{n}"
        )
        for n in range(1, 40)
        for d in (1.0, 31.0)
    ]
    assert shifts(evaluate(wild, PLANT), PLANT, {})[0].uncertainty == pytest.approx(
        found(*wild[:2])["offset"].uncertainty
    )


def test_a_scatter_learned_from_the_shifts_themselves_calls_no_more_of_them_changed() -> None:
    """Shifts that scatter just as assumed: a factor that may only make uncertainties smaller must not find 1.4 % instead of 1."""
    random = np.random.default_rng(1)
    called = total = 0
    for _ in range(300):
        made = _as_repeated([unchanged(x) for x in random.standard_normal(100).tolist()])
        called, total = called + sum(s.significant for s in made), total + len(made)
    assert called / total == pytest.approx(0.01, abs=0.0018)  # three standard errors of 30,000


def unchanged(change: float) -> Shift:
    return Shift(
        probe="S1", point="ph", measurand="ph", parameter="zero_point", unit="pH", start=0, end=NS_PER_DAY, before=7.0,
        after=7.0 + change, uncertainty=1.0, p_value=math.erfc(abs(change) / math.sqrt(2.0)), significant=abs(change) > 2.576,
    )  # fmt: skip
