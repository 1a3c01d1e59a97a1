"""``excursions explain``: one moment, range or event of one point; the answer first, then why."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from excursions.cli.options import (
    AsJson,
    CalibrationLogs,
    Columns,
    DisplayUnits,
    Exports,
    Jobs,
    PointName,
    RegisterFile,
    SampleLists,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads


@reads
def explain(
    exports: Exports,
    point: PointName = "",
    at: Annotated[
        str,
        typer.Option(
            "--at",
            help='Moment, e.g. "2026-06-26 14:05", "26 Jun 14:05", "Tuesday 14:05", "14:05".',
            show_default="the present trouble, else the newest event",
        ),
    ] = "",
    start: Annotated[
        str,
        typer.Option(
            "--from", help='Start of a range; a day alone ("26 Jun") is meant whole.', show_default=False
        ),
    ] = "",
    end: Annotated[str, typer.Option("--to", help="End of a range.", show_default="end of the record")] = "",
    calibrations: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for a page zoomed to the moment.", show_default=False)
    ] = None,
    reading: HowToRead = AS_FOUND,
    columns: Columns = None,
    jobs: Jobs = 0,
    display_units: Annotated[
        DisplayUnits, typer.Option("--display-units", help="Temperatures on the page and here.")
    ] = DisplayUnits.DEGC,
    as_json: AsJson = False,
) -> None:
    """Say what is known about one reading: trust it or not, since when, how wrong, why, what to do.

    Example: excursions explain sample_data/plant --point F1-PH2 --at "27 Jun 14:05" --out moment

    Exit status: 0 answered, 2 wrong usage or input.
    """
    from excursions.cli.answer import print_explanation
    from excursions.cli.asked import closer_to, focus_of, named_among, the_point
    from excursions.cli.scanned import scanned
    from excursions.report.explain import explain as explained

    exports, point = named_among(exports, point)
    options = reading.options(columns, jobs=jobs)
    closer = closer_to(point, at, start, end)
    done = scanned(exports, calibrations, samples, register, options, closer=closer)
    name = the_point(done.result, point)
    answer = explained(done.result, name, focus_of(done.result, name, at, start, end))
    page = None
    if out is not None:
        from dashboards import write_moment

        page = write_moment(done.result, answer, out, display_units=display_units.value)
    print_explanation(answer, done.result, page, display_units=display_units.value, as_json=as_json)
