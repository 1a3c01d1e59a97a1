"""Which probe, point and exposure a question about heat asks for: rows of a scan or of a finished report, and the answer.

It needs no more than the tables ``lives`` and ``exposures``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from excursions import clock
from excursions.cli.asked import point_named
from excursions.digits import number
from excursions.errors import UsageError, unknown
from excursions.plant import Plant, Point
from excursions.report.lives import is_unknown
from excursions.report.lives import unknown as unknown_probe

Row = Mapping[str, object]
MOST = 12  # exposures and probes in the terminal; the tables hold all
NEAR = 2 * clock.NS_PER_DAY  # how far from the moment asked about an exposure may lie


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Rows of both tables, the plant's zone, the unit of temperatures (``degC`` or ``degF``), the page, if any, and the
    plant with the tags its points may be asked for by and the units they were exported in."""

    lives: Sequence[Row]
    exposures: Sequence[Row]
    tz: ZoneInfo
    unit: str
    page: Path | None = None
    plant: Plant = field(default_factory=Plant)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was asked about: `life` when one probe, `exposure` the one told first, `others` the list, `lives` the probes to list when it is not one."""

    life: Row | None
    exposure: Row | None
    others: Sequence[Row]
    sentence: str
    lives: Sequence[Row] = ()


# --- a finished report ---------------------------------------------------------------------------


def read_report(folder: Path) -> tuple[Sequence[Row], Sequence[Row], Plant]:
    """Rows of both tables of a finished report, and as much of its plant as is asked for: zone, points and their tags.

    Raises
    ------
    UsageError
        If the folder is no report, or one from before these tables.
    """
    try:
        tables = [
            pl.read_parquet(folder / "tables" / f"{name}.parquet").to_dicts()
            for name in ("lives", "exposures")
        ]
        plant = json.loads((folder / "run.json").read_text(encoding="utf-8"))["plant"]
        tags, units = plant.get("tags", {}), plant.get("units", {})  # reports of earlier versions have none
        points = tuple(_point(name, roles, units.get(name, ("other", ""))) for name, roles in tags.items())
        return tables[0], tables[1], Plant(zone=str(plant["zone"]), points=points)
    except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError) as error:
        raise UsageError(
            found=f'"{folder}", which holds no readable tables/lives.parquet, tables/exposures.parquet and run.json',
            expected="the --out folder of a finished scan",
            mend=f"run: excursions scan EXPORT... --out {folder}",
        ) from error


def _point(name: str, tags: Mapping[str, Any], exported: Sequence[str]) -> Point:
    measurand, unit = exported
    return replace(Point(name=name, **dict(tags)), measurand=measurand, unit=unit)


# --- choosing ------------------------------------------------------------------------------------


def choose(heat: Heat, *, probe: str, point: str, at: int | None) -> Answer:
    """Which life and which exposure were asked about; the name of a point given for a probe's asks about that point.

    Raises
    ------
    UsageError
        If no probe or point is called so, or nothing hot is near the moment.
    """
    names = list(dict.fromkeys(p for row in heat.lives for p in str(row["points"]).split(" | ") if p))
    if not point and probe in names and all(row["probe"] != probe for row in heat.lives):
        probe, point = "", probe  # who stands before the probe reads the tag of its point
    life = _named_life(heat, probe) if probe else None
    rows = list(heat.exposures)
    here: list[Row] = []
    if life is not None:
        rows = [r for r in rows if owner(r) == life["probe"]]
    if point:
        name = point_named(point, names, heat.plant)
        rows = [r for r in rows if r["point"] == name]
        here = [row for row in heat.lives if name in str(row["points"]).split(" | ")]
        if life is None and len(here) == 1:
            life = here[0]
    over = [r for r in rows if r["kind"] != "sterilisation"]
    exposure = _nearest(rows, at, heat.tz) if at is not None else next(iter(over or rows), None)
    if exposure is not None and life is None and (at is not None or point):
        life = next((row for row in heat.lives if row["probe"] == owner(exposure)), None)
    sentence = (
        _at_point(name, here) if point and life is None and exposure is None else _first(heat, life, exposure)
    )
    lives = [] if life is not None else here if point else heat.lives
    return Answer(life=life, exposure=exposure, others=rows, sentence=sentence, lives=lives)


def _at_point(name: str, lives: Sequence[Row]) -> str:
    """What is known of heat at a point at which several probes sat, without an exposure to tell."""
    sat = ", ".join(str(row["probe"]) for row in lives)
    unseen = [str(row["probe"]) for row in lives if row["maximum_degc"] is None]
    said = f"{name}: no heat exposure in this record; {len(lives)} probes sat there ({sat})."
    if len(unseen) == len(lives):
        return f"{name}: no temperature was exported, so its heat is not known; {len(lives)} probes sat there ({sat})."
    return f"{said} Of {', '.join(unseen)} no temperature was exported." if unseen else said


def owner(row: Row) -> str:
    """Serial number of the probe of a row, or what stands for it."""
    return str(row["probe"] or unknown_probe(str(row["point"])))


def at(probe: object, points: object) -> str:
    """A probe and where it sits; one without a number has only its place."""
    return f"the probe at {points}" if is_unknown(str(probe)) else f"{probe} at {points or 'no point'}"


def _named_life(heat: Heat, asked: str) -> Row:
    names = {str(row["probe"]): row for row in heat.lives}
    same = [
        row
        for name, row in names.items()
        if asked.casefold() in (name.casefold(), name.strip("<>").casefold())
    ]
    if len(same) == 1:
        return same[0]
    otherwise = "leave --probe out to see all"
    if all(map(is_unknown, names)):  # then a number cannot be known, and none of these is one
        otherwise = (
            "give the log or the register that names the serial numbers, or ask for the place: --point"
        )
    raise unknown("probe", asked, names, otherwise=otherwise)


def _nearest(rows: Sequence[Row], at: int, tz: ZoneInfo) -> Row:
    """The exposure at a moment, else the nearest one within two days."""

    def away(row: Row) -> int:
        start, end = ns(row["start"]), ns(row["end"])
        return max(start - at, at - end, 0)

    found = min(rows, key=away, default=None)
    if found is None or away(found) > NEAR:
        raise UsageError(
            found=f"no heat exposure within two days of {clock.wall(at, tz)}",
            expected="a moment during or near one",
            mend="leave --at out to see all exposures",
        )
    return found


def ns(value: object) -> int:
    """A moment of a row as ns UTC."""
    assert isinstance(value, datetime)
    return clock.to_ns(value)


def _first(heat: Heat, life: Row | None, exposure: Row | None) -> str:
    """The sentence that answers first."""
    if life is None:
        return f"{_most_heat(heat.lives)} {exposure['sentence'] if exposure is not None else ''}".rstrip()
    if exposure is None:
        why = " because no temperature of it was exported" if life["maximum_degc"] is None else ""
        return f"{life['probe']}: no heat exposure in this record{why}."
    return str(exposure["sentence"])


def _most_heat(lives: Sequence[Row]) -> str:
    """Which probe had the most heat, and which are due for replacement."""
    if all(row["maximum_degc"] is None for row in lives):
        return "Cannot tell: no probe temperature was exported."
    if not lives or not figure(lives[0], "dose_h") > 0:
        return "No probe whose temperature was exported was above its continuous rating in this record."
    first = lives[0]
    worn = [str(row["probe"]) for row in lives if str(row["replacement"]).startswith("Due")]
    due = (
        f"Due for replacement or regeneration: {', '.join(worn[:MOST])}."
        if worn
        else "None is known to be due for replacement."
    )
    return f"Most heat: {at(first['probe'], first['points'])}, dose {number(figure(first, 'dose_h'))} h at its continuous rating. {due}"


def figure(row: Row, name: str) -> float:
    """A figure of a row; NaN where it has none."""
    value = row[name]
    return float(value) if isinstance(value, (int, float)) else math.nan
