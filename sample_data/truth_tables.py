"""Reads the committed truth back, for tests and benchmarks."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import polars as pl

from sample_data.simulator.truth import TruthRow

TRUTH = Path(__file__).parent / "truth"


def read_events(path: Path = TRUTH / "events.csv") -> tuple[TruthRow, ...]:
    """Rows of ``events.csv``, times in ns UTC."""
    table = pl.read_csv(path, schema_overrides={"note": pl.String, "mode": pl.String}).fill_null("")
    return tuple(
        TruthRow(
            row["point"], row["probe"], row["kind"], _ns(row["start"]), _ns(row["end"]), row["size"], row["unit"],
            row["role"], row["mode"], row["noise_one_minute"], row["noise_one_hour"], row["noise_one_day"], row["note"],
        )
        for row in table.iter_rows(named=True)
    )  # fmt: skip


def _ns(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp()) * 1_000_000_000
