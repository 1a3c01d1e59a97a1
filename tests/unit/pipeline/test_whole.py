"""Every sample of a doubtful point with its correction, beside the original."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.errors import UsageError
from excursions.pipeline.whole import corrected_samples
from excursions.records import Doubt, TagSeries
from excursions.report.result import ScanResult
from excursions.report.write import write_corrected
from tests.unit.dashboards.made_result import made_result

HOURS = 48


def doubtful() -> tuple[ScanResult, dict[str, TagSeries], str]:
    """One point with a window from hour 10 to hour 20 whose error grows from 0 to 1; two days of 5.0 every minute."""
    whole = made_result()
    findings = whole.points[0]
    tag = findings.point.tags["value"]
    time = np.arange(HOURS * 60, dtype=np.int64) * (NS_PER_HOUR // 60)
    series = TagSeries(
        tag=tag, time=time, value=np.full(time.size, 5.0), quality=np.zeros(time.size, np.uint8)
    )
    window = Doubt(
        point=findings.point.name, probe="", start=10 * NS_PER_HOUR, end=20 * NS_PER_HOUR, open_end=False,
        knots=((10 * NS_PER_HOUR, 0.0), (20 * NS_PER_HOUR, 1.0)), band=(0.2, 0.4), basis="drift", hours_out_of_tolerance=9.0,
    )  # fmt: skip
    return replace(whole, points=(findings,), doubts=(window,)), {tag: series}, findings.point.name


def test_every_sample_is_there_and_only_doubtful_ones_are_corrected() -> None:
    result, series, name = doubtful()
    ((point, frame),) = corrected_samples(result, series)
    assert point == name
    assert frame.height == HOURS * 60
    assert frame["value"].to_list() == [5.0] * frame.height
    middle = frame.row(15 * 60, named=True)
    assert (middle["corrected"], middle["band"], middle["doubtful"]) == pytest.approx((4.5, 0.3, True))
    outside = frame.filter(~pl.col("doubtful"))
    assert outside.height == (HOURS - 10) * 60
    assert (outside["corrected"] == outside["value"]).all()
    assert outside["band"].null_count() == outside.height


def test_another_point_has_none() -> None:
    result, series, _ = doubtful()
    assert list(corrected_samples(result, series, point="elsewhere")) == []


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_an_earlier_export_is_renewed_and_another_file_is_never_written_over(
    ending: str, tmp_path: Path
) -> None:
    result, series, _ = doubtful()
    ((_, frame),) = corrected_samples(result, series)
    path = tmp_path / f"point.{ending}"
    write_corrected(frame.head(5), path)
    write_corrected(frame, path)
    read = pl.read_csv(path) if ending == "csv" else pl.read_parquet(path)
    assert read.height == frame.height
    path.write_text("time,value\n2026-01-01,5.0\n")
    with pytest.raises(UsageError, match="holds something else"):
        write_corrected(frame, path)
    assert path.read_text().startswith("time,value\n2026")
