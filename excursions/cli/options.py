"""What several commands ask for: one type an option, so that it reads and means the same everywhere."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from excursions.pipeline.scan import ScanOptions


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


class DateSystem(StrEnum):
    """First year of the day numbers of spreadsheets."""

    Y1900 = "1900"
    Y1904 = "1904"


class MixedUnits(StrEnum):
    """What becomes of a tag whose readings come in two units."""

    APART = "apart"
    CONVERT = "convert"


class EngineName(StrEnum):
    """Who does the work."""

    LOCAL = "local"
    DASK = "dask"


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
CalibrationLogs = Annotated[
    list[Path] | None,
    typer.Option("--calibrations", help="Calibration log.", exists=True, show_default=False),
]
SampleLists = Annotated[
    list[Path] | None,
    typer.Option("--samples", help="Laboratory samples.", exists=True, show_default=False),
]
PointName = Annotated[
    str, typer.Option("--point", help="Measuring point.", show_default="the only one, where there is one")
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
SheetName = Annotated[
    str,
    typer.Option(
        "--sheet", help="Sheet of a workbook, table of a data base.", show_default="all with readings"
    ),
]
DateSystemOption = Annotated[
    DateSystem | None,
    typer.Option(
        "--date-system", help="First year of day numbers.", show_default="the workbook's, else 1900"
    ),
]
MixedUnitsOption = Annotated[
    MixedUnits,
    typer.Option("--mixed-units", help="A tag in two units: two signals, or converted to the first."),
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


Engine = Annotated[
    EngineName,
    typer.Option("--engine", help="Who does the work: this machine, or a Dask cluster (extra: cluster)."),
]
Scheduler = Annotated[
    str,
    typer.Option(
        "--scheduler", help="Address of the Dask scheduler.", show_default="a cluster on this machine"
    ),
]


def scan_options(
    tz: str,
    decimal_mark: str,
    separator: str,
    date_order: DateOrder | None,
    encoding: str,
    columns: list[str] | None,
    jobs: int,
    engine: EngineName = EngineName.LOCAL,
    scheduler: str = "",
    *,
    sheet: str = "",
    date_system: DateSystem | None = None,
    mixed_units: MixedUnits = MixedUnits.APART,
) -> ScanOptions:
    """Turn the shared options into one frozen object."""
    from excursions import clock
    from excursions.errors import UsageError
    from excursions.pipeline.scan import ScanOptions
    from excursions.read import ReadOptions
    from excursions.read.table import role_of

    if tz:
        clock.zone(tz)
    if scheduler and engine is not EngineName.DASK:
        raise UsageError(
            found=f"--scheduler {scheduler} with --engine {engine.value}",
            expected="--engine dask",
            mend="add --engine dask or leave --scheduler out",
        )
    names = {}
    for item in columns or []:
        role, equals, name = item.partition("=")
        if not equals or not role or not name:
            raise UsageError(
                found=f'--columns "{item}"',
                expected="ROLE=NAME",
                mend="write for example --columns probe=Serial",
            )
        role_of(role.strip())
        names[role.strip()] = name.strip()
    return ScanOptions(
        read=ReadOptions(
            tz=tz,
            decimal_mark=decimal_mark,
            separator="\t" if separator in ("\\t", "tab") else separator,
            date_order=date_order.value if date_order else "",
            encoding=encoding,
            sheet=sheet,
            date_system=date_system.value if date_system else "",
            mixed_units=mixed_units.value,
        ),
        jobs=jobs,
        columns=names,
        engine=engine.value,
        scheduler=scheduler,
    )
