"""``excursions check``: how the files are understood, and what the record can show, without searching it."""

from __future__ import annotations

import time
from typing import Annotated

import typer

from excursions.cli.options import (
    CalibrationLogs,
    Columns,
    DateOrderOption,
    DateSystemOption,
    DecimalMark,
    Encoding,
    Exports,
    MixedUnits,
    MixedUnitsOption,
    RegisterFile,
    SampleLists,
    Separator,
    SheetName,
    Zone,
    scan_options,
)


def check(
    exports: Exports,
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
    everything: Annotated[bool, typer.Option("--all", help="Show every file, decision and signal.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print all of it as JSON on standard output.")
    ] = False,
) -> None:
    """Say how each file is understood and what its record can and cannot show; search nothing.

    Example: excursions check sample_data/plant

    Exit status: 0 something could be used, 2 nothing could, or wrong usage.
    """
    from excursions.cli.checked import exit_status, print_check
    from excursions.cli.progress import shown_progress
    from excursions.pipeline.check import check as run_check

    options = scan_options(
        tz,
        decimal_mark,
        separator,
        date_order,
        encoding,
        columns,
        1,
        sheet=sheet,
        date_system=date_system,
        mixed_units=mixed_units,
    )
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
