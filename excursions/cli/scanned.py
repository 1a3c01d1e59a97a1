"""A scan for an answer in the terminal: progress on the way, and what is to mend in the input beside the answer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from excursions.cli.progress import shown_progress
from excursions.errors import ExcursionsError
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.scan import Closer, Keep, Scan, scan


def scanned(
    exports: Sequence[Path],
    calibrations: Sequence[Path] | None,
    samples: Sequence[Path] | None,
    register: Path | None,
    options: ScanOptions,
    *,
    closer: Closer | None = None,
    keep: Keep | None = None,
) -> Scan:
    """Scan what a command names; `closer` and `keep` as for :func:`excursions.pipeline.scan.scan`."""
    with shown_progress() as progress:
        done = scan(
            exports,
            calibrations=calibrations or (),
            samples=samples or (),
            register=register,
            options=options,
            progress=progress,
            closer=closer,
            keep=keep,
        )
    _note_problems(done.problems)
    return done


def _note_problems(problems: Sequence[ExcursionsError]) -> None:
    """Say on standard error what is to mend in the input, beside an answer that goes on without it."""
    if problems:
        more = f" ({len(problems) - 1} more: run scan)" if len(problems) > 1 else ""
        typer.echo(f"Note: to mend in the input: {problems[0]}{more}", err=True)
