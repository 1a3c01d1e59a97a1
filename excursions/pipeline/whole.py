"""Every sample of a doubtful point with its estimated correction: to export beside the original, never over it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import polars as pl

from excursions.condition import condition
from excursions.link import band_at, corrected
from excursions.records import Doubt, Signal, TagSeries
from excursions.report.result import ScanResult
from excursions.report.rounded import to_uncertainty

TIME = pl.Datetime("ns", "UTC")


def corrected_samples(
    result: ScanResult, series: Mapping[str, TagSeries], *, point: str = ""
) -> Iterator[tuple[str, pl.DataFrame]]:
    """Yield (point, frame) for each point with readings to doubt, or for one, if asked.

    Returns
    -------
    frame
        A row a sample in order of time: time (UTC), value (the reading; only its unit may differ from the file's),
        corrected (less the estimated error), band (half width of its 90 % band, null outside the windows), doubtful, unit.
    """
    for findings in result.points:
        where = findings.point
        windows = [d for d in result.told_doubts if d.point == where.name and d.knots]
        tag = where.tags.get("value", "")
        if not windows or tag not in series or point not in ("", where.name):
            continue
        signal = condition(series[tag], measurand=where.measurand, unit=where.unit).signal
        yield where.name, _frame(signal, windows)


def _frame(signal: Signal, windows: Sequence[Doubt]) -> pl.DataFrame:
    band = np.full(signal.time.shape, np.nan)
    for window in windows:
        inside = (signal.time >= window.start) & (signal.time < window.end)
        band[inside] = band_at(signal.time[inside], window)
    return pl.DataFrame(
        {
            "time": pl.Series(signal.time).cast(TIME),
            "value": signal.value,
            "corrected": to_uncertainty(corrected(signal.time, signal.value, windows), band),
            "band": to_uncertainty(band, band),
            "doubtful": np.isfinite(band),
            "unit": signal.unit,
        }
    ).with_columns(pl.col("value", "corrected", "band").fill_nan(None))
