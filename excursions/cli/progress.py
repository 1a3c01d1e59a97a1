"""Progress on standard error: a bar for a person, nothing for a log file."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from excursions.pipeline.progress import Progress, quiet


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """Give a progress function that draws on a terminal and keeps silent elsewhere."""
    if not sys.stderr.isatty():
        yield quiet
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bars

    bars = Bars(
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    tasks: dict[str, int] = {}

    def progress(what: str, done: int, total: int) -> None:
        if what not in tasks:
            tasks[what] = bars.add_task(what, total=total)
        bars.update(tasks[what], completed=done, total=total)  # type: ignore[arg-type]

    with bars:
        yield progress
