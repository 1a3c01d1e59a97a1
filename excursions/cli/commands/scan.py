"""``excursions scan``: from files to findings, pages and tables."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from excursions.cli.options import (
    AsJson,
    CalibrationLogs,
    Columns,
    DisplayUnits,
    Engine,
    EngineName,
    Exports,
    FailOn,
    Jobs,
    RegisterFile,
    SampleLists,
    Scheduler,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads


@reads
def scan(
    exports: Exports,
    out: Annotated[Path, typer.Option("--out", help="Folder for pages and tables.")] = Path("report"),
    calibrations: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    reading: HowToRead = AS_FOUND,
    columns: Columns = None,
    jobs: Jobs = 0,
    engine: Engine = EngineName.LOCAL,
    scheduler: Scheduler = "",
    fail_on: Annotated[
        FailOn, typer.Option("--fail-on", help="Severity from which the exit status is 1.")
    ] = FailOn.CHECK,
    display_units: Annotated[
        DisplayUnits, typer.Option("--display-units", help="Temperatures on pages and in the answer.")
    ] = DisplayUnits.DEGC,
    as_json: AsJson = False,
) -> None:
    """Read exports and calibrations, find what happened to each probe, write pages and tables.

    Example: excursions scan sample_data/plant --out report

    Exit status: 0 nothing found, 1 findings at or above --fail-on, 2 wrong usage or input.
    """
    from excursions.cli.progress import shown_progress
    from excursions.cli.publish import publish, since_last
    from excursions.cli.summary import exit_status, print_json, print_summary
    from excursions.errors import UsageError
    from excursions.pipeline.scan import scan as run_scan

    if scheduler and engine is not EngineName.DASK:
        raise UsageError(
            found=f"--scheduler {scheduler} with --engine {engine.value}",
            expected="--engine dask",
            mend="add --engine dask or leave --scheduler out",
        )
    options = reading.options(columns, jobs=jobs, engine=engine.value, scheduler=scheduler)
    with shown_progress() as progress:
        done = run_scan(
            exports,
            calibrations=calibrations or [],
            samples=samples or [],
            register=register,
            options=options,
            progress=progress,
        )
        done = since_last(done, out)
        page = publish(done, out, display_units=display_units.value, progress=progress, jobs=jobs)
    if as_json:
        print_json(done, page, display_units=display_units.value)
    else:
        print_summary(done, page, display_units=display_units.value)
    raise typer.Exit(exit_status(done, fail_on.value))
