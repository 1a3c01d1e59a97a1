"""From the file to the page: the lowest and highest reading inside every event is drawn, to the exact value."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from dashboards.figures.pack import unpack_array
from dashboards.slug import slug
from excursions.condition import condition
from excursions.read import ReadOptions, read_exports
from excursions.register import load_register
from tests.end_to_end.conftest import PLANT, Finished

POINTS = (
    "C1-LF",
    "F1-PH",
    "W1-LF",
)  # recorded each minute, thinned on the page; heat, standstill, impossible readings


def drawn(out: Path, point: str, role: str, zone: str) -> tuple[np.ndarray, np.ndarray]:
    """Instants [ns UTC] and values that the page of a point draws."""
    text = (out / "points" / f"{slug(point)}.html").read_text(encoding="utf-8")
    spec = json.loads(re.search(r'id="figure">(.*?)</script>', text, re.S).group(1))  # type: ignore[union-attr]
    trace = next(t for t in spec["data"] if t.get("meta") == role)
    wall = pl.Series(unpack_array(trace["x"]).round().astype(np.int64) * 1_000_000).cast(pl.Datetime("ns"))
    utc = wall.dt.replace_time_zone(zone, ambiguous="earliest").dt.epoch("ns")
    return utc.to_numpy(), unpack_array(trace["y"])


@pytest.mark.slow
def test_every_extreme_inside_an_event_is_on_the_page(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    plant = load_register(PLANT / "plant.toml").plant
    series = read_exports(sorted(PLANT.glob("*export*")), ReadOptions().for_plant(plant)).series
    events = pl.read_parquet(out / "tables" / "events.parquet")
    compared = 0
    for name in POINTS:
        point = plant.point(name)
        assert point is not None
        for role, tag, measurand in (
            ("value", point.value, point.measurand),
            ("temperature", point.temperature, "temperature"),
        ):
            signal = condition(series[tag], measurand=measurand, unit="").signal
            time, value = drawn(out, name, role, plant.zone)
            assert time.size < len(signal) / 5
            for row in events.filter(point=name).iter_rows(named=True):
                start, end = (int(pl.Series([row[k]]).dt.epoch("ns")[0]) for k in ("start", "end"))
                # The page's clock ticks in milliseconds; an edge between two samples may fall either way.
                whole = signal.value[(signal.time >= start) & (signal.time < end)]
                shown = value[(time >= start - 1_000_000) & (time < end + 1_000_000)]
                if not np.isfinite(whole).any():
                    continue
                assert np.nanmin(whole) in shown
                assert np.nanmax(whole) in shown
                compared += 1
    assert compared > 50
