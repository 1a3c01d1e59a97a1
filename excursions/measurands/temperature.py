"""Temperature, of a probe or of the medium.

References
----------
.. [1] Wagner and others, USGS TM 1-D3 (2006): rating classes.
"""

from __future__ import annotations

from excursions.measurands.row import Assumed, Expected, Measurand

_FROM_F = (5.0 / 9.0, -160.0 / 9.0)

TEMPERATURE = Measurand(
    key="temperature",
    label="temperature",
    verified_in="a bath beside a reference thermometer",
    unit="degC",
    aliases={
        "c": (1.0, 0.0),
        "°c": (1.0, 0.0),
        "ºc": (1.0, 0.0),
        "deg c": (1.0, 0.0),
        "celsius": (1.0, 0.0),
        "f": _FROM_F,
        "°f": _FROM_F,
        "degf": _FROM_F,
        "deg f": _FROM_F,
        "fahrenheit": _FROM_F,
        "k": (1.0, -273.15),
        "kelvin": (1.0, -273.15),
    },
    said=("temp",),
    physical=(-100.0, 400.0),
    usual=(-20.0, 160.0),
    typical=25.0,
    tolerance=1.0,
    parameters=("offset",),
    family="offset",
    assumed=Assumed(raw=0.1, reading=0.1, standard=0.1, entered={"offset": 0.2}),
    ageing={"offset": Expected(ageing=0.0, ageing_spread=0.02, wander=0.05, kick=1.0)},
    classes=(0.2, 0.5, 0.8, 2.0),  # [1]_
)
