"""``excursions scan``: from files to findings, pages and tables."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from excursions.cli.options import (
    CalibrationLogs,
    Columns,
    DateOrderOption,
    DateSystemOption,
    DecimalMark,
    DisplayUnits,
    Encoding,
    Engine,
    EngineName,
    Exports,
    FailOn,
    MixedUnits,
    MixedUnitsOption,
    RegisterFile,
    SampleLists,
    Scheduler,
    Separator,
    SheetName,
    Zone,
    scan_options,
)


def scan(
    exports: Exports,
    out: Annotated[Path, typer.Option("--out", help="Folder for pages and tables.")] = Path("report"),
    calibrations: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    tz: Zone = "",
    decimal_mark: DecimalMark = "",
    separator: Separator = "",
    date_order: DateOrderOption = None,
    encoding: Encoding = "",
    sheet: SheetName = "",
    date_system: DateSystemOption = None,
    mixed_units: MixedUnitsOption = MixedUnits.APART,
    columns: Columns = None,
    jobs: Annotated[int, typer.Option("--jobs", min=0, help="Processes; 0 chooses.")] = 0,
    engine: Engine = EngineName.LOCAL,
    scheduler: Scheduler = "",
    fail_on: Annotated[
        FailOn, typer.Option("--fail-on", help="Severity from which the exit status is 1.")
    ] = FailOn.CHECK,
    display_units: Annotated[
        DisplayUnits, typer.Option("--display-units", help="Temperatures on pages.")
    ] = DisplayUnits.DEGC,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the summary as JSON on standard output.")
    ] = False,
) -> None:
    """Read exports and calibrations, find what happened to each probe, write pages and tables.

    Example: excursions scan sample_data/plant --out report

    Exit status: 0 nothing found, 1 findings at or above --fail-on, 2 wrong usage or input.
    """
    from excursions.cli.progress import shown_progress
    from excursions.cli.publish import publish, since_last
    from excursions.cli.summary import exit_status, print_json, print_summary
    from excursions.pipeline.scan import scan as run_scan

    options = scan_options(
        tz,
        decimal_mark,
        separator,
        date_order,
        encoding,
        columns,
        jobs,
        engine,
        scheduler,
        sheet=sheet,
        date_system=date_system,
        mixed_units=mixed_units,
    )
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
        page = publish(done, out, display_units=display_units.value, progress=progress)
    (print_json if as_json else print_summary)(done, page)
    raise typer.Exit(exit_status(done, fail_on.value))
