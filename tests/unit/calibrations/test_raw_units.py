"""Raw columns of every measurand in the units that logs use, from the text of a log to slope and zero."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from excursions.calibrations import evaluate
from excursions.read.logs.log import read_calibrations
from excursions.records import Calibration
from tests.unit.calibrations.builders import PLANT

HEAD = "date,point,serial,action,phase,"


def standards(*pairs: tuple[str, str], temp: str = "25", raw: str, unit: str = "") -> tuple[str, str]:
    """Header and cells of standards with their raw values and temperature."""
    head, cells = [], []
    for number, (standard, value) in enumerate(pairs, start=1):
        head += [f"standard {number}{unit and f' [{unit}]'}", f"raw {number} [{raw}]"]
        cells += [standard, value]
        if temp:
            head.append(f"temperature {number} [degC]")
            cells.append(temp)
    return ",".join(head), ",".join(cells)


def calibrated(tmp_path: Path, point: str, columns: tuple[str, str]) -> Calibration:
    log = tmp_path / "log.csv"
    log.write_text(f"{HEAD}{columns[0]}\n2026-03-01 09:00,{point},S1,calibration,as left,{columns[1]}\n")
    (made,) = evaluate(read_calibrations(log).entries, PLANT)
    return made


# Worked by hand.  k(25 °C) = 59.1593 mV; Benson and Krause at 25 °C: 8.2635 mg/L, water vapour 31.69 hPa, so
# 0.2095 (1013.25 - 31.69) = 205.64 hPa of oxygen in moist air; IEC 60751: 138.5055 ohm at 100 °C.
CASES = [
    # typical entry (common practice, no source): (-1.2 - 176.9) / (7.00 - 4.01) / -59.1593; 7 - 1.2 / (1.0069 k)
    ("ph", standards(("7.00", "-1.2"), ("4.01", "176.9"), raw="mV"), {"slope": 100.7, "zero_point": 6.98}),
    ("ph", standards(("7.00", "-0.0012"), ("4.01", "0.1769"), raw="V"), {"slope": 100.7, "zero_point": 6.98}),
    ("redox", standards(("220", "226"), raw="mV", unit="mV"), {"offset": 6.0}),
    ("redox", standards(("220", "0.226"), raw="V", unit="mV"), {"offset": 6.0}),
    # OIML R 56 (1981): 0.01 D at 25 °C; K = kappa / G
    ("conductivity", standards(("1413", "1400"), raw="uS", unit="uS/cm"), {"cell_constant": 1.0093}),
    ("conductivity", standards(("12.88", "128.8"), raw="mS", unit="mS/cm"), {"cell_constant": 0.1}),
    ("conductivity", standards(("1413", "707.71"), raw="Ohm", unit="uS/cm"), {"cell_constant": 1.0}),
    ("conductivity", standards(("84", "1.1905"), raw="kOhm", unit="uS/cm"), {"cell_constant": 0.1}),
    # S = 61.8 / 205.64
    ("oxygen", standards(("air", "62.0"), ("0", "0.2"), raw="nA"), {"slope": 0.3005, "zero": 0.2}),
    ("oxygen", standards(("air", "62000"), ("0", "200"), raw="pA"), {"slope": 0.3005, "zero": 0.2}),
    ("oxygen", standards(("air", "0.0620"), ("0", "0.0002"), raw="µA"), {"slope": 0.3005, "zero": 0.2}),
    # a galvanic probe by its voltage: 47.5 / 8.2635
    ("oxygen", standards(("air", "48.0"), ("0", "0.5"), raw="mV"), {"gain": 5.748, "zero": 0.5}),
    # tan(60) / tan(30) = 3: K = 2 / 205.64; the same in radians; lifetimes of 60 and 20 us have that ratio too
    ("oxygen_saturation", standards(("100", "30"), ("0", "60"), raw="deg", unit="%"), {"slope": 0.009726, "zero": 60.0}),
    ("oxygen_saturation", standards(("100", "0.523599"), ("0", "1.047198"), raw="rad", unit="%"), {"slope": 0.009726, "zero": 60.0}),
    ("oxygen_saturation", standards(("100", "20"), ("0", "60"), raw="µs", unit="%"), {"slope": 0.009726}),
    # 59.1593 mV for a factor of ten
    ("co2_pressure", standards(("100", "1.1"), ("1000", "60.26"), raw="mV", unit="mbar"), {"slope": 100.0}),
    ("co2", standards(("148", "1.1"), ("1480", "60.26"), raw="mV", unit="mg/L"), {"slope": 100.0}),
    # 5 and 50 % of 981.56 hPa; inner pH 9.1 - log10(49.08) = 7.409, and 1.1 mV above
    ("co2", standards(("5", "1.1"), ("50", "60.26"), raw="mV", unit="%"), {"slope": 100.0, "zero_point": 7.428}),
    ("turbidity", standards(("0", "4"), ("100", "1004"), raw="mV", unit="NTU"), {"gain": 10.0, "zero": 4.0}),
    ("turbidity", standards(("0", "4.02"), ("100", "19.9"), raw="mA", unit="NTU"), {"gain": 0.1588, "zero": 4.02}),
    ("turbidity", standards(("0", "110"), ("100", "1110"), raw="Hz", unit="NTU"), {"gain": 10.0, "zero": 110.0}),
    ("turbidity", standards(("0", "120"), ("20", "2120"), raw="counts", unit="NTU"), {"gain": 100.0, "zero": 120.0}),
    ("temperature", standards(("100", "138.70"), raw="Ohm", unit="degC", temp=""), {"offset": 0.513}),  # 0.1945 / 0.3793
    ("temperature", standards(("0", "0.2"), raw="degC", unit="degC", temp=""), {"offset": 0.2}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("point", "columns", "expected"), CASES, ids=lambda v: v if isinstance(v, str) else ""
)
def test_raw_values_give_the_parameters_worked_by_hand(
    tmp_path: Path, point: str, columns: tuple[str, str], expected: dict[str, float]
) -> None:
    found = calibrated(tmp_path, point, columns).as_left
    for name, value in expected.items():
        assert found[name].value == pytest.approx(value, rel=5e-4, abs=2e-3 if name == "offset" else 0.0), (
            name
        )
        assert found[name].basis == "computed"
        assert 0.0 < found[name].uncertainty < math.inf


def test_a_raw_unit_that_cannot_be_is_left_out_and_said(tmp_path: Path) -> None:
    made = calibrated(tmp_path, "ph", standards(("7.00", "12.0"), ("4.01", "8.0"), raw="mA"))
    assert not made.as_left
    assert 'raw values in "mA" are left out' in made.checks[0]


@pytest.mark.parametrize(
    ("point", "pairs", "figure", "expected"),
    [
        ("turbidity", (("0", "1.8"), ("20", "21.8")), "zero", (1.8, "NTU")),
        ("oxygen", (("8.26", "6.2"),), "slope", (75.1, "%")),
        # the typical entry again: 7 - 1.2 / (1.0069 k)
        ("ph", (("7.00", "-1.2"), ("4.01", "176.9")), "zero_point", (6.98, "pH")),
    ],
)
def test_what_was_read_far_off_in_a_standard_without_a_unit_is_a_voltage_of_glass_alone(
    tmp_path: Path, point: str, pairs: tuple[tuple[str, str], ...], figure: str, expected: tuple[float, str]
) -> None:
    """A turbidity found 1.8 NTU too high lies as far from its standard as a glass does in its buffer [mV]."""
    head = ",".join(f"standard {i},raw {i}" for i in range(1, len(pairs) + 1))
    log = tmp_path / "log.csv"
    cells = ",".join(f"{a},{b}" for a, b in pairs)
    right = ",".join(f"{a},{a}" for a, _ in pairs) if point != "ph" else cells
    log.write_text(
        f"{HEAD}{head}\n2026-02-01 09:00,{point},S1,calibration,as left,{right}\n"
        f"2026-03-01 09:00,{point},S1,calibration,as found,{cells}\n"
    )
    found = evaluate(read_calibrations(log).entries, PLANT)[-1].as_found[figure]
    assert (found.value, found.unit) == (pytest.approx(expected[0], rel=2e-3), expected[1])
