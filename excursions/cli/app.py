"""The commands.  Heavy imports happen inside them, so that ``--help`` answers at once."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from excursions import __version__

if TYPE_CHECKING:
    from excursions.pipeline.scan import ScanOptions

app = typer.Typer(
    name="excursions",
    help=(
        "Reads exports of a plant historian with the in-line analytical probe in mind: was it cooked, is it stuck, "
        "noisy or fouled, since when are its readings to be doubted and by how much. "
        "Releases no batch and protects no plant: local procedures and authorised people decide."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


class FailOn(StrEnum):
    """From which severity on a finding makes the exit status 1."""

    NOTE = "note"
    CHECK = "check"
    ACT = "act"
    NEVER = "never"


class DisplayUnits(StrEnum):
    """Unit of temperatures on pages."""

    DEGC = "degC"
    DEGF = "degF"


class DateOrder(StrEnum):
    """How dates such as 03/04/2026 are written."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"
    YEAR_FIRST = "year-first"


Exports = Annotated[
    list[Path],
    typer.Argument(
        metavar="EXPORT...",
        help="Exported files or folders; a folder may hold all inputs.",
        show_default=False,
    ),
]
RegisterFile = Annotated[
    Path | None, typer.Option("--register", help="Register of the plant (TOML).", show_default=False)
]
Zone = Annotated[
    str,
    typer.Option(
        "--tz", help="Zone of times without one, e.g. Europe/Vienna.", show_default="the register's, else UTC"
    ),
]
DecimalMark = Annotated[
    str,
    typer.Option(
        "--decimal-mark", help='"," or "." where it cannot be told.', show_default="decided from the file"
    ),
]
Separator = Annotated[
    str, typer.Option("--separator", help="Character between columns.", show_default="decided from the file")
]
DateOrderOption = Annotated[
    DateOrder | None,
    typer.Option("--date-order", help="Order of day and month.", show_default="decided from the file"),
]
Encoding = Annotated[
    str, typer.Option("--encoding", help="Text encoding, e.g. cp1252.", show_default="decided from the file")
]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--columns",
        metavar="ROLE=NAME",
        help="Name a column of a calibration log or sample list, e.g. probe=Serial.",
        show_default=False,
    ),
]


def _version(shown: bool) -> None:
    if shown:
        typer.echo(f"excursions {__version__}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Options before the command."""


@app.command()
def scan(
    exports: Exports,
    out: Annotated[Path, typer.Option("--out", help="Folder for pages and tables.")] = Path("report"),
    calibrations: Annotated[
        list[Path] | None,
        typer.Option("--calibrations", help="Calibration log.", exists=True, show_default=False),
    ] = None,
    samples: Annotated[
        list[Path] | None,
        typer.Option("--samples", help="Laboratory samples.", exists=True, show_default=False),
    ] = None,
    register: RegisterFile = None,
    tz: Zone = "",
    decimal_mark: DecimalMark = "",
    separator: Separator = "",
    date_order: DateOrderOption = None,
    encoding: Encoding = "",
    columns: Columns = None,
    jobs: Annotated[int, typer.Option("--jobs", min=0, help="Processes; 0 chooses.")] = 0,
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
    from excursions.cli.publish import publish
    from excursions.cli.summary import exit_status, print_json, print_summary
    from excursions.pipeline.scan import scan as run_scan

    options = _scan_options(tz, decimal_mark, separator, date_order, encoding, columns, jobs)
    with shown_progress() as progress:
        done = run_scan(
            exports,
            calibrations=calibrations or [],
            samples=samples or [],
            register=register,
            options=options,
            progress=progress,
        )
        page = publish(done, out, display_units=display_units.value, progress=progress)
    (print_json if as_json else print_summary)(done, page)
    raise typer.Exit(exit_status(done, fail_on.value))


@app.command()
def register(
    exports: Exports,
    known: Annotated[
        Path | None,
        typer.Option("--register", help="Register to complete; its comments stay.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write here instead of standard output.", show_default=False)
    ] = None,
    tz: Zone = "",
    decimal_mark: DecimalMark = "",
    separator: Separator = "",
    date_order: DateOrderOption = None,
    encoding: Encoding = "",
) -> None:
    """Write down what an export shows of the plant, as a commented register to correct.

    Example: excursions register sample_data/plant --out plant.toml
    """
    from excursions.cli.progress import shown_progress
    from excursions.pipeline.scan import propose_register

    options = _scan_options(tz, decimal_mark, separator, date_order, encoding, None, 1)
    with shown_progress() as progress:
        text, problems = propose_register(exports, register=known, options=options, progress=progress)
    for problem in problems:
        typer.echo(str(problem), err=True)
    if out is None:
        typer.echo(text)
        return
    from excursions.report.write import write_whole

    write_whole(out, text.encode())
    typer.echo(f"Register written to {out}: read it, correct it, and pass it with --register {out}", err=True)


def _scan_options(
    tz: str,
    decimal_mark: str,
    separator: str,
    date_order: DateOrder | None,
    encoding: str,
    columns: list[str] | None,
    jobs: int,
) -> ScanOptions:
    """Turn the shared options into one frozen object."""
    from excursions import clock
    from excursions.errors import UsageError
    from excursions.pipeline.scan import ScanOptions
    from excursions.read import ReadOptions

    if tz:
        clock.zone(tz)
    names = {}
    for item in columns or []:
        role, equals, name = item.partition("=")
        if not equals or not role or not name:
            raise UsageError(
                found=f'--columns "{item}"',
                expected="ROLE=NAME",
                mend="write for example --columns probe=Serial",
            )
        names[role.strip()] = name.strip()
    return ScanOptions(
        read=ReadOptions(
            tz=tz,
            decimal_mark=decimal_mark,
            separator="\t" if separator in ("\\t", "tab") else separator,
            date_order=date_order.value if date_order else "",
            encoding=encoding,
        ),
        jobs=jobs,
        columns=names,
    )
