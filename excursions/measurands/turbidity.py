"""Turbidity.

References
----------
.. [1] Wagner and others, USGS TM 1-D3 (2006): calibration criterion for turbidity (from memory), rating classes.
"""

from __future__ import annotations

from excursions.measurands.row import A_SHARE, Assumed, Expected, Measurand, around

TURBIDITY = Measurand(
    key="turbidity",
    label="turbidity",
    verified_in="two turbidity standards",
    unit="NTU",
    aliases={
        "fnu": (1.0, 0.0),
        "fau": (1.0, 0.0),
        "ftu": (1.0, 0.0),
        "tbu": (1.0, 0.0),
        "mntu": (0.001, 0.0),
    },
    tokens=("ntu", "fnu", "haze", "tu", "tbd"),
    beginnings=(
        "turb",
        "trub",
        "trueb",
        "torbid",
        "troebel",
        "metnosc",
        "мутност",
        "θολοτ",
        "浊度",
        "濁度",
        "탁도",
    ),
    shortened=("turbidity", "trubung"),
    physical=(-5.0, 10000.0),
    usual=(0.0, 4000.0),
    typical=10.0,
    tolerance=0.5,  # [1]_
    tolerance_relative=0.05,
    trace_below=0.5,  # (cp) water behind a filter: an error of 0.5 NTU is larger than all there is to see
    trace_tolerance=0.05,  # (cp) it is kept below 0.3 NTU
    fouls=1,
    parameters=("gain", "zero"),
    windows=(  # formazin dilutions in common use; widths (cp)
        around("zero", 0.0, 0.15),
        *(around(f"{at:g} NTU", at, 0.06 * at) for at in (20.0, 100.0, 200.0, 400.0, 800.0, 1000.0, 4000.0)),
    ),
    assumed=Assumed(
        raw=0.02,
        raw_relative=0.01,
        reading=0.02,
        reading_relative=0.01,
        standard=0.02,
        standard_relative=0.01,
        entered={"gain": 0.02, "slope": 2.0, "zero": 0.05},
    ),
    ageing={"gain": A_SHARE, "zero": Expected(ageing=0.01, ageing_spread=0.02, wander=0.04, kick=0.6)},
    classes=(0.5, 1.0, 1.5, 3.0),  # [1]_
    classes_percent=(5.0, 10.0, 15.0, 30.0),
)
