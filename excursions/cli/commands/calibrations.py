"""``excursions calibrations``: every calibration of the log, and what the record says about it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from excursions.cli.options import (
    AsJson,
    CalibrationLogs,
    Columns,
    DisplayUnits,
    Exports,
    Jobs,
    RegisterFile,
    SampleLists,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads

if TYPE_CHECKING:
    from collections.abc import Mapping

    from excursions.records import TagSeries
    from excursions.report.result import ScanResult


@reads
def calibrations(
    exports: Exports,
    point: Annotated[str, typer.Option("--point", help="Measuring point.", show_default="all")] = "",
    probe: Annotated[str, typer.Option("--probe", help="Serial number.", show_default="all")] = "",
    since: Annotated[
        str,
        typer.Option("--since", help='First day, e.g. "2026-05-01".', show_default="all"),
    ] = "",
    logs: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the tables.", show_default=False)
    ] = None,
    corrected: Annotated[
        Path | None,
        typer.Option(
            "--corrected",
            help="Folder for every sample of doubtful points with its correction, beside the original.",
            show_default=False,
        ),
    ] = None,
    csv: Annotated[bool, typer.Option("--csv", help="Corrected samples as CSV instead of Parquet.")] = False,
    reading: HowToRead = AS_FOUND,
    columns: Columns = None,
    jobs: Jobs = 0,
    display_units: Annotated[
        DisplayUnits, typer.Option("--display-units", help="Temperatures in the answer.")
    ] = DisplayUnits.DEGC,
    as_json: AsJson = False,
) -> None:
    """List calibrations: as found, as left, what shifted and why, doubt, whether the record shows them, next due.

    Example: excursions calibrations sample_data/plant --point F1-PH

    Exit status: 0 answered, 2 wrong usage or input.
    """
    import shutil

    from dashboards.slug import slug
    from excursions.cli.asked import known_probe, since_of, the_point
    from excursions.cli.scanned import scanned
    from excursions.cli.told import WIDTH, history_facts, history_lines
    from excursions.pipeline.whole import corrected_samples
    from excursions.report.history import history, unclaimed
    from excursions.report.write import write_corrected, write_tables

    def export(found: ScanResult, series: Mapping[str, TagSeries]) -> None:
        assert corrected is not None
        only = the_point(found, point) if point else ""
        for named, frame in corrected_samples(found, series, point=only):
            path = write_corrected(frame, corrected / f"{slug(named)}.{'csv' if csv else 'parquet'}")
            typer.echo(f"Corrected: {path} ({frame.height} samples)", err=True)

    options = reading.options(columns, jobs=jobs)
    done = scanned(exports, logs, samples, register, options, keep=export if corrected else None)
    result = done.result
    name = the_point(result, point) if point else ""
    serial = known_probe(result, probe) if probe else ""
    first = since_of(result, since)
    told = history(result, point=name, probe=serial, since=first)
    loose = () if serial else unclaimed(result, name, first)
    if as_json:
        facts = history_facts(told, loose, result, display_units=display_units.value)
        typer.echo(json.dumps(facts, indent=2, ensure_ascii=False))
    else:
        width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns)
        lines = history_lines(told, loose, result, width, display_units=display_units.value)
        typer.echo("\n".join(lines))
    if out is not None:
        write_tables(result, done.refused, out)
        typer.echo(f"Tables: {out / 'tables'}", err=True)
