"""Dissolved carbon dioxide: a pH electrode behind a membrane, as concentration and as partial pressure."""

from __future__ import annotations

from dataclasses import replace

from excursions.measurands.ph import ELECTRODE_SLOPE
from excursions.measurands.row import Accepted, Assumed, Expected, Measurand

CO2 = Measurand(
    key="co2",
    label="dissolved CO2",
    verified_in="the gases or buffers its instructions name",
    unit="mg/L",
    aliases={"g/l": (1000.0, 0.0), "ppm": (1.0, 0.0)},
    said=("dissolved co2",),
    tokens=("co2", "dco2"),
    beginnings=("kohlendiox", "kohlensaur"),
    physical=(-50.0, 20000.0),
    usual=(0.0, 12000.0),
    tolerance=10.0,
    tolerance_relative=0.10,  # (cp)
    rating_continuous_degc=60.0,
    glass=True,
    parameters=("slope", "zero_point"),
    family="electrode",
    assumed=Assumed(
        raw=0.7,
        reading_relative=0.03,
        standard=0.01,
        standard_relative=0.01,
        entered={"slope": 1.5, "zero_point": 0.04},
    ),
    ageing={
        "slope": ELECTRODE_SLOPE,
        "zero_point": Expected(ageing=0.0, ageing_spread=0.01, wander=0.02, kick=0.3),
    },
    accepted={("slope", "%"): Accepted(low=90.0)},
)

CO2_PRESSURE = replace(
    CO2,
    key="co2_pressure",
    label="CO2 partial pressure",
    unit="mbar",
    aliases={
        "hpa": (1.0, 0.0),
        "kpa": (10.0, 0.0),
        "bar": (1000.0, 0.0),
        "mmhg": (1.33322387415, 0.0),
    },
    said=("pco2",),
    tokens=("pco2",),
    beginnings=(),
)
