"""Redox potential (ORP) by a metal electrode."""

from __future__ import annotations

from excursions.measurands.row import Assumed, Expected, Measurand, around

REDOX = Measurand(
    key="redox",
    label="redox potential",
    verified_in="a redox standard",
    unit="mV",
    aliases={"v": (1000.0, 0.0), "millivolt": (1.0, 0.0)},
    said=("orp",),
    tokens=("orp", "eh", "rh", "rx"),
    beginnings=("redox",),
    shortened=("redox",),
    physical=(-2000.0, 2000.0),
    usual=(-800.0, 1200.0),
    typical=0.0,
    tolerance=15.0,  # (cp)
    electrode=True,
    parameters=("offset",),
    family="offset",
    windows=(  # solutions in common use, against Ag/AgCl (cp)
        around("220 mV", 222.0, 20.0),
        around("470 mV", 470.0, 25.0),
        around("650 mV", 650.0, 30.0),
    ),
    assumed=Assumed(raw=2.0, reading=2.0, standard=2.0, entered={"offset": 5.0}),
    ageing={"offset": Expected(ageing=0.0, ageing_spread=1.0, wander=2.0, kick=25.0)},
)
