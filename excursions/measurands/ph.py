"""pH by a glass electrode.

References
----------
.. [1] Buck et al., IUPAC Recommendations 2002, Table 2: primary buffers at 25 degC.  DIN 19267 nominal values from memory.
.. [2] USP <791> (from USP 39, first supplement): slope 90.0 to 105.0 % of theory, offset at pH 7 within 30 mV.
.. [3] Wagner and others, USGS TM 1-D3 (2006): rating classes.
"""

from __future__ import annotations

from excursions.measurands.row import Accepted, Assumed, Expected, Measurand, Window, around
from excursions.physics.nernst import nernst_slope_mv

USP_SLOPE_PERCENT = (90.0, 105.0)  # [2]_
USP_OFFSET_MV = 30.0  # [2]_
_ZERO_SPAN = USP_OFFSET_MV / nernst_slope_mv(25.0)  # that offset as a span of zero points

ELECTRODE_SLOPE = Expected(ageing=-0.3, ageing_spread=0.3, wander=0.4, kick=5.0)

PH = Measurand(
    key="ph",
    label="pH",
    verified_in="two buffers",
    unit="pH",
    aliases={"ph units": (1.0, 0.0), "su": (1.0, 0.0), "std units": (1.0, 0.0)},
    tokens=("ph",),
    physical=(-2.0, 16.0),
    usual=(0.0, 14.0),
    typical=7.0,
    tolerance=0.1,  # (cp)
    glass=True,
    glass_reads=7.0,  # both sides of a broken membrane see the same
    electrode=True,
    parameters=("slope", "zero_point"),
    family="electrode",
    windows=(  # [1]_; widths (cp)
        around("pH 1.68", 1.68, 0.2),
        around("pH 4", 4.01, 0.3),
        Window(label="pH 7", low=6.6, high=7.3),
        around("pH 9.2", 9.2, 0.25),
        around("pH 10", 10.0, 0.3),
    ),
    assumed=Assumed(raw=0.5, reading=0.01, standard=0.005, entered={"slope": 0.8, "zero_point": 0.02}),
    ageing={
        "slope": ELECTRODE_SLOPE,
        "zero_point": Expected(ageing=0.0, ageing_spread=0.01, wander=0.015, kick=0.3),
    },
    accepted={
        ("slope", "%"): Accepted(low=USP_SLOPE_PERCENT[0], high=USP_SLOPE_PERCENT[1], source="USP <791>"),
        ("zero_point", "pH"): Accepted(
            low=7.0 - _ZERO_SPAN,
            high=7.0 + _ZERO_SPAN,
            source=f"USP <791>: within {USP_OFFSET_MV:g} mV at pH 7",
            wears_out=False,
        ),
    },
    classes=(0.2, 0.5, 0.8, 2.0),  # [3]_
)
