"""The life of each probe at a point, as text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from dashboards.slug import slugs
from dashboards.wording import Reader, thousands
from excursions.clock import minutes_text, to_ns
from excursions.digits import DEGREE, number
from excursions.plant import Installation, Plant
from excursions.report.life import probes_table
from excursions.report.lives import is_unknown, probe_lives
from excursions.report.result import PointFindings, ScanResult


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeRow:
    """One stay of a probe at a point; page is the file of the probe's own page."""

    probe: str
    page: str
    start: str
    end: str
    hours: str
    highest: str
    steam: str
    above: str
    dose: str
    cleanings: str
    calibrations: str


def lives(result: ScanResult, reader: Reader) -> dict[str, tuple[LifeRow, ...]]:
    """Point name -> stays, in the order of the table of probes."""
    sorted_out: dict[str, list[LifeRow]] = {}
    rows = probes_table(result).to_dicts()
    stems = slugs(life.name for life in probe_lives(result))
    for row in rows:
        sorted_out.setdefault(row["point"], []).append(_row(row, reader, stems[row["probe"]]))
    return {name: tuple(rows) for name, rows in sorted_out.items()}


def swaps(plant: Plant, findings: PointFindings) -> list[tuple[Installation, int]]:
    """Installations that began inside the record of a point, with their start, in time order."""
    found = [
        (row, row.start)
        for row in plant.installations
        if row.point == findings.point.name
        and row.start is not None
        and findings.start < row.start < findings.end
    ]
    return sorted(found, key=lambda item: (item[1], item[0].probe))


def _row(row: Mapping[str, object], reader: Reader, stem: str) -> LifeRow:
    probe = str(row["probe"])
    highest = row["maximum_degc"]
    when = row["maximum_time"]
    known = isinstance(when, datetime)
    return LifeRow(
        probe="not known" if is_unknown(probe) else probe,
        page=f"{stem}.html",
        start=_date(row["installed"], reader),
        end=_date(row["removed"], reader),
        hours=_whole(row["hours"]),
        highest=f"{reader.amount(highest, 'degC', DEGREE)} on {_date(when, reader)}"
        if isinstance(highest, float)
        else "not recorded",
        steam=_whole(row["sterilisations"]) if known else "not known",
        above=_minutes(row["minutes_above_rating_min"]) if known else "not known",
        dose=f"{_figure(row['dose_h'])} h" if known else "not known",
        cleanings=_whole(row["cleanings"]),
        calibrations=_whole(row["calibrations"]),
    )


def _date(when: object, reader: Reader) -> str:
    return reader.date(to_ns(when)) if isinstance(when, datetime) else "not known"


def _whole(value: object) -> str:
    if not isinstance(value, (int, float)):
        return "–"
    return thousands(round(value)) if value >= GROUPED else f"{value:.0f}"


GROUPED = 10_000  # from five digits on a figure is read in groups; sentences write four of them without a gap


def _minutes(value: object) -> str:
    """As the exposure itself is told, so that one figure is one figure."""
    return minutes_text(float(value)) if isinstance(value, (int, float)) else "–"


def _figure(value: object) -> str:
    return number(float(value)) if isinstance(value, (int, float)) else "–"
