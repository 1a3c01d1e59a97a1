"""The one table of measurands: names, units, ranges, tolerances, what heat and dirt do to each.

To add a measurand, add a row here and, if it is calibrated in a way of its own, a model in
``excursions/calibrations``.  Every default that is common practice without a source is marked (cp).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurand:
    """What the house needs to know of one measured quantity.

    Attributes
    ----------
    key, label : str
        Stable key (register, tables) and the words people read.
    unit : str
        Canonical unit; every value inside the house is in it.
    aliases : mapping of unit spelling to (factor, offset)
        canonical = factor * given + offset.
    words : tuple of str
        Lower-case fragments of tag names and descriptions that suggest this measurand.
    physical : (low, high)
        Readings outside are impossible in the canonical unit.
    usual : (low, high)
        Where readings normally lie; used to tell measurands apart, never to refuse.
    tolerance, tolerance_relative : float
        Reading error that matters: the greater of the absolute and the relative one (cp; the register overrides).
    parameters : tuple of str
        Calibration parameters in order of importance.
    rating_continuous_degc, rating_sterilisation_degc, rating_sterilisation_min : float
        Assumed class defaults (cp); called assumed wherever they show.
    """

    key: str
    label: str
    unit: str
    aliases: dict[str, tuple[float, float]] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    physical: tuple[float, float] = (-math.inf, math.inf)
    usual: tuple[float, float] = (-math.inf, math.inf)
    tolerance: float = 0.0
    tolerance_relative: float = 0.0
    parameters: tuple[str, ...] = ()
    rating_continuous_degc: float = 80.0
    rating_sterilisation_degc: float = 130.0
    rating_sterilisation_min: float = 60.0


# Ratings: a probe that is rated for steam carries both figures; one that is not has its sterilisation
# rating equal to its continuous rating in the register.  All of them are assumed defaults (cp).
MEASURANDS: dict[str, Measurand] = {
    m.key: m
    for m in (
        Measurand(
            key="ph",
            label="pH",
            unit="pH",
            aliases={"ph units": (1.0, 0.0), "su": (1.0, 0.0), "std units": (1.0, 0.0)},
            words=("ph",),
            physical=(-2.0, 16.0),
            usual=(0.0, 14.0),
            tolerance=0.1,  # (cp)
            parameters=("slope", "zero_point"),
        ),
        Measurand(
            key="redox",
            label="redox potential",
            unit="mV",
            aliases={"v": (1000.0, 0.0), "millivolt": (1.0, 0.0)},
            words=("redox", "orp", "eh", "rx"),
            physical=(-2000.0, 2000.0),
            usual=(-800.0, 1200.0),
            tolerance=15.0,  # (cp)
            parameters=("offset",),
        ),
        Measurand(
            key="conductivity",
            label="conductivity",
            unit="uS/cm",
            aliases={
                "µs/cm": (1.0, 0.0),
                "μs/cm": (1.0, 0.0),
                "ms/cm": (1000.0, 0.0),
                "s/cm": (1e6, 0.0),
                "s/m": (1e4, 0.0),
                "ms/m": (10.0, 0.0),
                "µs/m": (0.01, 0.0),
                "us/m": (0.01, 0.0),
                "mmho/cm": (1000.0, 0.0),
                "umho/cm": (1.0, 0.0),
            },
            words=("cond", "conductivity", "kappa", "lf", "ec"),
            physical=(-5.0, 3e6),
            usual=(0.0, 1e6),
            tolerance=0.02,
            tolerance_relative=0.03,  # USGS TM 1-D3 (2006), calibration criterion for specific conductance; from memory
            parameters=("cell_constant",),
        ),
        Measurand(
            key="oxygen",
            label="dissolved oxygen",
            unit="mg/L",
            aliases={
                "ppm": (1.0, 0.0),
                "ppb": (0.001, 0.0),
                "ug/l": (0.001, 0.0),
                "µg/l": (0.001, 0.0),
                "mg/l o2": (1.0, 0.0),
                "g/m3": (1.0, 0.0),
            },
            words=("do", "o2", "oxygen", "ldo", "do2", "oxy"),
            physical=(-2.0, 80.0),
            usual=(0.0, 25.0),
            tolerance=0.3,  # USGS TM 1-D3 (2006), calibration criterion for dissolved oxygen; from memory
            tolerance_relative=0.05,
            parameters=("slope", "zero"),
        ),
        Measurand(
            key="oxygen_saturation",
            label="dissolved oxygen, saturation",
            unit="%sat",
            aliases={
                "%": (1.0, 0.0),
                "% sat": (1.0, 0.0),
                "% air": (1.0, 0.0),
                "%air": (1.0, 0.0),
                "% air sat": (1.0, 0.0),
                "%do": (1.0, 0.0),
            },
            words=("do", "o2", "oxygen", "po2"),
            physical=(-20.0, 700.0),
            usual=(0.0, 150.0),
            tolerance=3.0,  # (cp)
            tolerance_relative=0.05,
            parameters=("slope", "zero"),
        ),
        Measurand(
            key="co2",
            label="dissolved CO2",
            unit="mg/L",
            aliases={"g/l": (1000.0, 0.0), "ppm": (1.0, 0.0)},
            words=("co2", "carbon dioxide", "dco2"),
            physical=(-50.0, 20000.0),
            usual=(0.0, 12000.0),
            tolerance=10.0,
            tolerance_relative=0.10,  # (cp)
            parameters=("slope", "zero_point"),
            rating_continuous_degc=60.0,
        ),
        Measurand(
            key="co2_pressure",
            label="CO2 partial pressure",
            unit="mbar",
            aliases={
                "hpa": (1.0, 0.0),
                "kpa": (10.0, 0.0),
                "bar": (1000.0, 0.0),
                "mmhg": (1.33322387415, 0.0),
            },
            words=("pco2",),
            physical=(-50.0, 20000.0),
            usual=(0.0, 12000.0),
            tolerance=10.0,
            tolerance_relative=0.10,  # (cp)
            parameters=("slope", "zero_point"),
            rating_continuous_degc=60.0,
        ),
        Measurand(
            key="turbidity",
            label="turbidity",
            unit="NTU",
            aliases={
                "fnu": (1.0, 0.0),
                "fau": (1.0, 0.0),
                "ftu": (1.0, 0.0),
                "tbu": (1.0, 0.0),
                "mntu": (0.001, 0.0),
            },
            words=("turb", "turbidity", "ntu", "fnu", "haze"),
            physical=(-5.0, 10000.0),
            usual=(0.0, 4000.0),
            tolerance=0.5,  # USGS TM 1-D3 (2006), calibration criterion for turbidity; from memory
            tolerance_relative=0.05,
            parameters=("gain", "zero"),
        ),
        Measurand(
            key="temperature",
            label="temperature",
            unit="degC",
            aliases={
                "c": (1.0, 0.0),
                "°c": (1.0, 0.0),
                "ºc": (1.0, 0.0),
                "deg c": (1.0, 0.0),
                "celsius": (1.0, 0.0),
                "f": (5.0 / 9.0, -160.0 / 9.0),
                "°f": (5.0 / 9.0, -160.0 / 9.0),
                "degf": (5.0 / 9.0, -160.0 / 9.0),
                "deg f": (5.0 / 9.0, -160.0 / 9.0),
                "fahrenheit": (5.0 / 9.0, -160.0 / 9.0),
                "k": (1.0, -273.15),
                "kelvin": (1.0, -273.15),
            },
            words=("temp", "temperature", "tt"),
            physical=(-100.0, 400.0),
            usual=(-20.0, 160.0),
            tolerance=1.0,
            parameters=("offset",),
        ),
        Measurand(key="other", label="reading", unit="", tolerance=0.0),
    )
}


def measurand(key: str) -> Measurand:
    """Return the measurand with this key; ``KeyError`` if there is none."""
    return MEASURANDS[key]


def to_canonical(key: str, unit: str) -> tuple[float, float] | None:
    """Return (factor, offset) that takes `unit` to the canonical unit, or None when the unit is unknown."""
    row = MEASURANDS[key]
    spelt = " ".join(unit.split()).lower()
    if spelt == row.unit.lower() or key == "other":
        return (1.0, 0.0)
    return row.aliases.get(spelt)
