"""Large invented records for timing: lively readings and temperatures with steam, gaps and faults, from a seed.

Made with a few array operations instead of the simulator's physics, so that twenty million samples take seconds.
Nothing is measured against the truth here; what matters is that every room finds work to do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from scipy.signal import lfilter

from excursions.plant import Plant, Point
from excursions.records import FloatArray, TagSeries

START_NS = 1_767_225_600_000_000_000  # 2026-01-01T00:00:00Z
NS_PER_S = 1_000_000_000
DAY_S = 86_400.0
KINDS = (
    ("ph", "pH", 6.9, 0.05, 0.001),
    ("oxygen", "mg/L", 4.0, 0.3, 0.01),
    ("conductivity", "uS/cm", 820.0, 6.0, 0.1),
    ("turbidity", "NTU", 3.0, 0.2, 0.001),
    ("redox", "mV", 240.0, 4.0, 0.1),
)  # measurand, unit, level, spread, resolution: invented


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """Size of an invented plant: each point has a reading and a temperature of `samples` rows each."""

    points: int = 10
    samples: int = 1_000_000
    every_s: float = 10.0
    seed: int = 1

    @property
    def total(self) -> int:
        """Samples of all tags."""
        return 2 * self.points * self.samples


def point_name(number: int) -> str:
    """``P007`` and the like."""
    return f"P{number:03d}"


def plant_of(made: Made) -> Plant:
    """The register of the plant."""
    return Plant(name="Invented", points=tuple(_point(number) for number in range(made.points)))


def _point(number: int) -> Point:
    measurand, unit, *_ = KINDS[number % len(KINDS)]
    name = point_name(number)
    return Point(
        name=name, measurand=measurand, value=f"{name}.PV", unit=unit,
        temperature=f"{name}.TT", temperature_unit="degC",
    )  # fmt: skip


def register_text(made: Made) -> str:
    """The same register as a file."""
    lines = ['[plant]\nname = "Invented"\nzone = "UTC"\n']
    for point in plant_of(made).points:
        lines.append(
            f'[[point]]\nname = "{point.name}"\nmeasurand = "{point.measurand}"\nvalue = "{point.value}"\n'
            f'unit = "{point.unit}"\ntemperature = "{point.temperature}"\ntemperature_unit = "degC"\n'
        )
    return "\n".join(lines)


def series_of(made: Made, number: int) -> dict[str, TagSeries]:
    """Reading and temperature of one point, by role."""
    rng = np.random.default_rng([made.seed, number])
    _, unit, level, spread, resolution = KINDS[number % len(KINDS)]
    seconds = np.arange(made.samples) * made.every_s
    time = START_NS + (seconds * NS_PER_S).astype(np.int64)
    heat = _temperature(rng, seconds)
    value = _reading(rng, seconds, heat, level=level, spread=spread)
    quality = np.zeros(made.samples, np.uint8)
    kept = ~_outage(rng, made.samples)
    name = point_name(number)
    return {
        "value": TagSeries(
            tag=f"{name}.PV", time=time[kept], value=_rounded(value[kept], resolution), quality=quality[kept], unit=unit
        ),
        "temperature": TagSeries(
            tag=f"{name}.TT", time=time[kept], value=_rounded(heat[kept], 0.01), quality=quality[kept], unit="degC"
        ),
    }  # fmt: skip


def _temperature(rng: np.random.Generator, seconds: FloatArray) -> FloatArray:
    """Process temperature with a weekly steam cycle; one of them hotter than the others."""
    heat = 37.0 + 1.5 * np.sin(2 * np.pi * seconds / DAY_S) + 0.05 * rng.standard_normal(seconds.size)
    for week, start in enumerate(np.arange(2.3 * DAY_S, seconds[-1], 7 * DAY_S)):
        peak = 148.0 if week == 5 else 124.0
        corners = start + np.array([0.0, 1_800.0, 3_600.0, 6_600.0])
        lo, hi = np.searchsorted(seconds, (corners[0], corners[-1]))
        shape = np.interp(seconds[lo:hi], corners, [0.0, 1.0, 1.0, 0.0])
        heat[lo:hi] += shape * (peak - heat[lo:hi])
    return heat


def _reading(
    rng: np.random.Generator, seconds: FloatArray, heat: FloatArray, *, level: float, spread: float
) -> FloatArray:
    """A correlated reading with a daily pattern, set-point steps, a probe step, a stuck day and growing noise."""
    n = seconds.size
    slow = lfilter([np.sqrt(1 - 0.999**2)], [1.0, -0.999], rng.standard_normal(n))
    value = level + spread * (slow + 0.3 * np.sin(2 * np.pi * seconds / DAY_S)) + 0.1 * spread * rng.standard_normal(n)  # fmt: skip
    at = np.sort(rng.integers(0, n, max(2, round(seconds[-1] / (20 * DAY_S)))))
    value += np.repeat(rng.normal(0, 2 * spread, at.size + 1), np.diff(np.concatenate([[0], at, [n]])))
    value -= 0.3 * spread * np.clip((heat - 60.0) / 60.0, 0.0, 1.0)
    value[int(0.6 * n) :] += 3 * spread
    stuck = int(0.3 * n)
    value[stuck : stuck + int(0.01 * n)] = value[stuck]
    value[int(0.8 * n) :] += 0.4 * spread * rng.standard_normal(n - int(0.8 * n))
    spikes = rng.integers(0, n, max(1, n // 50_000))
    value[spikes] += 8 * spread
    return np.asarray(value)


def _outage(rng: np.random.Generator, n: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    lost = np.zeros(n, np.bool_)
    for start in rng.integers(0, n, 3):
        lost[start : start + max(2, n // 500)] = True
    return lost


def _rounded(value: FloatArray, step: float) -> FloatArray:
    return np.asarray(np.round(np.round(value / step) * step, 6))


def frames(made: Made, numbers: Sequence[int] | None = None) -> Iterator[pl.DataFrame]:
    """Each tag as rows of a long export: tag, time, value, unit."""
    for number in numbers if numbers is not None else range(made.points):
        for series in series_of(made, number).values():
            yield pl.DataFrame(
                {
                    "tag": pl.Series(np.full(1, series.tag)).new_from_index(0, series.time.size),
                    "time": pl.Series(series.time).cast(pl.Datetime("ns", "UTC")),
                    "value": series.value,
                }
            )


def write_csv(made: Made, folder: Path) -> Path:
    """One long CSV in tag order with ISO times; returns the export."""
    path = folder / "export.csv"
    with path.open("wb") as out:
        for place, frame in enumerate(frames(made)):
            frame.write_csv(out, include_header=place == 0, datetime_format="%Y-%m-%dT%H:%M:%SZ")
    return path


def write_parquet(made: Made, folder: Path) -> Path:
    """One long Parquet file in tag order."""
    path = folder / "export.parquet"
    pl.concat(list(frames(made))).with_columns(pl.col("tag").cast(pl.String)).write_parquet(path)
    return path


def write_dataset(made: Made, folder: Path) -> Path:
    """A Parquet data set partitioned by tag, as folders named ``tag=...``; returns its folder."""
    home = folder / "dataset"
    for frame in frames(made):
        part = home / f"tag={frame['tag'][0]}"
        part.mkdir(parents=True)
        frame.drop("tag").write_parquet(part / "part-0.parquet")
    return home
