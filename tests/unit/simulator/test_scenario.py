"""The committed plant: complete, small, and made again byte for byte."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl
import pytest

from excursions.kinds import KINDS
from sample_data.build import write_scenario
from sample_data.simulator.scenario import GROUPS, SEED, scenario, specs
from sample_data.truth_tables import read_events

HERE = Path(__file__).parents[3] / "sample_data"
LOOKALIKES = {
    "lookalike_setpoint_step",
    "lookalike_quiet_weekend",
    "lookalike_hold",
    "lookalike_bridged",
    "lookalike_hot_day",
    "lookalike_process_drift",
    "lookalike_quiet_process",
    "routine_sterilisation",
}


UNPLANTED = {
    "sterilisation",
    "hidden_heat",
    "switching",
    "slow_return",
}  # a look-alike of its own; nothing of the plant is recorded so coarsely; no ground loop through a pump and no moisture yet


def test_every_event_kind_happens_and_every_look_alike_too() -> None:
    kinds = {row.kind for row in read_events()}
    assert set(KINDS) - kinds == UNPLANTED
    assert kinds >= LOOKALIKES


def test_at_least_eight_points_of_six_measurands_in_three_dialects() -> None:
    points = specs()
    assert len(points) >= 8
    assert len({spec.measurand for spec in points}) >= 6
    assert {name for names in GROUPS.values() for name in names} == {spec.name for spec in points}


def test_everything_fits_into_eight_megabytes() -> None:
    size = sum(
        path.stat().st_size for path in HERE.rglob("*") if path.is_file() and "__pycache__" not in path.parts
    )
    assert size < 8e6


def content(path: Path) -> object:
    """What a file says, whatever packed it: another zlib or Parquet writer may pack the same table in other bytes."""
    if path.suffix == ".gz":
        return gzip.decompress(path.read_bytes())
    return pl.read_parquet(path).to_dict(as_series=False) if path.suffix == ".parquet" else path.read_bytes()


@pytest.mark.slow
def test_the_committed_files_are_made_again(tmp_path: Path) -> None:
    write_scenario(scenario(SEED), tmp_path / "plant", tmp_path / "truth")
    for folder in ("plant", "truth"):
        names = sorted(path.name for path in (HERE / folder).iterdir())
        assert names == sorted(path.name for path in (tmp_path / folder).iterdir())
        differ = [n for n in names if content(tmp_path / folder / n) != content(HERE / folder / n)]
        assert differ == []
