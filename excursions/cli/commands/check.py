"""``excursions check``: how the files are understood, and what the record can show, without searching it."""

from __future__ import annotations

import time
from typing import Annotated

import typer

from excursions.cli.options import (
    AsJson,
    CalibrationLogs,
    Columns,
    Exports,
    RegisterFile,
    SampleLists,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads


@reads
def check(
    exports: Exports,
    calibrations: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    reading: HowToRead = AS_FOUND,
    columns: Columns = None,
    everything: Annotated[bool, typer.Option("--all", help="Show every file, decision and signal.")] = False,
    as_json: AsJson = False,
) -> None:
    """Say how each file is understood and what its record can and cannot show; search nothing.

    Example: excursions check sample_data/plant

    Exit status: 0 something could be used, 2 nothing could, or wrong usage.
    """
    from excursions.cli.checked import exit_status, print_check
    from excursions.cli.progress import shown_progress
    from excursions.pipeline.check import check as run_check

    options = reading.options(columns, jobs=1)
    with shown_progress() as progress:
        found = run_check(
            exports,
            calibrations=calibrations or [],
            samples=samples or [],
            register=register,
            options=options,
            now=time.time_ns(),
            progress=progress,
        )
    print_check(found, everything=everything, as_json=as_json)
    raise typer.Exit(exit_status(found))
