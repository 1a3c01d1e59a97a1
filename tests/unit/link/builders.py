"""Shifts, events and levels in one line each."""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.plant import Plant, Point
from excursions.records import Calibration, Event, Parameter, Shift

DAY = NS_PER_DAY
PLANT = Plant(
    points=tuple(Point(name=m, measurand=m) for m in ("ph", "redox", "conductivity", "oxygen", "turbidity"))
)
UNITS = {"slope": "%", "zero_point": "pH", "offset": "mV", "cell_constant": "1/cm", "zero": "NTU", "gain": ""}
BEFORE = {"slope": 99.0, "zero_point": 7.0, "offset": 0.0, "cell_constant": 1.0, "zero": 0.0, "gain": 1.0}


def shift(
    change: float,
    *,
    parameter: str = "zero_point",
    point: str = "ph",
    u: float = 0.02,
    start: float = 0.0,
    end: float = 30.0,
    probe: str = "S1",
) -> Shift:
    before = BEFORE[parameter]
    return Shift(
        probe=probe, point=point, measurand=point, parameter=parameter, unit=UNITS[parameter], start=int(start * DAY), end=int(end * DAY),
        before=before, after=before + change, uncertainty=u, p_value=math.erfc(abs(change) / u / math.sqrt(2)),
        significant=abs(change) > 2.576 * u,
    )  # fmt: skip


def event(
    kind: str, day: float, size: float, *, length_h: float = 0.0, point: str = "ph", **more: object
) -> Event:
    start = int(day * DAY)
    facts: dict[str, object] = {
        "point": point, "probe": "S1", "kind": kind, "start": start, "end": start + int(length_h * NS_PER_HOUR), "size": size,
        "size_unit": "degC" if kind in ("over_temperature", "sterilisation") else "pH", "confidence": 0.9,
    }  # fmt: skip
    return Event(**(facts | more))  # type: ignore[arg-type]


def level(value: float, *, days: float = 60.0, wave: float = 0.0) -> Levels:
    time = np.arange(0, int(days * 24), dtype=np.int64) * NS_PER_HOUR
    return Levels(time=time, value=value + wave * np.sin(time / DAY), temperature=np.full(time.size, 25.0))


def calibration(
    day: float,
    *,
    found: dict[str, float] | None = None,
    left: dict[str, float] | None = None,
    point: str = "ph",
    **more: object,
) -> Calibration:
    def phase(values: dict[str, float] | None) -> dict[str, Parameter]:
        return {
            n: Parameter(value=v, uncertainty=0.01, unit=UNITS[n], basis="computed")
            for n, v in (values or {}).items()
        }

    facts: dict[str, object] = {
        "time": int(day * DAY),
        "point": point,
        "probe": "S1",
        "measurand": point,
        "action": "calibration",
    }
    return Calibration(**(facts | {"as_found": phase(found), "as_left": phase(left)} | more))  # type: ignore[arg-type]
