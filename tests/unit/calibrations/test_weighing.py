"""How much the parameters say for a fresh probe: the odds themselves, against drawn histories and worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.calibrations.swaps import (
    CHANCE,
    DAMAGED,
    RESTORED,
    Habit,
    _habit,
    comes_back_fresh,
    fresh_figures,
    other_cell,
    swap_probability,
)
from excursions.clock import NS_PER_DAY
from excursions.records import Calibration, Parameter

SINCE_2024 = 19_723  # days


def calibration(day: float, measurand: str, **parameters: Parameter) -> Calibration:
    return Calibration(
        time=int((SINCE_2024 + day) * NS_PER_DAY), point="A1", probe="S1", measurand=measurand, action="calibration",
        as_found=parameters, as_left=parameters,
    )  # fmt: skip


def parameter(value: float, uncertainty: float, unit: str, basis: str = "computed") -> Parameter:
    return Parameter(value=value, uncertainty=uncertainty, unit=unit, basis=basis)


def probability(
    measurand: str, name: str, unit: str, values: tuple[float, float], spread: float, *, days: float = 60.0
) -> float:
    """Of a swap, from one parameter before and after."""
    before, after = (
        calibration(day, measurand, **{name: parameter(value, spread, unit)})
        for day, value in zip((0.0, days), values, strict=True)
    )
    return swap_probability(before, after)


# measurand, parameter, unit, value of the old probe, uncertainty of a calibration
KINDS = [
    ("ph", "slope", "%", 96.0, 0.5),
    ("ph", "zero_point", "pH", 7.2, 0.02),
    ("redox", "offset", "mV", 12.0, 2.0),
    ("oxygen_saturation", "zero", "deg", 55.0, 0.2),
    ("oxygen", "slope", "nA/hPa", 0.25, 0.004),
    ("oxygen", "slope", "%", 92.0, 1.0),
    ("turbidity", "gain", "", 0.94, 0.01),
]


def drawn(
    row: Habit, start: float, months: float, fresh: bool, random: np.random.Generator, n: int
) -> np.ndarray:
    """True values after so many months as the habit tells the story: aged, now and then damaged, or another probe."""
    if fresh:
        rise = start + np.abs(random.normal(0.0, row.spread, n))
        return random.normal(row.fresh, row.spread, n) if math.isfinite(row.fresh) else rise
    drift = row.monthly * months
    aged = start + random.normal(drift, math.sqrt(row.wander**2 * months + drift**2), n)
    kick, fate = random.normal(0.0, row.kick, n), random.random(n)
    restored = RESTORED if row.falls else 0.0
    damage = -np.abs(kick) if row.falls else kick
    return aged + np.where(fate < DAMAGED, damage, np.where(fate < DAMAGED + restored, kick, 0.0))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: " ".join(kind[:3]))
def test_of_probes_said_to_be_swapped_so_often_so_many_were(kind: tuple[str, str, str, float, float]) -> None:
    """Half of 1,600 pairs swapped: among pairs given a probability, so many are; four standard errors of a bin.

    The smoothed half of a normal law is not quite a damage seen through an uncertainty, which may cost 0.03.
    """
    measurand, name, unit, start, spread = kind
    row = _habit(measurand, name, unit)
    assert row is not None
    random, said, was = np.random.default_rng(11), [], []
    for fresh in (True, False):
        for value in drawn(row, start, 2.0, fresh, random, 800).tolist():
            noise = random.normal(0.0, spread, 2)
            p = probability(measurand, name, unit, (start + noise[0], value + noise[1]), spread)
            odds = p / (1.0 - p) * (1.0 - CHANCE) / CHANCE  # at even chances before looking
            said.append(odds / (1.0 + odds))
            was.append(fresh)
    given, swapped = np.array(said), np.array(was)
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
        inside = (given >= low) & (given < high)
        expected = given[inside]
        error = math.sqrt(float(np.sum(expected * (1.0 - expected)))) / max(int(inside.sum()), 1)
        if expected.size > 20:
            assert swapped[inside].mean() == pytest.approx(expected.mean(), abs=4.0 * error + 0.03)
    assert given[swapped].mean() > given[~swapped].mean() + 0.2


@pytest.mark.parametrize(
    ("kind", "values", "spread", "expected"),
    [
        (("ph", "slope", "%"), (95.0, 97.2), 0.5, 0.4640),
        (("ph", "slope", "%"), (97.0, 93.5), 0.5, 0.00120),
        (("ph", "zero_point", "pH"), (7.3, 7.1), 0.02, 0.4121),
        (("redox", "offset", "mV"), (20.0, 4.0), 2.0, 0.6086),
        (("oxygen", "slope", "nA/hPa"), (0.25, 0.28), 0.004, 0.9435),
        (("oxygen", "slope", "nA/hPa"), (0.25, 0.253), 0.004, 0.01949),
        (("oxygen_saturation", "zero", "deg"), (55.0, 56.0), 0.2, 0.6781),
        (("oxygen", "slope", "%"), (90.0, 96.0), 1.0, 0.6714),
        (("turbidity", "gain", ""), (0.94, 1.0), 0.01, 0.5570),
        (("turbidity", "zero", "NTU"), (0.3, 0.02), 0.02, 0.7825),
    ],
)
def test_the_odds_after_sixty_days_as_worked_outside_the_house(
    kind: tuple[str, str, str], values: tuple[float, float], spread: float, expected: float
) -> None:
    """The same story told with the normal and the skew normal law of a statistics library."""
    assert probability(*kind, values, spread) == pytest.approx(expected, rel=2e-3)


def test_the_longer_between_two_calibrations_the_less_a_slope_that_came_back_says() -> None:
    near, far = (probability("oxygen", "slope", "%", (90.0, 96.0), 1.0, days=days) for days in (10.0, 360.0))
    assert near > 0.9 > far


def test_two_calibrations_of_one_hour_are_weighed_as_those_of_one_day() -> None:
    """Nothing ages within a day, so that time must not make a scatter impossible."""
    hour, day = (probability("oxygen", "slope", "%", (90.0, 92.0), 1.0, days=days) for days in (1 / 24, 0.9))
    assert hour == pytest.approx(day)


def test_parameters_speak_together() -> None:
    """Slope 95 to 97.2 % and zero point 7.3 to 7.1, each undecided by itself: 16.45 and 13.32 times as likely fresh."""
    (one, two) = (
        calibration(day, "ph", slope=parameter(slope, 0.5, "%"), zero_point=parameter(zero, 0.02, "pH"))
        for day, slope, zero in ((0.0, 95.0, 7.3), (60.0, 97.2, 7.1))
    )
    odds = 0.05 / 0.95 * 16.45 * 13.32
    assert swap_probability(one, two) == pytest.approx(odds / (1.0 + odds), rel=1e-3)


def test_what_was_found_stands_in_where_nothing_was_left() -> None:
    one, two = (
        calibration(day, "ph", slope=parameter(value, 0.5, "%")) for day, value in ((0.0, 93.0), (60.0, 99.0))
    )
    verified = replace(one, as_left={}, action="verification")
    assert swap_probability(verified, two) == swap_probability(one, two) > 0.9
    adjusted = replace(one, as_found={"slope": parameter(80.0, 0.5, "%")})
    assert swap_probability(adjusted, two) == swap_probability(one, two)


def test_a_turbidity_sensor_found_dirty_and_left_so_looks_fresh_when_it_is_clean() -> None:
    dirty, clean = (
        calibration(day, "turbidity", zero=parameter(zero, 0.02, "NTU"))
        for day, zero in ((0.0, 0.6), (60.0, 0.0))
    )
    assert swap_probability(dirty, clean) > 0.8
    assert swap_probability(replace(dirty, as_left={}), clean) == 0.0


@pytest.mark.parametrize(
    "found",
    [
        parameter(99.0, 0.5, "%", basis="relative"),
        parameter(99.0, 0.5, "mV/pH"),
        parameter(math.nan, 0.5, "%"),
    ],
    ids=["readings", "unit", "unknown"],
)
def test_what_cannot_be_compared_leaves_the_chance_before_looking(found: Parameter) -> None:
    one, two = (
        calibration(0.0, "ph", slope=parameter(90.0, 0.5, "%", basis=found.basis)),
        calibration(60.0, "ph", slope=found),
    )
    assert swap_probability(one, two) == pytest.approx(CHANCE)
    assert swap_probability(calibration(0.0, "ph"), two) == pytest.approx(CHANCE)


@pytest.mark.parametrize(
    ("kind", "figures", "back"),
    [
        (("ph", "slope", "%"), (99.0, 1.5), (99.0, 1.5)),
        (("oxygen", "slope", "%"), (100.0, 4.0), (100.0, 4.0)),
        (("oxygen_saturation", "slope", "%"), (100.0, 4.0), (100.0, 4.0)),
        (("redox", "offset", "mV"), (0.0, 6.0), None),  # damage may raise it too
        (("turbidity", "gain", ""), (1.0, 0.03), None),
        (("oxygen", "slope", "nA/hPa"), None, None),  # models differ
        (("conductivity", "cell_constant", "1/cm"), None, None),
    ],
)
def test_where_the_figures_of_a_fresh_probe_are_known(
    kind: tuple[str, str, str], figures: tuple[float, float] | None, back: tuple[float, float] | None
) -> None:
    assert fresh_figures(*kind) == figures
    assert comes_back_fresh(*kind) == back


def cells(
    before: float, after: float, spread: float = 0.004, basis: str = "computed"
) -> tuple[Calibration, Calibration]:
    one, two = (
        calibration(day, "conductivity", cell_constant=parameter(value, spread, "1/cm", basis))
        for day, value in ((0.0, before), (60.0, after))
    )
    return one, two


def test_what_is_said_of_a_cell_constant_that_jumps() -> None:
    told = other_cell(*cells(0.98765, 0.61234))
    assert told is not None
    assert told.subject == "A1"
    assert told.what == (
        "the cell constant moved by -38% between 2024-01-01T00:00:00Z and 2024-03-01T00:00:00Z: another probe or damage, which of them cannot be told"
    )
    assert told.why == "0.9877 before, 0.6123 1/cm after; cells of one kind differ by as much"
    assert "register" in told.option
    one, two = cells(0.98765, 0.61234)
    at_no_point = other_cell(one, replace(two, point=""))
    assert at_no_point is not None
    assert at_no_point.subject == "S1"


@pytest.mark.parametrize(
    ("pair", "told"),
    [
        (cells(1.0, 1.14), False),  # wear and coating move it by so much
        (cells(1.0, 1.16), True),
        (cells(1.0, 0.86), False),
        (cells(1.0, 0.84), True),
        (cells(0.1, 0.12), True),
        (cells(1.0, 1.2, spread=0.06), False),  # 0.2 is 2.4 times 0.06 and 0.06 taken together
        (cells(1.0, 1.2, spread=0.045), True),  # 3.1 times
        (cells(-1.0, 1.0), False),
        (cells(0.0, 1.0), False),
        (cells(1.0, math.nan), False),
        ((cells(1.0, 1.2)[0], cells(1.0, 1.2, basis="relative")[1]), False),
        ((calibration(0.0, "conductivity"), cells(1.0, 1.2)[1]), False),
        ((cells(1.0, 1.2)[0], calibration(60.0, "conductivity")), False),
    ],
)
def test_when_a_cell_constant_is_called_another(pair: tuple[Calibration, Calibration], told: bool) -> None:
    assert (other_cell(*pair) is not None) == told


def test_a_cell_constant_found_and_left_so_is_compared_too() -> None:
    one, two = cells(1.0, 1.2)
    assert other_cell(replace(one, as_left={}), two) is not None
    adjusted = replace(one, as_left={"cell_constant": parameter(1.2, 0.004, "1/cm")})
    assert other_cell(adjusted, two) is None
