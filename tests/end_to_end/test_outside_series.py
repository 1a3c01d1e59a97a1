"""Series that others published or carry in their packages, through the whole scan, unchanged."""

from __future__ import annotations

import importlib.resources
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.end_to_end.conftest import run_command

pytestmark = pytest.mark.reference


def scanned(path: Path, out: Path) -> pl.DataFrame:
    done = run_command("scan", path, "--out", out)
    assert done.status in (0, 1), done.err
    return pl.read_parquet(out / "tables/events.parquet")


def test_the_nile_fell_in_1898_or_1899(tmp_path: Path) -> None:
    """Annual flow of the Nile at Aswan 1871-1970; change at 1898/99: Cobb (1978), Biometrika 65, 243; data: statsmodels."""
    from statsmodels.datasets import nile

    data = nile.load_pandas().data
    path = tmp_path / "nile.csv"
    pl.DataFrame(
        {
            "time": [f"{int(year)}-01-01T00:00:00Z" for year in data["year"]],
            "NILE.FLOW": data["volume"].to_numpy(),
        }
    ).write_csv(path)
    steps = scanned(path, tmp_path / "out").filter(kind="step")
    assert steps.height >= 1
    largest = steps.sort(pl.col("size").abs(), descending=True).row(0, named=True)
    assert 1897 <= largest["start"].year <= 1900
    assert largest["size"] == pytest.approx(-248, abs=60)  # 1098 before and 850 after, Cobb (1978)


def test_water_flow_of_a_pipeline_branch(tmp_path: Path) -> None:
    """Hourly flow with four labelled segments (low flows and a pumping peak), carried by the river package."""
    source = importlib.resources.files("river.datasets") / "water-flow.csv"
    frame = pl.read_csv(source.read_text().encode())
    path = tmp_path / "flow.csv"
    frame.write_csv(path)
    events = scanned(path, tmp_path / "out")
    points = pl.read_parquet(tmp_path / "out/tables/points.parquet")
    assert points.height == 1
    assert points["samples"][0] == frame.height
    # A flow is no probe of ours: the record may be remarked on, but not more than a handful of times.
    assert events.filter((pl.col("origin") == "probe") & (pl.col("confidence") >= 0.5)).height <= 3
    low = events.filter(kind="step")  # the three low stretches of its description, told as the process's
    assert {"03-24", "03-29", "04-27"} <= {f"{start:%m-%d}" for start in low["start"]}
    assert low["origin"].unique().to_list() == ["process"]
    assert low.height <= 4


def test_a_river_that_flows_as_ever_is_left_alone(tmp_path: Path) -> None:
    """A stationary AR(1) record, half a year at ten minutes: nothing to report about any probe."""
    random = np.random.default_rng(11)
    from scipy.signal import lfilter

    noise = lfilter([0.05], [1, -0.95], random.standard_normal(26_000))
    time = np.datetime64("2026-01-01T00:00:00", "ms") + np.arange(26_000) * np.timedelta64(600_000, "ms")
    path = tmp_path / "quiet.csv"
    pl.DataFrame({"time": time, "QI-7.PV": (5 + noise).round(4)}).write_csv(path)
    events = scanned(path, tmp_path / "out")
    assert events.filter((pl.col("origin") == "probe") & (pl.col("severity") != "note")).height == 0
