"""Dissolved oxygen, as concentration and as saturation, by membrane or by an optical probe.

References
----------
.. [1] Wagner and others, USGS TM 1-D3 (2006): calibration criterion for dissolved oxygen (from memory), rating classes.
.. [2] Benson and Krause, Limnology and Oceanography 29 (1984) 620: air-saturated water at 5 to 35 degC near sea level.
"""

from __future__ import annotations

from excursions.measurands.row import Accepted, Assumed, Expected, Measurand, Window, around

_ENTERED = {"slope": 2.0, "zero": 0.1, "zero_deg": 0.2, "slope_share": 0.02}
_SLOPE = Expected(ageing=-0.7, ageing_spread=0.7, wander=1.0, kick=10.0)
_ACCEPTED = {("slope", "%"): Accepted(low=70.0)}

OXYGEN = Measurand(
    key="oxygen",
    label="dissolved oxygen",
    verified_in="air and, where it has one, its zero standard",
    unit="mg/L",
    aliases={
        "ppm": (1.0, 0.0),
        "ppb": (0.001, 0.0),
        "ug/l": (0.001, 0.0),
        "µg/l": (0.001, 0.0),
        "mg/l o2": (1.0, 0.0),
        "g/m3": (1.0, 0.0),
    },
    said=("do", "o2"),
    tokens=("do", "do2", "o2", "oxy", "ldo", "odo", "dot", "od2"),
    beginnings=(
        "oxygen",
        "oxigen",
        "oxygene",
        "sauerstoff",
        "ossigen",
        "zuurstof",
        "кислород",
        "οξυγον",
        "溶解氧",
        "溶氧",
        "溶存酸素",
        "용존산소",
    ),
    physical=(-2.0, 80.0),
    usual=(0.0, 25.0),
    typical=5.0,
    tolerance=0.3,  # [1]_
    tolerance_relative=0.05,
    trace_units=("ppb", "ug/l", "µg/l"),
    trace_most=1.0,  # (cp) what is stripped, dosed or filled is kept far below; what lives in water needs more
    trace_tolerance=0.003,  # (cp) feed water is kept within 5 to 20 ug/L
    fouls=-1,
    parameters=("slope", "zero"),
    windows=(Window(label="air", low=6.4, high=13.8), around("zero", 0.0, 0.15)),  # [2]_, 8 % for worn probes
    assumed=Assumed(
        raw_relative=0.005,
        raw=0.06,
        reading=0.03,
        reading_relative=0.004,
        standard_relative=0.004,
        entered=_ENTERED,
    ),
    ageing={"slope": _SLOPE, "zero": Expected(ageing=0.0, ageing_spread=0.01, wander=0.02, kick=0.3)},
    accepted=_ACCEPTED,
    gain_share=0.8,  # a zero current or phase seldom moves
    classes=(0.3, 0.5, 0.8, 2.0),  # [1]_
    classes_percent=(5.0, 10.0, 15.0, 20.0),
)

OXYGEN_SATURATION = Measurand(
    key="oxygen_saturation",
    label="dissolved oxygen, saturation",
    verified_in="air and, where it has one, its zero standard",
    unit="%sat",
    aliases={
        "%": (1.0, 0.0),
        "% sat": (1.0, 0.0),
        "% air": (1.0, 0.0),
        "%air": (1.0, 0.0),
        "% air sat": (1.0, 0.0),
        "%do": (1.0, 0.0),
    },
    said=("oxygen saturation",),
    tokens=("po2",),
    physical=(-20.0, 700.0),
    usual=(0.0, 150.0),
    typical=60.0,
    tolerance=3.0,  # (cp)
    tolerance_relative=0.05,
    fouls=-1,
    parameters=("slope", "zero"),
    windows=(around("air", 100.0, 8.0), around("zero", 0.0, 2.0)),
    assumed=Assumed(
        raw_relative=0.005,
        raw=0.06,
        reading=0.3,
        reading_relative=0.004,
        standard_relative=0.004,
        entered=_ENTERED,
    ),
    ageing={"slope": _SLOPE, "zero": Expected(ageing=0.0, ageing_spread=0.1, wander=0.2, kick=3.0)},
    accepted=_ACCEPTED,
    gain_share=0.8,
)
