"""The list of all probes: a row each, most heat first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dashboards.content.probe import Cell, hours_cell
from dashboards.wording import Reader
from excursions.report.life import replacement
from excursions.report.lives import ProbeLife


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeLine:
    """One probe in the list of all."""

    name: str
    page: str
    label: str
    points: str
    hours: Cell
    highest: Cell
    steam: Cell
    over: Cell
    dose: Cell
    calibrated: Cell
    replacement: Cell


NOT_KNOWN = Cell(text="not known", sort=-1.0)


def probe_line(life: ProbeLife, reader: Reader, page: str) -> ProbeLine:
    """One row of the list of all probes."""
    hot = life.hottest
    last = max((c.time for c in life.calibrations), default=None)
    return ProbeLine(
        name=life.name if life.probe else f"not known, at {life.points[0] if life.points else '–'}",
        page=page,
        label=life.label,
        points=", then ".join(life.points) or "no point",
        hours=hours_cell(life.hours),
        highest=Cell(text=reader.amount(hot.maximum_degc, "degC", 1.0), sort=hot.maximum_degc)
        if hot
        else Cell(text="not recorded", sort=-1e9),
        steam=Cell(text=str(life.sterilisations), sort=life.sterilisations) if hot else NOT_KNOWN,
        over=Cell(text=str(len(life.over)), sort=len(life.over)) if hot else NOT_KNOWN,
        dose=hours_cell(life.dose_h),
        calibrated=Cell(text=reader.date(last) if last else "never", sort=(last or 0) / 1e9),
        replacement=Cell(text=reader.text(replacement(life, reader.tz)), sort=_due_order(life)),
    )


def _due_order(life: ProbeLife) -> float:
    """Greatest what is due, then by when its limit is reached, then what is inside it, least what cannot be told."""
    if life.worn_out:
        return 0.0
    if life.due is not None and life.due.limit is not None:
        return -life.due.limit / 1e9
    return -1e12 if any(track.limits is not None for track in life.tracks) else -1e13


def probe_lines(
    lives: Sequence[ProbeLife], reader: Reader, stems: Mapping[str, str]
) -> tuple[ProbeLine, ...]:
    """The list of all probes, most heat first."""
    return tuple(probe_line(life, reader, f"{stems[life.name]}.html") for life in lives)
