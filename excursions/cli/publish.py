"""From a finished scan to a folder of pages and tables."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from excursions.pipeline.crew import Crew
from excursions.pipeline.run import Progress, quiet
from excursions.pipeline.scan import Scan
from excursions.report.changes import compared
from excursions.report.earlier import read_earlier
from excursions.report.write import write_tables

PAGES_WORTH_A_WORKER = 40  # starting a worker, which imports plotly, costs as much as drawing about so many


def shared_out(jobs: int) -> Callable[[Callable[[Any], bytes], Sequence[Any]], Iterator[bytes]]:
    """A ``map`` over as many processes as asked, or (0) as pay: same results, same order."""

    def each(work: Callable[[Any], bytes], sheets: Sequence[Any]) -> Iterator[bytes]:
        hands = min(jobs or os.cpu_count() or 1, max(len(sheets) // PAGES_WORTH_A_WORKER, 1))
        with Crew(work, hands) as crew:
            yield from crew.run(sheets, len(sheets))

    return each


def since_last(done: Scan, out: Path) -> Scan:
    """Compare with the run whose report lies in the folder, before it is overwritten."""
    return dataclasses.replace(done, result=compared(done.result, read_earlier(out)))


def publish(
    done: Scan, out: Path, *, display_units: str = "degC", progress: Progress = quiet, jobs: int = 1
) -> Path:
    """Write tables and pages; returns the path of the page to open first."""
    from dashboards import write_site

    write_tables(done.result, done.refused, out, done.contradicted)
    return write_site(done.result, out, display_units=display_units, progress=progress, each=shared_out(jobs))
