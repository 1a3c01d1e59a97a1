"""``excursions heat``: which probe had how much heat, and what one steam-out did to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from excursions.cli.options import (
    AsJson,
    CalibrationLogs,
    Columns,
    DisplayUnits,
    Jobs,
    RegisterFile,
    SampleLists,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads

if TYPE_CHECKING:
    from excursions.cli.heat_asked import Row
    from excursions.pipeline.scan import Scan
    from excursions.plant import Plant

OptionalExports = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[EXPORT...]",
        help="Exported files or folders; a folder may hold all inputs. Not needed with --report.",
        show_default=False,
    ),
]


@reads
def heat(
    exports: OptionalExports = None,
    report: Annotated[
        Path | None,
        typer.Option(
            "--report",
            metavar="DIR",
            help="Answer from a finished report; nothing is read again.",
            show_default=False,
        ),
    ] = None,
    probe: Annotated[str, typer.Option("--probe", help="Serial number.", show_default="all")] = "",
    point: Annotated[str, typer.Option("--point", help="Measuring point.", show_default="all")] = "",
    at: Annotated[
        str,
        typer.Option("--at", help='Moment of a steam-out, e.g. "26 Jun 12:30".', show_default="the hottest"),
    ] = "",
    calibrations: CalibrationLogs = None,
    samples: SampleLists = None,
    register: RegisterFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for pages and tables.", show_default=False)
    ] = None,
    reading: HowToRead = AS_FOUND,
    columns: Columns = None,
    jobs: Jobs = 0,
    display_units: Annotated[
        DisplayUnits, typer.Option("--display-units", help="Temperatures here and on pages.")
    ] = DisplayUnits.DEGC,
    as_json: AsJson = False,
) -> None:
    """Say whether heat hurt a probe, and which probes had the most of it.

    Example: excursions heat sample_data/plant --probe QP-1131

    Example: excursions heat --report report --point F1-PH2 --at "26 Jun 12:30"

    Exit status: 0 answered, 2 wrong usage or input.
    """
    from excursions import clock
    from excursions.cli.asked import named_among, told_moment
    from excursions.cli.heat import print_heat
    from excursions.cli.heat_asked import Heat, choose, read_report
    from excursions.cli.scanned import scanned
    from excursions.errors import UsageError

    exports, probe = named_among(exports or [], probe, alone=report is not None)
    if bool(exports) == bool(report):
        raise UsageError(
            found="both exports and --report" if exports else "neither exports nor --report",
            expected="exported files, or a finished report",
            mend="write for example: excursions heat sample_data/plant, or: excursions heat --report report",
        )
    page: Path | None = None
    if report is not None:
        if out is not None:
            raise UsageError(
                found="--out with --report",
                expected="one of them",
                mend="its pages are in the report already",
            )
        lives, exposures, plant = read_report(report)
        page = report / "index.html" if (report / "index.html").is_file() else None
    else:
        options = reading.options(columns, jobs=jobs)
        done = scanned(exports, calibrations, samples, register, options)
        lives, exposures, plant = _rows(done)
        page = _publish(done, out, display_units.value) if out is not None else None
    tzinfo = clock.zone(plant.zone)
    last = max((clock.to_ns(row["last"]) for row in lives if row["last"] is not None), default=0)  # type: ignore[arg-type]
    first = min((clock.to_ns(row["first"]) for row in lives if row["first"] is not None), default=last)  # type: ignore[arg-type]
    when = told_moment(at, tzinfo, last, first) if at else None
    found = Heat(
        lives=lives, exposures=exposures, tz=tzinfo, unit=display_units.value, page=page, plant=plant
    )
    answer = choose(found, probe=probe, point=point, at=when)
    print_heat(found, answer, as_json=as_json)


def _rows(done: Scan) -> tuple[Sequence[Row], Sequence[Row], Plant]:
    from excursions.report.life import exposures_table, lives_table
    from excursions.report.lives import probe_lives

    lives = probe_lives(done.result)
    tables = lives_table(done.result, lives), exposures_table(done.result, lives)
    points = tuple(replace(f.point, unit=f.exported_unit) for f in done.result.points)
    return tables[0].to_dicts(), tables[1].to_dicts(), replace(done.result.plant, points=points)


def _publish(done: Scan, out: Path, units: str) -> Path:
    from excursions.cli.publish import publish, since_last

    return publish(since_last(done, out), out, display_units=units)
