"""The Dask engine: the same bytes as a scan here, a lost worker survived, and sentences where something is missing."""

from __future__ import annotations

import importlib
import os
import signal
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from excursions.cli.publish import publish
from excursions.errors import ExcursionsError, UsageError
from excursions.pipeline import cluster
from excursions.pipeline.cluster import ClusterEngine
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.scan import scan
from excursions.read import ReadOptions
from excursions.read.parts import find_sources
from tests.benchmarks.made_plant import Made, register_text, write_dataset
from tests.benchmarks.same_results import differences

MADE = Made(points=3, samples=12_000, every_s=60.0)


def data_set(folder: Path, *, odd: bool) -> Path:
    """A data set and its register; odd: with a neighbour, a missing value, a bad time and a row without tag."""
    write_dataset(MADE, folder)
    register = register_text(MADE)
    if odd:
        register = register.replace('value = "P001.PV"', 'value = "P001.PV"\nneighbours = ["P000"]')
        extra = pl.DataFrame(
            {"tag": ["P001.PV", None, "P002.PV"], "time": [None, datetime(2026, 1, 2), datetime(2026, 1, 2)], "value": [1.0, 2.0, None]},
            schema={"tag": pl.String, "time": pl.Datetime("ns", "UTC"), "value": pl.Float64},
        )  # fmt: skip
        extra.write_parquet(folder / "late.parquet")
    (folder / "plant.toml").write_text(register, encoding="utf-8")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize(
    ("odd", "victims"), [(False, 1), (True, 2)], ids=["plain, one of two", "with rows refused, both"]
)
def test_a_cluster_gives_the_same_bytes_though_workers_are_killed(
    odd: bool, victims: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    source = data_set(tmp_path / "data", odd=odd)
    publish(scan([source]), tmp_path / "here")
    engines: list[ClusterEngine] = []
    begin = ClusterEngine.read

    def remembered(self: ClusterEngine, *given: Any) -> Any:
        engines.append(self)
        return begin(self, *given)

    monkeypatch.setattr(ClusterEngine, "read", remembered)
    killed: list[int] = []

    def kill_some(what: str, done: int, total: int) -> None:
        if what == "reading exports" and done and not killed:
            killed.extend(list(engines[0]._client.run(os.getpid).values())[:victims])
            for process in killed:
                os.kill(process, signal.SIGKILL)

    done = scan([source], options=ScanOptions(engine="dask", jobs=2), progress=kill_some)
    publish(done, tmp_path / "there")
    assert len(killed) == victims
    assert differences(tmp_path / "here", tmp_path / "there") == []
    assert (done.refused.height > 0) == odd


def test_without_the_extra_a_sentence_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", missing)
    with pytest.raises(UsageError, match=r"excursions\[cluster\]"):
        scan(["nowhere.parquet"], options=ScanOptions(engine="dask"))


def test_workers_of_another_version_are_refused_by_name() -> None:
    class Client:
        def run(self, work: Any) -> dict[str, dict[str, str]]:
            return {"tcp://b:1": work(), "tcp://a:1": {**work(), "polars": "0.0.1"}}

    with pytest.raises(UsageError, match=r"polars 0\.0\.1 on worker tcp://a:1"):
        cluster._check_versions(Client())


def test_a_cluster_without_workers_is_refused() -> None:
    class Client:
        def run(self, work: Any) -> dict[str, dict[str, str]]:
            return {}

    with pytest.raises(UsageError, match="without workers"):
        cluster._check_versions(Client())


@pytest.mark.parametrize(
    "columns", [{"when": [datetime(2026, 1, 1)] * 3, "A": [1.0] * 3, "B": [2.0] * 3}], ids=["wide"]
)
def test_what_is_no_long_data_set_is_refused_with_the_way_out(
    columns: dict[str, list[object]], tmp_path: Path
) -> None:
    path = tmp_path / "export.parquet"
    pl.DataFrame(columns).write_parquet(path)
    with pytest.raises(ExcursionsError, match="--engine local"):
        find_sources([path], ReadOptions())


def test_text_is_refused_with_the_way_out(tmp_path: Path) -> None:
    path = tmp_path / "export.csv"
    path.write_text("tag,time,value\nA,2026-01-01T00:00:00Z,1\nA,2026-01-01T00:01:00Z,2\n")
    with pytest.raises(UsageError, match="--engine local"):
        find_sources([path], ReadOptions())
