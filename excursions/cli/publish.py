"""From a finished scan to a folder of pages and tables."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from excursions.pipeline.run import Progress, quiet
from excursions.pipeline.scan import Scan
from excursions.report.changes import compared
from excursions.report.earlier import read_earlier
from excursions.report.write import write_tables


def since_last(done: Scan, out: Path) -> Scan:
    """Compare with the run whose report lies in the folder, before it is overwritten."""
    return dataclasses.replace(done, result=compared(done.result, read_earlier(out)))


def publish(done: Scan, out: Path, *, display_units: str = "degC", progress: Progress = quiet) -> Path:
    """Write tables and pages; returns the path of the page to open first."""
    from dashboards import write_site

    write_tables(done.result, done.refused, out)
    return write_site(done.result, out, display_units=display_units, progress=progress)
