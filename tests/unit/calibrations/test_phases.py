"""As found, cleaned and as left: what each row of an occasion says, and what is carried to the next one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.calibrations import evaluate
from excursions.records import Calibration, CalibrationEntry, StandardReading
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


def made(*entries: CalibrationEntry) -> tuple[Calibration, ...]:
    return evaluate(entries, PLANT)


def found(day: float, at_7: float, at_4: float, unit: str = "mV", **more: str) -> CalibrationEntry:
    return entry("ph", day, *buffers(at_7, at_4, raw_unit=unit), phase="as_found", **more)


def left(day: float, at_7: float, at_4: float, unit: str = "mV", **figures: float) -> CalibrationEntry:
    return entry("ph", day, *buffers(at_7, at_4, raw_unit=unit), **figures)


def values(parameters: dict) -> dict[str, float]:
    return {name: p.value for name, p in parameters.items()}


def bases(calibration: Calibration) -> set[str]:
    return {p.basis for p in calibration.as_found.values()}


def test_an_occasion_carries_what_its_rows_say() -> None:
    rows = (
        replace(entry("ph", 1.0, phase="as_found", slope=97.0), comment="dirty"),
        replace(left(1.01, 0.0, 176.0), comment="dirty"),
        replace(found(2.0, 0.2, 176.3, action="verification"), comment="spot check"),
        replace(left(3.0, 0.0, 176.1), comment="new bottle"),
        entry("ph", 9.0, slope=97.0, zero_point=7.0),
    )
    first, check, last, bare = made(*rows)
    assert (first.comment, check.comment, last.comment, bare.comment) == (
        "dirty",
        "spot check",
        "new bottle",
        "",
    )
    assert (first.action, check.action) == ("calibration", "verification")
    assert first.standards == rows[1].standards
    assert check.standards == rows[2].standards
    assert bare.standards == ()
    both = made(replace(rows[2], action="calibration"), replace(rows[3], time=rows[2].time + 1))
    assert both[0].comment == "spot check; new bottle"


def test_what_cleaning_gave_back_is_told_and_what_was_found_is_the_dirty_probe() -> None:
    """12 mV over 58.9 mV a pH of dirt, 0.2 pH; then 3 mV without it, and none after the adjustment."""
    (one,) = made(found(1.0, 12.0, 188.0), found(1.01, 3.0, 179.0), left(1.02, 0.0, 176.0))
    assert one.as_found["zero_point"].value == pytest.approx(7.0 + 12.0 / 58.86, abs=1e-3)
    assert one.as_left["zero_point"].value == pytest.approx(7.0)
    assert "cleaning moved zero point from 7.204 to 7.051 pH" in one.checks


def test_an_entry_that_finds_one_probe_and_leaves_another_says_so() -> None:
    """An adjustment sets the transmitter; what is left of the probe is what was found, unless somebody changed it."""
    start = (entry("ph", 1.0, phase="as_left", slope=98.8, zero_point=7.48),)
    changed = (
        entry("ph", 30.0, phase="as_found", slope=96.8, zero_point=7.50),
        entry("ph", 30.01, phase="as_left", slope=98.9, zero_point=6.99),
    )
    words = "as left differs from as found by zero point −0.51 pH"
    assert any(check.startswith(words) for check in made(*start, *changed)[1].checks)
    same = (changed[0], replace(changed[1], figures={"slope": 96.9, "zero_point": 7.49}))
    settings = (
        replace(changed[0], figures=start[0].figures),
        changed[1],
    )  # what the transmitter had is no finding
    for rows in (same, settings):
        assert not any("differs from as found" in check for check in made(*start, *rows)[1].checks)


def test_the_clean_probe_is_read_through_the_same_parameters_as_the_dirty_one() -> None:
    """Transmitter at 98 % and pH 6.9: 7.1 and 4.02 are slope 98 x 3.08/2.99 and zero 7 - 0.2 x 2.99/3.08."""
    rows = (entry("ph", 1.0, slope=98.0, zero_point=6.9), found(30.0, 7.3, 4.2, "pH"), found(30.01, 7.1, 4.02, "pH"))  # fmt: skip
    one = made(*rows)[1]
    ratio = 3.08 / 2.99
    assert f"to {98.0 * ratio:.1f} %" in " ".join(one.checks)
    assert values(one.as_left) == pytest.approx({"slope": 98.0 * ratio, "zero_point": 7.0 - 0.2 / ratio})


def test_readings_after_the_adjustment_are_those_of_the_figures_entered_with_them() -> None:
    (one,) = made(left(1.0, 7.0, 4.01, "pH", slope=96.0, zero_point=6.85))
    assert values(one.as_left) == pytest.approx({"slope": 96.0, "zero_point": 6.85})
    assert {p.basis for p in one.as_left.values()} == {"computed"}
    (bare,) = made(left(1.0, 7.0, 4.01, "pH"))
    assert values(bare.as_left) == pytest.approx({"slope": 100.0, "zero_point": 7.0})
    assert {p.basis for p in bare.as_left.values()} == {"relative"}
    assert bare.as_found == {}  # what an adjusted transmitter shows says nothing of before


READ_LATER = found(30.0, 7.1, 4.11, "pH")


@pytest.mark.parametrize(
    ("before", "basis"),
    [
        ((left(1.0, 0.0, 176.0),), "computed"),
        ((entry("ph", 1.0, slope=98.0, zero_point=6.9),), "computed"),
        ((left(1.0, 7.0, 4.01, "pH"),), "relative"),
        ((found(1.0, 7.1, 4.1, "pH"),), "relative"),  # adjusted to the buffers, from who knows what
        ((found(1.0, 7.1, 4.1, "pH"), left(1.01, 0.0, 176.0)), "computed"),
        ((found(1.0, 0.0, 176.0), left(1.01, 7.0, 4.01, "pH")), "relative"),
        ((found(1.0, 0.0, 176.0),), "computed"),
        ((left(1.0, 0.0, 176.0), found(9.0, 7.3, 4.3, "pH", action="verification")), "computed"),
        ((left(1.0, 7.0, 4.01, "pH"), found(9.0, 2.0, 178.0, action="verification")), "relative"),
        ((), "relative"),
    ],
    ids=[
        "signals", "figures", "readings", "found by readings", "left by signals", "left by readings", "found by signals",
        "verified since", "verified by signals", "nothing",
    ],
)  # fmt: skip
def test_readings_are_absolute_where_it_is_known_what_the_transmitter_used(
    before: tuple[CalibrationEntry, ...], basis: str
) -> None:
    assert bases(made(*before, READ_LATER)[-1]) == {basis}


def test_a_verification_changes_nothing_in_the_transmitter() -> None:
    """Left at 98 % and pH 6.9, checked twice by the same readings: both times the same probe."""
    rows = (
        entry("ph", 1.0, slope=98.0, zero_point=6.9),
        found(10.0, 7.1, 4.02, "pH", action="verification"),
        found(20.0, 7.1, 4.02, "pH", action="verification"),
    )
    _, second, third = made(*rows)
    assert values(second.as_found) == values(third.as_found)
    assert (second.as_left, third.as_left) == ({}, {})


def test_how_well_a_log_repeats_is_how_well_its_parameters_are_known() -> None:
    """1.5 mV from row to row where 0.5 mV are assumed: the zero point is known some two to three times less well."""
    random = np.random.default_rng(5)
    rows = []
    for day in range(40):
        for phase in ("as_found", "as_left"):
            off = random.normal(0.0, 1.5, 2)
            rows.append(entry("ph", float(day), *buffers(off[0], 176.9 + off[1]), phase=phase))
    alone = made(rows[-1])[0].as_left["zero_point"].uncertainty
    among = made(*rows)[-1].as_left["zero_point"].uncertainty
    assert 1.3 < among / alone < 4.0


def test_a_copy_says_so_and_what_was_measured_does_not() -> None:
    rows = [entry("ph", d, *buffers(-1.2, 176.9 + d * (d > 20), temp=21.3)) for d in (1.0, 10.0, 30.0)]
    seen = made(*rows)
    assert [c.copied for c in seen] == [False, True, False]
    assert [any("same as in the entry before" in check for check in c.checks) for c in seen] == [
        False,
        True,
        False,
    ]


def test_air_and_salt_of_the_day_count_for_every_row_of_it() -> None:
    def row(day: float, phase: str, **more: float) -> CalibrationEntry:
        air: StandardReading = standard(math.nan, 60.0, raw_unit="nA", label="air")
        return replace(entry("oxygen", day, air, phase=phase), **more)

    (low,) = made(row(1.0, "as_found", air_pressure_kpa=90.0), row(1.01, "as_left"))
    assert low.as_left["slope"].value == pytest.approx(60.0 / (0.2095 * (900.0 - 31.7)), rel=1e-3)


def test_every_remark_says_of_which_row_it_is() -> None:
    rows = {
        "as found: slope 85.0 % outside 90 to 105 % (USP <791>) and 95 to 102 % (USGS field manual)": entry(
            "ph", 1.0, phase="as_found", slope=85.0
        ),
        "as left: slope 85.0 % outside 90 to 105 % (USP <791>) and 95 to 102 % (USGS field manual)": entry(
            "ph", 1.0, *buffers(0.0, 0.85 * 2.99 * 59.1593)
        ),
        "as found: slope 92.0 % outside 95 to 102 % (USGS field manual), inside 90 to 105 % (USP <791>)": entry(
            "ph", 1.0, phase="as_found", slope=92.0
        ),
        'as found: raw values in "furlong" are left out: not a unit in which pH is calibrated': entry(
            "ph", 1.0, standard(7.0, 1.0, unit="pH", raw_unit="furlong"), phase="as_found"
        ),
        "as found: raw values run the wrong way, taken with their sign turned round": entry(
            "ph", 1.0, *buffers(1.2, -176.9), phase="as_found"
        ),
        "as found: slope entered 93, raw values give 100.7 %": entry(
            "ph", 1.0, *buffers(-1.2, 176.9), phase="as_found", slope=93.0
        ),
        "as found: a standard at 70 °C is hard to believe": entry(
            "ph", 1.0, *buffers(0.0, 200.0, temp=70.0), phase="as_found"
        ),
    }
    for words, row in rows.items():
        assert words in made(row)[0].checks


def test_a_slope_entered_beside_one_buffer_is_the_one_to_reckon_with() -> None:
    """10 mV at pH 7 over nine tenths of 59.16 mV: 0.188 pH."""
    (one,) = made(entry("ph", 1.0, standard(7.0, 10.0, unit="pH", raw_unit="mV"), slope=90.0))
    assert one.as_left["zero_point"].value == pytest.approx(7.0 + 10.0 / (0.9 * 59.1593))
    assert (one.as_left["slope"].value, one.as_left["slope"].basis) == (90.0, "entered")
    assert one.as_left["zero_point"].basis == "computed"


def test_figures_beside_readings_are_the_transmitter_s_and_not_what_was_found() -> None:
    rows = (
        entry("ph", 1.0, slope=98.0, zero_point=6.9),
        entry("ph", 30.0, standard(7.0, 7.1, unit="pH", raw_unit="pH"), phase="as_found", slope=98.0),
    )
    assert set(made(*rows)[1].as_found) == {"zero_point"}
    wrong = (rows[0], replace(found(30.0, 7.1, 4.02, "pH"), figures={"slope": 80.0}))
    assert not any("entered" in check for check in made(*wrong)[1].checks)


def test_only_what_is_left_is_held_against_the_buffers_and_only_absolute_figures_against_the_bands() -> None:
    (dirty,) = made(found(1.0, 7.4, 4.6, "pH"))
    assert not any("read in buffer" in check for check in dirty.checks)
    assert not any("outside" in check for check in dirty.checks)  # 94 % of who knows what
    known = made(left(1.0, 0.0, 176.0), found(30.0, 7.4, 4.6, "pH"))[1]
    assert any("outside" in check for check in known.checks)


@pytest.mark.parametrize(("raw", "stands_for_both"), [(221.3, False), (262.0, True)])
def test_a_redox_value_left_at_its_standard_may_be_what_the_adjustment_made_of_it(
    raw: float, stands_for_both: bool
) -> None:
    """Signal and reading are both in mV: only one far from its standard is sure to be a signal, which no adjustment changes."""
    row = entry("redox", 1.0, standard(220.0, raw))
    (one,) = evaluate([replace(row, phase_said=True)], PLANT)
    assert bool(one.as_found) is stands_for_both
    assert one.as_left["offset"].value == pytest.approx(raw - 220.0)


def test_what_is_written_in_the_unit_of_its_standard_was_read_off_whatever_that_unit_is() -> None:
    row = entry("oxygen", 1.0, standard(8.58, 8.6, unit="pH", raw_unit="pH"))
    (one,) = evaluate([row], PLANT)
    assert not one.as_found
    assert not any("pH" in p.unit for p in one.as_left.values())
