"""An entry held against itself and against the one before it: what is told, and what is let pass."""

from __future__ import annotations

import math

import pytest

from excursions.calibrations import evaluate
from excursions.calibrations.checks import agrees
from excursions.calibrations.entries import occasions
from excursions.calibrations.habits import habits
from excursions.records import Calibration, CalibrationEntry, StandardReading
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


def only(*entries: CalibrationEntry) -> Calibration:
    return evaluate(entries, PLANT)[-1]


BUFFERS = (4.01, 7.0, 9.18, 10.01, 1.68, 6.86)


def read_twice(
    *readings: float, at: tuple[float, ...] = BUFFERS, point: str = "ph", unit: str = "pH"
) -> bool:
    """Whether readings that repeat beside another slope count as copied, each standard at 21.3 °C."""
    rows = [
        entry(
            point, day, *(standard(value, raw, unit=unit, raw_unit=unit, temp=21.3) for value, raw in zip(at, readings, strict=False)),
            slope=slope,
        )
        for day, slope in ((1.0, 99.3), (30.0, 98.1))
    ]  # fmt: skip
    return evaluate(rows, PLANT)[1].copied


@pytest.mark.parametrize(
    ("readings", "copied"),
    [
        # A pH read to 0.01 with a scatter of 0.01 repeats in 0.28 of cases, to 0.001 in 0.028; told below 0.001.
        ((4.03, 7.02), False),
        ((4.032, 7.021), True),  # 0.0008
        ((4.032, 7.02), True),  # the last zero was not written
        ((4.032,), False),
        ((4.0321,), False),  # 0.0028
        ((4.03211,), True),  # 0.00028
        ((4.03, 7.02, 9.19, 10.03, 1.69), False),  # 0.0018
        ((4.03, 7.02, 9.19, 10.03, 1.69, 6.88), True),  # 0.0005
        ((4.1, 7.1, 9.2, 10.1, 1.7, 6.9), False),  # as coarse as that, they repeat always
    ],
)
def test_readings_so_fine_that_they_never_repeat_by_themselves_were_copied(
    readings: tuple[float, ...], copied: bool
) -> None:
    assert read_twice(*readings) == copied


@pytest.mark.parametrize(("reading", "copied"), [(400.12, True), (400.1, False), (40.12, False)])
def test_large_readings_scatter_more_so_that_the_same_digits_say_more(reading: float, copied: bool) -> None:
    """1 % of 400 NTU and 0.02: to 0.01 that repeats in 0.0007 of cases, to 0.1 in 0.007; of 40 NTU in 0.0067."""
    at = (400.0,) if reading > 100.0 else (40.0,)
    assert read_twice(reading, at=at, point="turbidity", unit="NTU") == copied


@pytest.mark.parametrize(("raw", "told"), [(4.06, False), (4.07, True), (3.96, False), (3.95, True)])
def test_a_buffer_read_0_05_ph_off_after_the_adjustment_passes_and_more_does_not(
    raw: float, told: bool
) -> None:
    """EPA SW-846 9040C (from memory): within 0.05 pH, a figure of two digits rounded."""
    made = only(entry("ph", 1.0, *buffers(7.0, raw, raw_unit="pH")))
    assert any("read in buffer 4.01, 0.05 pH allowed" in check for check in made.checks) == told


def test_a_sample_and_a_signal_are_no_reading_in_a_buffer() -> None:
    sample = standard(7.0, 7.6, unit="pH", raw_unit="pH", label="sample")
    assert not any("read in buffer" in check for check in only(entry("ph", 1.0, sample)).checks)
    assert not any("read in buffer" in c for c in only(entry("ph", 1.0, *buffers(0.0, 176.0))).checks)


def test_each_figure_is_held_against_the_raw_values_whatever_another_says() -> None:
    """-1.2 and 176.9 mV are 100.7 % and pH 6.98: a slope nobody can read hides no zero point that is wrong."""
    made = only(entry("ph", 1.0, *buffers(-1.2, 176.9), slope=math.nan, zero_point=6.5))
    assert [check for check in made.checks if "entered" in check] == [
        "as left: zero point entered 6.5, raw values give 6.98 pH"
    ]
    wrong = only(entry("ph", 1.0, *buffers(-1.2, 176.9), slope=93.0))
    assert [check for check in wrong.checks if "entered" in check] == [
        "as left: slope entered 93, raw values give 100.7 %"
    ]


@pytest.mark.parametrize(
    ("name", "entered", "computed", "same"),
    [
        ("zero_point", 6.986, 7.0, True),
        ("zero_point", 6.98, 7.0, False),
        ("offset", 10.0, 11.4, True),
        ("offset", 10.0, 12.0, False),
        ("zero", 0.0, 0.019, True),
        ("zero", 0.0, 0.03, False),
        ("span", 101.0, 100.0, True),  # 1 % where nothing is known of how it is written
        ("span", 102.0, 100.0, False),
        ("span", -99.5, -100.0, True),
    ],
)
def test_how_far_a_figure_may_lie_from_the_raw_values(
    name: str, entered: float, computed: float, same: bool
) -> None:
    assert agrees(name, entered, computed) == same


@pytest.mark.parametrize(
    ("point", "pair", "unit", "raw_unit", "wide"),
    [
        ("ph", (6.86, 7.4), "pH", "mV", True),
        ("ph", (7.0, 7.4), "pH", "mV", False),  # half a pH at least
        ("co2_pressure", (100.0, 150.0), "mbar", "mV", True),
        ("co2_pressure", (100.0, 130.0), "mbar", "mV", False),  # a factor of 1.4 at least
        ("turbidity", (20.0, 21.2), "NTU", "counts", True),
        ("turbidity", (20.0, 20.9), "NTU", "counts", False),  # 5 % at least
        ("turbidity", (2000.0, 2090.0), "NTU", "counts", False),
        ("oxygen_saturation", (0.0, 100.0), "%", "deg", True),
        ("oxygen_saturation", (97.0, 100.0), "%", "deg", False),
    ],
)
def test_how_far_apart_standards_must_be_to_give_a_slope(
    point: str, pair: tuple[float, float], unit: str, raw_unit: str, wide: bool
) -> None:
    rows = tuple(
        standard(value, raw, unit=unit, raw_unit=raw_unit)
        for value, raw in zip(pair, (25.0, 58.0) if point == "co2_pressure" else (58.0, 25.0), strict=True)
    )
    made = only(entry(point, 1.0, *rows))
    assert any("too close together" in check for check in made.checks) != wide
    steep = {"slope", "gain"} & set(made.as_found)
    assert (len(made.as_found) == 2) == wide
    assert bool(steep) == (wide or point == "turbidity")  # one level of turbidity gives the gain


def remarks(value: float, temp: float, label: str = "") -> list[str]:
    seen = standard(value, 0.0, unit="pH", raw_unit="mV", temp=temp, label=label)
    return [check for check in only(entry("ph", 1.0, seen)).checks if "slope" not in check]


def test_what_is_said_of_a_buffer_whose_value_is_not_sure() -> None:
    assert remarks(7.0, 21.0) == []
    assert any("temperature" in check for check in remarks(7.0, math.nan))
    assert any("no published" in check for check in remarks(5.5, 21.0))


def turbid(day: float, gain: float, *, zero: float = 0.1, span: float = 18.1) -> CalibrationEntry:
    return entry(
        "turbidity", day, standard(0.0, zero, unit="NTU", raw_unit="NTU"), standard(20.0, span, unit="NTU", raw_unit="NTU"), gain=gain,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("gains", "raw"),
    [
        ((0.9,), True),
        ((1.11,), False),
        ((0.9, 1.11), False),  # one for, one against
        ((1.11, 0.9), False),
        ((0.9, 0.9, 1.11), True),
        ((0.9, 1.11, 1.11), False),
    ],
)
def test_readings_are_raw_where_most_figures_follow_from_them(gains: tuple[float, ...], raw: bool) -> None:
    """0.1 and 18.1 in 0 and 20 NTU: as raw values a gain of 0.9, as readings a sensor to be turned up to 1.11."""
    rows = [turbid(float(day), gain) for day, gain in enumerate(gains)]
    assert habits(occasions(rows, PLANT)).raw_like == (frozenset({"S1"}) if raw else frozenset())


def test_readings_that_meet_their_standards_do_not_tell_whether_they_are_raw() -> None:
    rows = [turbid(1.0, 1.0, zero=0.0, span=20.0), turbid(2.0, 1.11)]
    assert habits(occasions(rows, PLANT)).raw_like == frozenset()
    rows = [turbid(1.0, 1.5, zero=0.0, span=20.0), turbid(2.0, 0.9)]
    assert habits(occasions(rows, PLANT)).raw_like == frozenset({"S1"})


def test_only_a_row_found_and_a_row_left_in_the_same_standards_show_how_well_values_repeat() -> None:
    def pair(day: float, off: float, *, temp: float = 25.0, acid: float = 4.01) -> list[CalibrationEntry]:
        left: tuple[StandardReading, ...] = (
            standard(7.0, off, unit="pH", raw_unit="mV", temp=temp),
            standard(acid, 176.9 + off, unit="pH", raw_unit="mV", temp=temp),
        )
        return [entry("ph", day, *buffers(0.0, 176.9), phase="as_found"), entry("ph", day, *left)]

    def learned(**other: float) -> set[str]:
        return set(habits(occasions([row for d in range(5) for row in pair(float(d), 0.4, **other)], PLANT)).repeat)  # fmt: skip

    assert learned() == {"ph"}
    assert learned(temp=25.2) == {"ph"}
    assert learned(temp=26.0) == set()
    assert learned(acid=9.18) == set()


@pytest.mark.parametrize(
    ("row", "off"),
    [
        # 59.16 mV a pH at 25 degC and 4.01, 7.00, 10.00 as a set: the middle one 6 mV high.  A line takes a third of it up
        # and leaves 4 mV, over 0.5 mV and 0.005 pH (0.3 mV), 0.58 mV together, of which the bottle's part goes with the slope.
        (
            entry(
                "ph", 1.0, standard(4.0, 177.5, unit="pH", raw_unit="mV"), standard(7.0, 6.0, unit="pH", raw_unit="mV"),
                standard(10.0, -177.5, unit="pH", raw_unit="mV"),
            ),
            6.9,
        ),
        # 20 mV and 8 mV off: six of a mean of 14 on both sides, over 2 mV of hand and 2 mV of bottle.
        (
            entry(
                "redox", 1.0, standard(220.0, 240.0, unit="mV", raw_unit="mV"), standard(470.0, 478.0, unit="mV", raw_unit="mV")
            ),
            2.1,
        ),
        # Cell constants of 1 and 1.1: 1.0488 is their geometric mean, and 1413 uS are 65.8 from what it gives, over 4.2 uS of
        # hand and 5.7 of bottle and temperature.
        (
            entry(
                "conductivity", 1.0, standard(1413.0, 1413.0, unit="uS/cm", raw_unit="uS"),
                standard(1413.0, 1284.5, unit="uS/cm", raw_unit="uS"),
            ),
            9.2,
        ),
        # 0, 10 and 20 NTU at 100 counts a NTU, the middle one 60 counts high: 20 are left at zero, where the standard is known to
        # 0.02 NTU or 2 counts (and 40 in the middle, over 1 % of hand and 1 % of bottle, which is less).
        (
            entry(
                "turbidity", 1.0, standard(0.0, 0.0, unit="NTU", raw_unit="counts"), standard(10.0, 1060.0, unit="NTU", raw_unit="counts"),
                standard(20.0, 2000.0, unit="NTU", raw_unit="counts"),
            ),
            10.0,
        ),
    ],
    ids=["ph", "redox", "conductivity", "turbidity"],
)  # fmt: skip
def test_standards_that_do_not_agree_are_told_by_how_much(row: CalibrationEntry, off: float) -> None:
    told = [check for check in only(row).checks if "do not agree" in check]
    if off <= 3.0:
        assert told == []
    else:
        assert told == [
            f"as left: the standards do not agree with one another (worst one off by {off:.1f} uncertainties)"
        ]


def test_a_slope_that_is_not_known_leaves_the_offset_to_the_whole_of_nernst() -> None:
    """30.5 mV at pH 7 over 59.16 is 0.5155 pH: beyond 30 mV with a slope of 100 % or none, within at 98 %."""
    zero = 7.0 + 30.5 / 59.1593
    for figures, told in (({}, True), ({"slope": 100.0}, True), ({"slope": 98.0}, False)):
        made = only(entry("ph", 1.0, zero_point=zero, **figures))
        assert any("+30 mV at pH 7" in check or "+31 mV at pH 7" in check for check in made.checks) == told


def test_a_gain_is_told_with_its_bounds_and_a_ph_slope_is_no_gain() -> None:
    assert only(entry("turbidity", 1.0, gain=0.5)).checks == (
        "as left: gain 0.50 far from 1 (common practice: 0.7 to 1.3)",
    )
    assert only(entry("oxygen", 1.0, slope=65.0)).checks == (
        "as left: gain 0.65 far from 1 (common practice: 0.7 to 1.3)",
    )
    assert not any("gain" in check for check in only(entry("ph", 1.0, slope=65.0)).checks)
    current = entry("oxygen", 1.0, **{"slope [na/hpa]": 0.3})
    assert not any("gain" in check for check in only(current).checks)


@pytest.mark.parametrize(("figures", "copied"), [({"slope": 97.31}, False), ({"slope": 97.31, "zero_point": 6.94}, True)])  # fmt: skip
def test_one_figure_may_repeat_by_chance_and_two_written_finely_do_not(
    figures: dict[str, float], copied: bool
) -> None:
    seen = evaluate([entry("ph", day, **figures) for day in (1.0, 30.0)], PLANT)
    assert [c.copied for c in seen] == [False, copied]


@pytest.mark.parametrize(("said", "copied"), [((97.6, 97.6), False), ((97.6, 95.2), True)])
def test_two_rounded_figures_of_a_steady_probe_repeat_by_themselves_and_four_do_not(
    said: tuple[float, float], copied: bool
) -> None:
    rows = [
        entry("ph", day, slope=slope, zero_point=zero, phase=phase)
        for day in (1.0, 30.0)
        for phase, slope, zero in (
            ("as_found", said[0], 6.56),
            ("as_left", said[1], 6.98 if copied else 6.56),
        )
    ]
    assert [c.copied for c in evaluate(rows, PLANT)] == [False, copied]
