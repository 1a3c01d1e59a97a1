"""Conductivity.

References
----------
.. [1] Wagner and others, USGS TM 1-D3 (2006): calibration criterion for specific conductance (from memory), rating classes.
"""

from __future__ import annotations

from excursions.measurands.row import Assumed, Expected, Measurand, around

CONDUCTIVITY = Measurand(
    key="conductivity",
    label="conductivity",
    verified_in="a conductivity standard",
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
    said=("ec",),
    tokens=("cond", "cnd", "lf", "lfk", "ec", "kappa", "leitwert", "condu"),
    beginnings=(
        "conductiv",
        "condutiv",
        "conducib",
        "leitf",
        "conductanc",
        "geleidb",
        "konduktiv",
        "przewodn",
        "vodivost",
        "электропровод",
        "проводимост",
        "αγωγιμ",
        "电导",
        "導電",
        "電気伝導",
        "전도도",
    ),
    shortened=("conductivity",),
    physical=(-5.0, 3e6),
    usual=(0.0, 1e6),
    tolerance=0.02,
    tolerance_relative=0.03,  # [1]_
    trace_below=0.2,  # (cp) pure water, of itself 0.055 uS/cm
    trace_tolerance=0.005,  # (cp) it is watched between 0.055 and 0.1 uS/cm
    fouls=-1,
    empty_reads=0.0,
    parameters=("cell_constant",),
    family="cell",
    # KCl 0.0005 to 1 mol/L, 25 degC, rounded; widths (cp)
    windows=tuple(
        around(f"{at:g} uS/cm", at, 0.06 * at) for at in (84.0, 147.0, 1413.0, 12_880.0, 111_800.0)
    ),
    assumed=Assumed(
        raw_relative=0.003, reading_relative=0.003, standard_relative=0.003, entered={"cell_constant": 0.008}
    ),
    ageing={"cell_constant": Expected(ageing=0.0, ageing_spread=0.002, wander=0.004, kick=0.08, share=True)},
    classes_percent=(3.0, 10.0, 15.0, 30.0),  # [1]_
)
