"""The heat ratings along a record: a stretch for each probe that sat there."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.wording import Reader
from excursions.plant import Plant
from excursions.report.result import PointFindings


@dataclass(frozen=True, slots=True, kw_only=True)
class Rated:
    """One stretch [ns] with the same ratings [degC]; `assumed` where nobody stated them."""

    start: int
    end: int
    continuous: float
    steam: float
    assumed: bool


def rated_stretches(findings: PointFindings, plant: Plant) -> list[Rated]:
    """Stretches of the record in order, those of equal ratings joined; never empty."""
    changes = sorted(
        {
            findings.start,
            *(row.start for row in plant.installations if row.point == findings.point.name and row.start),
        }
    )
    starts = [t for t in changes if findings.start <= t < findings.end] or [findings.start]
    runs: list[Rated] = []
    for start, end in zip(starts, [*starts[1:], findings.end], strict=True):
        at = plant.ratings(findings.point, start)
        if runs and (runs[-1].continuous, runs[-1].steam, runs[-1].assumed) == (
            at.continuous_degc,
            at.sterilisation_degc,
            at.assumed,
        ):
            start = runs.pop().start
        runs.append(
            Rated(
                start=start,
                end=end,
                continuous=at.continuous_degc,
                steam=at.sterilisation_degc,
                assumed=at.assumed,
            )
        )
    return runs


def rating_words(continuous: float, steam: float, reader: Reader, *, assumed: bool) -> str:
    """Both ratings [degC] in a line that stands beside a title: over the curve a peak would run through it."""
    same = steam == continuous
    first = reader.amount(continuous, "degC", 1.0)
    said = f"rated {first if same else first.split()[0]}"
    said += "" if same else f", steam {reader.amount(steam, 'degC', 1.0)}"
    return f"{said}, assumed" if assumed else said
