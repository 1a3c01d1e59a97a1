"""Calibration entries in one line each."""

from __future__ import annotations

from excursions.clock import NS_PER_DAY
from excursions.plant import Plant, Point
from excursions.records import CalibrationEntry, StandardReading

MEASURANDS = (
    "ph",
    "redox",
    "conductivity",
    "oxygen",
    "oxygen_saturation",
    "co2",
    "co2_pressure",
    "turbidity",
    "temperature",
)
PLANT = Plant(points=tuple(Point(name=name, measurand=name) for name in MEASURANDS))


def standard(
    value: float, raw: float, *, temp: float = 25.0, unit: str = "", raw_unit: str = "", label: str = ""
) -> StandardReading:
    return StandardReading(
        standard=value, raw=raw, standard_unit=unit, raw_unit=raw_unit, temperature_degc=temp, label=label
    )


def buffers(
    at_7: float, at_4: float, *, raw_unit: str = "mV", temp: float = 25.0
) -> tuple[StandardReading, ...]:
    return (
        standard(7.0, at_7, unit="pH", raw_unit=raw_unit, temp=temp),
        standard(4.01, at_4, unit="pH", raw_unit=raw_unit, temp=temp),
    )


def entry(
    point: str,
    day: float,
    *standards: StandardReading,
    phase: str = "as_left",
    action: str = "calibration",
    probe: str = "S1",
    **figures: float,
) -> CalibrationEntry:
    return CalibrationEntry(
        time=int(day * NS_PER_DAY),
        file="log.csv",
        line=int(10 * day) + (phase == "as_left"),
        point=point,
        probe=probe,
        phase=phase,
        action=action,
        standards=standards,
        figures=figures,
    )
