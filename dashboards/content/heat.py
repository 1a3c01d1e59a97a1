"""Every heat exposure of a point as a row: how hot, what sampling could hide, how long, how fast, what it adds up to."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from dashboards.wording import Reader, kind_label, rate_words, size_words
from excursions.clock import duration_text, minutes_text
from excursions.digits import f0_text, number
from excursions.kinds import TOLD_AS_HEAT
from excursions.records import Event
from excursions.report.result import PointFindings

MOST_ROUTINE = 10  # newest ones; the rest only repeat them and stand in the tables


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRow:
    """One exposure."""

    event: str
    label: str
    start: str
    peak: str
    lasting: str
    continuous: str
    steam: str
    rates: str
    f0: str
    dose: str
    serious: bool


def heat_rows(findings: PointFindings, reader: Reader) -> tuple[tuple[HeatRow, ...], int]:
    """Newest first: all exposures above a rating, the newest routine ones; and how many were left out."""
    heat = sorted((e for e in findings.events if e.kind in TOLD_AS_HEAT), key=lambda e: (-e.start, e.kind))
    routine = [event for event in heat if event.origin == "routine"]
    left_out = {event.id for event in routine[MOST_ROUTINE:]}
    return tuple(_row(event, reader) for event in heat if event.id not in left_out), len(left_out)


def _row(event: Event, reader: Reader) -> HeatRow:
    figures = event.details
    rates = {
        "up": figures.get("heating_rate_k_per_min", math.nan),
        "down": figures.get("cooling_rate_k_per_min", math.nan),
    }
    return HeatRow(
        event=event.id,
        label=kind_label(event.kind),
        start=reader.moment(event.start),
        peak=size_words(event, reader),
        lasting=duration_text((event.end - event.start) / 1e9)
        + (" above its rating" if event.kind == "over_temperature" else ""),
        continuous=_figure(event, minutes_text, "minutes_above_continuous_min", "minutes_above_rating_min"),
        steam=_figure(event, minutes_text, "minutes_above_sterilisation_min"),
        rates=rate_words(rates, reader),
        f0=_figure(event, f0_text, "f0_min"),
        dose=_figure(event, lambda dose: f"{number(dose)} h", "dose_h"),
        serious=event.origin != "routine",
    )


def _figure(event: Event, say: Callable[[float], str], *names: str) -> str:
    """The first of these figures that is known."""
    for name in names:
        value = event.details.get(name, math.nan)
        if math.isfinite(value):
            return say(value)
    return "–"
