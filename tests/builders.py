"""Small seeded made signals and records for every test.  They return what they plant; they know no detector.

    series = tag_series(level(600, 7.0, noise=0.01, seed=1), every_s=60)
    signal = make_signal(level(600, 7.0, noise=0.01, seed=1), every_s=60, measurand="ph")
    record = make_record(value=..., temperature=..., every_s=60, measurand="ph")

Shapes are plain functions array -> array, so that they chain: ``with_step(with_hole(x, ...), ...)``.
All units are canonical.  Nothing here draws a number without a seed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.clock import NS_PER_S, TimeArray
from excursions.condition import condition
from excursions.plant import Plant, Point
from excursions.records import (
    GOOD,
    MEASURING,
    STATES,
    FloatArray,
    Record,
    Signal,
    StateLine,
    TagSeries,
)

T0 = 1_704_067_200 * NS_PER_S  # 2024-01-01T00:00:00Z


# --- times ---------------------------------------------------------------------------------------


def grid(n: int, every_s: float = 60.0, start: int = T0) -> TimeArray:
    """n instants on an even grid."""
    return start + np.arange(n, dtype=np.int64) * round(every_s * NS_PER_S)


# --- shapes of values ----------------------------------------------------------------------------


def level(n: int, at: float, noise: float = 0.0, seed: int = 0) -> FloatArray:
    """Constant level with white noise."""
    return at + noise * np.random.default_rng(seed).standard_normal(n)


def coloured(n: int, at: float, noise: float, tau: float, seed: int = 0) -> FloatArray:
    """First-order autoregressive signal: standard deviation `noise`, time constant `tau` in samples."""
    from scipy.signal import lfilter

    a = float(np.exp(-1.0 / tau)) if tau > 0 else 0.0
    drive = np.random.default_rng(seed).standard_normal(n) * noise * np.sqrt(1 - a * a)
    drive[:1] = noise * np.random.default_rng(seed + 1).standard_normal(1)
    return np.asarray(at + lfilter([1.0], [1.0, -a], drive))


def with_step(x: FloatArray, at: int, size: float, until: int | None = None) -> FloatArray:
    """Shift by `size` from sample `at` (until sample `until`)."""
    out = x.copy()
    out[at:until] += size
    return out


def with_ramp(x: FloatArray, at: int, until: int, size: float) -> FloatArray:
    """Add a straight ramp from 0 at sample `at` to `size` at sample `until`, kept afterwards."""
    add = np.clip((np.arange(x.size) - at) / max(until - at, 1), 0.0, 1.0) * size
    return np.asarray(x + add)


def with_stuck(x: FloatArray, at: int, until: int) -> FloatArray:
    """Freeze at the value of sample `at`."""
    out = x.copy()
    out[at:until] = x[at]
    return out


def with_missing(x: FloatArray, at: int, until: int) -> FloatArray:
    """Replace by NaN."""
    out = x.copy()
    out[at:until] = np.nan
    return out


def with_bridge(x: FloatArray, at: int, until: int) -> FloatArray:
    """Draw a straight line between samples `at` and `until`, as an interpolating export does."""
    out = x.copy()
    out[at : until + 1] = np.linspace(x[at], x[until], until - at + 1)
    return out


def quantised(x: FloatArray, step: float) -> FloatArray:
    """Round to multiples of `step`."""
    return np.round(x / step) * step if step >= 1 else np.round(np.round(x / step) * step, 9)


def heat_cycle(
    n: int,
    at: int,
    *,
    base: float,
    plateau: float,
    hold: int,
    rise: float,
    fall: float,
    noise: float = 0.0,
    seed: int = 0,
) -> FloatArray:
    """Temperature at `base` with one cycle: `rise` K a sample up from sample `at`, `hold` samples, `fall` K a sample down."""
    up = at + (plateau - base) / rise
    corners = [0.0, float(at), up, up + hold, up + hold + (plateau - base) / fall, float(n) + 1e9]
    shape = np.interp(np.arange(n), corners, [base, base, plateau, plateau, base, base])
    return np.asarray(shape + noise * np.random.default_rng(seed).standard_normal(n))


# --- recording rules -----------------------------------------------------------------------------


def on_exception(
    time: TimeArray, x: FloatArray, deadband: float, heartbeat_s: float
) -> tuple[TimeArray, FloatArray]:
    """Keep a sample when it differs from the last kept one by `deadband`, or at the heartbeat."""
    kept = [0]
    for i in range(1, x.size):
        late = time[i] - time[kept[-1]] >= heartbeat_s * NS_PER_S
        if late or not abs(x[i] - x[kept[-1]]) < deadband:
            kept.append(i)
    return time[kept], x[kept]


def swinging_door(
    time: TimeArray, x: FloatArray, deviation: float, heartbeat_s: float
) -> tuple[TimeArray, FloatArray]:
    """Swinging-door compression: keep the corners of a polyline within `deviation` of every sample."""
    kept, lowest, highest = [0], np.inf, -np.inf
    for i in range(1, x.size):
        dt = float(time[i] - time[kept[-1]])
        lowest = min(lowest, (x[i] + deviation - x[kept[-1]]) / dt)
        highest = max(highest, (x[i] - deviation - x[kept[-1]]) / dt)
        if highest > lowest or dt >= heartbeat_s * NS_PER_S:
            if kept[-1] != i - 1:
                kept.append(i - 1)
            dt = float(time[i] - time[kept[-1]])
            lowest = (x[i] + deviation - x[kept[-1]]) / dt
            highest = (x[i] - deviation - x[kept[-1]]) / dt
    kept += [x.size - 1] if kept[-1] != x.size - 1 else []
    return time[kept], x[kept]


# --- series, signals, records --------------------------------------------------------------------


def tag_series(
    x: Sequence[float] | FloatArray,
    *,
    time: TimeArray | None = None,
    every_s: float = 60.0,
    quality: Sequence[int] | None = None,
    tag: str = "T",
    unit: str = "",
    description: str = "",
) -> TagSeries:
    """A tag series as a file would give it; `time` goes before `every_s`."""
    value = np.asarray(x, dtype=np.float64)
    return TagSeries(
        tag=tag,
        time=grid(value.size, every_s) if time is None else np.asarray(time, dtype=np.int64),
        value=value,
        quality=np.full(value.size, GOOD, np.uint8) if quality is None else np.array(quality, np.uint8),
        unit=unit,
        description=description,
    )


def make_signal(
    x: Sequence[float] | FloatArray,
    *,
    time: TimeArray | None = None,
    every_s: float = 60.0,
    quality: Sequence[int] | None = None,
    measurand: str = "other",
    unit: str = "",
    tag: str = "T",
) -> Signal:
    """A conditioned signal."""
    series = tag_series(x, time=time, every_s=every_s, quality=quality, tag=tag, unit=unit)
    return condition(series, measurand=measurand).signal


def all_measuring(*signals: Signal | None) -> StateLine:
    """One span of measuring over everything."""
    given = [s for s in signals if s is not None and len(s)]
    if not given:
        return state_line([])
    start = min(int(s.time[0]) for s in given)
    end = max(int(s.time[-1]) for s in given) + 1
    return state_line([(start, end, MEASURING)])


def state_line(spans: Sequence[tuple[int, int, int]]) -> StateLine:
    """A state line from (start ns, end ns, code) rows, confidence 1."""
    return StateLine(
        start=np.array([s[0] for s in spans], np.int64),
        end=np.array([s[1] for s in spans], np.int64),
        code=np.array([s[2] for s in spans], np.uint8),
        confidence=np.ones(len(spans)),
        evidence=tuple(STATES[s[2]] for s in spans),
    )


def make_record(
    value: FloatArray | None = None,
    temperature: FloatArray | None = None,
    *,
    time: TimeArray | None = None,
    every_s: float = 60.0,
    measurand: str = "ph",
    point: Point | None = None,
    plant: Plant | None = None,
    states: StateLine | None = None,
    **given: object,
) -> Record:
    """A record on one time base; states default to measuring throughout.  `given` goes to Record as it is."""
    seen = [
        None if x is None else make_signal(x, time=time, every_s=every_s, measurand=m, tag=t)
        for x, m, t in ((value, measurand, "A1"), (temperature, "temperature", "A1.T"))
    ]
    the_point = point or Point(name="A1", measurand=measurand, value="A1", temperature="A1.T")
    return Record(
        point=the_point,
        plant=plant or Plant(points=(the_point,)),
        value=seen[0],
        temperature=seen[1],
        states=states or all_measuring(*seen),
        **given,  # type: ignore[arg-type]
    )
