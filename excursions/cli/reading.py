"""How exports are to be read: the options that every command which reads them shares, in one place.

A command takes one argument ``reading: HowToRead`` and is decorated with :func:`reads`; the options stand in its help
and arrive as that one value.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import wraps
from typing import TYPE_CHECKING, Annotated, get_type_hints

import typer

if TYPE_CHECKING:
    from excursions.pipeline.options import ScanOptions


class DateSystem(StrEnum):
    """First year of the day numbers of spreadsheets."""

    Y1900 = "1900"
    Y1904 = "1904"


class MixedUnits(StrEnum):
    """What becomes of a tag whose readings come in two units."""

    APART = "apart"
    CONVERT = "convert"


class DateOrder(StrEnum):
    """How dates such as 03/04/2026 are written."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"
    YEAR_FIRST = "year-first"


Zone = Annotated[
    str,
    typer.Option(
        "--tz",
        help="Zone of times without one, e.g. Europe/Vienna.",
        show_default="the file's, else the register's, else UTC",
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
    typer.Option("--mixed-units", help="A tag in two units: converted to the first, or two signals."),
]


TuneOption = Annotated[
    list[str] | None,
    typer.Option(
        "--tune",
        metavar="DETECTOR.SETTING=NUMBER",
        help="A setting of a detector, over the register's; excursions handbook NAME lists them.",
        show_default="the register's, else as listed there",
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class HowToRead:
    """The shared options as typed; each field is one option."""

    tz: Zone = ""
    decimal_mark: DecimalMark = ""
    separator: Separator = ""
    date_order: DateOrderOption = None
    encoding: Encoding = ""
    sheet: SheetName = ""
    date_system: DateSystemOption = None
    mixed_units: MixedUnitsOption = MixedUnits.CONVERT
    tune: TuneOption = None

    def options(
        self,
        columns: Sequence[str] | None = None,
        *,
        jobs: int = 0,
        engine: str = "local",
        scheduler: str = "",
    ) -> ScanOptions:
        """Turn them, and what a command asks besides, into the library's settings.

        Raises
        ------
        UsageError
            If the zone, a role of ``--columns`` or a setting of ``--tune`` is not known, or a column is not named.
        """
        from excursions import clock
        from excursions.detect.tuning import read_tuning
        from excursions.pipeline.options import ScanOptions
        from excursions.read import ReadOptions

        if self.tz:
            clock.zone(self.tz)
        return ScanOptions(
            read=ReadOptions(
                tz=self.tz,
                decimal_mark=self.decimal_mark,
                separator="\t" if self.separator in ("\\t", "tab") else self.separator,
                date_order=self.date_order.value if self.date_order else "",
                encoding=self.encoding,
                sheet=self.sheet,
                date_system=self.date_system.value if self.date_system else "",
                mixed_units=self.mixed_units.value,
            ),
            jobs=jobs,
            columns=dict(_named(item) for item in columns or []),
            engine=engine,
            scheduler=scheduler,
            tune=read_tuning(self.tune or ()),
        )


AS_FOUND = HowToRead()  # nothing stated: everything is decided from the files


def _named(item: str) -> tuple[str, str]:
    """Role and name of one ``--columns``."""
    from excursions.errors import UsageError
    from excursions.read.logs.roles import role_of

    role, equals, name = (part.strip() for part in item.partition("="))
    if not equals or not role or not name:
        raise UsageError(
            found=f'--columns "{item}"', expected="ROLE=NAME", mend="write for example --columns probe=Serial"
        )
    role_of(role)
    return role, name


def reads(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the shared options in the place of its argument ``reading``."""
    hints = get_type_hints(HowToRead, include_extras=True)
    shared = [
        inspect.Parameter(
            field.name, inspect.Parameter.KEYWORD_ONLY, default=field.default, annotation=hints[field.name]
        )
        for field in fields(HowToRead)
    ]
    own = inspect.signature(command, eval_str=True)
    parameters = [
        parameter
        for one in own.parameters.values()
        for parameter in (
            shared if one.name == "reading" else [one.replace(kind=inspect.Parameter.KEYWORD_ONLY)]
        )
    ]

    @wraps(command)
    def asked(**given: object) -> None:
        reading = HowToRead(**{one.name: given.pop(one.name) for one in shared})  # type: ignore[arg-type]
        command(reading=reading, **given)

    asked.__signature__ = own.replace(parameters=parameters)  # type: ignore[attr-defined]
    asked.__annotations__ = {one.name: one.annotation for one in parameters} | {"return": None}
    return asked
