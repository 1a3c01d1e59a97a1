"""Which point and which moment a command was asked about."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from excursions import clock
from excursions.cli.moment import moment, names_weekday, until
from excursions.errors import UsageError, unknown
from excursions.pipeline.scan import Closer, Closeup
from excursions.plant import Plant, Point
from excursions.read.logs.names import Places
from excursions.report.explanation import Focus
from excursions.report.result import ScanResult

AROUND = 12 * clock.NS_PER_HOUR


def named_among(arguments: Sequence[Path], option: str, *, alone: bool = False) -> tuple[list[Path], str]:
    """The exports among some arguments, and the point or probe: as an option says, else the one argument that is no file.

    ``explain F1-PH2 plant`` is what a hurried person writes.  What looks like the name of a file stays one, so that
    a file that is missing is told as missing.  `alone` : whether a name needs no exports beside it.

    Raises
    ------
    UsageError
        If a name stands alone and must not.
    """
    names = [one for one in arguments if not (one.exists() or _may_be_file(str(one)))]
    if option or len(names) != 1:
        return list(arguments), option
    if len(arguments) == 1 and not alone:
        raise UsageError(
            found=f'"{names[0]}", which is no file here',
            expected="exported files beside the point or the probe that is asked about",
            mend=f"name the exports as well, for example: FOLDER {names[0]}",
        )
    return [one for one in arguments if one is not names[0]], str(names[0])


def _may_be_file(text: str) -> bool:
    return text == "-" or any(mark in text for mark in "*?[/\\") or bool(re.search(r"\.[a-z0-9]{2,7}$", text))


def the_point(result: ScanResult, asked: str) -> str:
    """The point's name, however it is written; left out it is the worst one, and where there are several that is said.

    Its tags and every way of writing a name that a log may use are taken for it (:class:`excursions.read.logs.names.Places`).

    Raises
    ------
    UsageError
        If none is called so, or there is none at all.
    """
    names = [findings.point.name for findings in result.points]
    if asked:
        return point_named(asked, names, result.plant)
    if not names:
        raise UsageError(
            found="no point with a record", expected="at least one", mend="give exports that hold values"
        )
    worst = result.verdicts[0].point
    if len(names) > 1:
        typer.echo(f"Note: no --point given; {worst} is the worst of {len(names)} points.", err=True)
    return worst


def point_named(asked: str, names: Sequence[str], plant: Plant) -> str:
    """The one of some points that is asked for, however it is written.

    Raises
    ------
    UsageError
        If none of them is called so.
    """
    same = [n for n in names if n == asked] or [n for n in names if n.casefold() == asked.casefold()]
    meant = same[0] if len(same) == 1 else called(plant, asked)
    if meant in names:
        return meant
    example = f"write for example --point {min(names)}" if names else "leave --point out"
    raise unknown("point", asked, names, otherwise=example)


def called(plant: Plant, asked: str) -> str:
    """The point that a tag or a name as people write it in logs means; empty when none or several can be meant."""
    return Places(plant).find(asked)[0] if asked else ""


def closer_to(name: str, at: str, start: str, end: str) -> Closer:
    """What a scan is asked to keep true samples of: half a day around the moment, the range, or every event."""

    meant: list[str] = []  # looked up once, at the first point

    def spans(point: Point, plant: Plant, record: tuple[int, int]) -> Closeup:
        if name and not meant:
            meant.append(called(plant, name))
        if name and point.name.casefold() != name.casefold() and point.name != meant[0]:
            return Closeup()
        focus = _focus(clock.zone(plant.zone), record, at, start, end)
        if focus is None:
            return Closeup(around_events=AROUND)
        return Closeup(spans=((focus.start - AROUND, focus.end + AROUND),))

    return spans


def focus_of(result: ScanResult, point: str, at: str, start: str, end: str) -> Focus | None:
    """The moment or range asked about, or None when nobody said.

    Raises
    ------
    UsageError
        If both are given, the range ends before it starts, or a moment cannot be read.
    """
    tz = clock.zone(result.plant.zone)
    record = next((f.start, f.end) for f in result.points if f.point.name == point)
    for asked in filter(names_weekday, (at, start, end)):
        told_moment(asked, tz, record[1], record[0])
    return _focus(tz, record, at, start, end)


def told_moment(asked: str, tz: ZoneInfo, last: int, first: int) -> int:
    """The instant [ns] a person means; which day a day of the week is taken as is said."""
    instant = moment(asked, tz, last, first)
    if names_weekday(asked):
        meant = f"{clock.to_datetime(instant, tz):%A %-d %b %Y}"
        typer.echo(f'Note: "{asked}" is taken as {meant}, the last such day of the record.', err=True)
    return instant


def _focus(tz: ZoneInfo, record: tuple[int, int], at: str, start: str, end: str) -> Focus | None:
    begun, last = record
    if at and (start or end):
        raise UsageError(
            found="--at together with --from or --to",
            expected="a moment or a range",
            mend="leave one of them out",
        )
    if at:
        instant = moment(at, tz, last, begun)
        return Focus(start=instant, end=instant)
    if not start:
        if end:
            raise UsageError(found="--to without --from", expected="both ends of a range", mend="add --from")
        return None
    first, stop = moment(start, tz, last, begun), until(end, tz, last, begun) if end else last
    if stop <= first:
        raise UsageError(
            found=f"a range from {clock.wall(first, tz)} to {clock.wall(stop, tz)}",
            expected="an end after the start",
            mend="change --from or --to",
        )
    return Focus(start=first, end=stop)


def known_probe(result: ScanResult, asked: str) -> str:
    """The serial number as the plant or the log has it; its case does not matter.

    Raises
    ------
    UsageError
        If no probe is called so.
    """
    names = sorted(
        {row.probe for row in result.plant.installations}
        | {p.serial for p in result.plant.probes}
        | {c.probe for c in result.calibrations if c.probe}
    )
    same = [name for name in names if name.casefold() == asked.casefold()]
    if same:
        return same[0]
    raise unknown("probe", asked, names, otherwise="leave --probe out to see all")


def since_of(result: ScanResult, asked: str) -> int | None:
    """The instant [ns] from which on, or None when nobody said; a date is the start of that day in the plant's zone."""
    if not asked:
        return None
    held = [findings for findings in result.points if findings.samples]
    first, last = min((f.start for f in held), default=0), max((f.end for f in held), default=0)
    return told_moment(asked, clock.zone(result.plant.zone), last, first)
