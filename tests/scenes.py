"""Small made weeks of a plant: a reading and a temperature with steam, cleaning and calibrations where asked.

A scene is grown step by step; each step writes into both signals and the instants stay known to the test.
Everything is invented; the dynamics are ramps and plateaus a person can check by eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S
from excursions.plant import Plant, Point
from excursions.records import FloatArray, Record, StateLine
from excursions.states import recognise
from tests.builders import T0, coloured, level, make_signal, quantised

DAY_S = 86_400.0


@dataclass
class Scene:
    """Seconds since the start, reading and temperature; changed in place by the steps below."""

    every_s: float
    second: FloatArray
    value: FloatArray
    temperature: FloatArray
    seed: int

    def inside(self, start_s: float, minutes: float) -> np.ndarray:
        return (self.second >= start_s) & (self.second < start_s + 60 * minutes)

    def warm(self, start_s: float, knots: Sequence[tuple[float, float]]) -> None:
        """Lead the temperature through (minute, degC) knots from `start_s`."""
        where = self.inside(start_s, knots[-1][0])
        minute = (self.second[where] - start_s) / 60
        shape = np.interp(minute, [k[0] for k in knots], [k[1] for k in knots])
        self.temperature[where] = shape + level(int(where.sum()), 0.0, 0.05, self.seed + 7)

    def read(self, start_s: float, minutes: float, at: float, noise: float) -> None:
        """Let the reading stand at `at` for some minutes."""
        where = self.inside(start_s, minutes)
        self.value[where] = level(int(where.sum()), at, noise, self.seed + 8)

    def _before(self, start_s: float) -> float:
        """Temperature of the ten minutes before; a story told beyond the record is a mistake of the test."""
        before = self.temperature[self.inside(start_s - 600, 10)]
        assert before.size, f"nothing was recorded before second {start_s:g}"
        return float(before.mean())

    def steam(self, start_s: float, *, degc: float = 121.5, hold: float = 25.0, rate: float = 3.0) -> None:
        base = self._before(start_s)
        up = (degc - base) / rate
        self.warm(start_s, [(0, base), (up, degc), (up + hold, degc), (up + hold + (degc - base) / 2, base)])

    def clean(self, start_s: float, *, degc: float = 80.0, reading: float | None = 12.3) -> None:
        base = self._before(start_s)
        self.warm(start_s, [(0, base), (12, degc), (42, degc), (60, base)])
        if reading is not None:
            self.read(start_s + 600, 35, reading, 0.01 * abs(reading))

    def calibrate(self, start_s: float, standards: Sequence[float], *, room: float | None = 22.0) -> None:
        """Two minutes of handling, eight minutes in each standard, twice through."""
        if room is not None:
            base = self._before(start_s)
            end = 4.0 + 9 * 2 * len(standards)
            self.warm(start_s, [(0, base), (5, room), (end, room), (end + 6, base)])
        for number, at in enumerate([*standards, *standards]):
            self.read(start_s + 60 * (4 + 9 * number), 8, at, 0.0005 * abs(at) + 1e-4)


def scene(
    days: float,
    *,
    every_s: float = 60.0,
    at: float = 6.8,
    warm: float = 37.0,
    noise: float = 0.005,
    wander: float = 0.03,
    seed: int = 0,
) -> Scene:
    """A quiet plant: coloured reading, well controlled temperature."""
    n = round(days * DAY_S / every_s)
    return Scene(
        every_s=every_s,
        second=np.arange(n) * every_s,
        value=coloured(n, at, wander, 5400 / every_s, seed) + level(n, 0.0, noise, seed + 1),
        temperature=coloured(n, warm, 0.08, 1800 / every_s, seed + 2) + level(n, 0.0, 0.03, seed + 3),
        seed=seed,
    )


def at_ns(second: float) -> int:
    """Instant of a second of the scene."""
    return T0 + round(second * NS_PER_S)


def record_of(
    made: Scene,
    *,
    measurand: str = "ph",
    with_temperature: bool = True,
    value_step: float = 0.002,
    temperature_step: float = 0.05,
    hold: FloatArray | None = None,
    wash: FloatArray | None = None,
    pressure: FloatArray | None = None,
    noted: tuple[int, ...] = (),
    **point: object,
) -> Record:
    """Condition the scene and recognise its states, as the pipeline does."""
    the_point = Point(name="A1", measurand=measurand, value="A1", temperature="A1.T", **point)  # type: ignore[arg-type]
    plant = Plant(points=(the_point,), noted=tuple(("A1", when) for when in noted))
    value = make_signal(
        quantised(made.value, value_step), every_s=made.every_s, measurand=measurand, tag="A1"
    )
    warmth = make_signal(
        quantised(made.temperature, temperature_step),
        every_s=made.every_s,
        measurand="temperature",
        tag="A1.T",
    )
    flags = [None if x is None else make_signal(x, every_s=made.every_s) for x in (hold, wash, pressure)]
    temperature = warmth if with_temperature else None
    return Record(
        point=the_point,
        plant=plant,
        value=value,
        temperature=temperature,
        hold=flags[0],
        wash=flags[1],
        pressure=flags[2],
        states=recognise(the_point, plant, value, temperature, flags[0], flags[1]),
    )


def spans_of(states: StateLine, code: int) -> list[tuple[float, float]]:
    """Spans of one state in seconds of the scene."""
    return [((int(a) - T0) / NS_PER_S, (int(b) - T0) / NS_PER_S) for a, b in states.spans(code)]
