"""Stuck: the reading stays still for longer than this live signal ever would.

Method: the record is cut into spells of unchanged value; their lengths are counted on the signal's own
clock (how many changes it usually makes in that time, by hour of the day and day of the week where the
record is long enough), so that a quiet night or weekend that comes back is short on that clock.  A spell
is stuck when the tail of the other spells makes so long a one improbable (:mod:`excursions.detect.tails`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import duration_text
from excursions.detect.spells import Spells, unchanged
from excursions.detect.survey import Survey, survey_of
from excursions.detect.tails import expected_as_large, outlying, probability
from excursions.records import Event, Record

HELD_KINDS = ("exception", "swinging", "sparse")


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckSettings:
    """When a still reading is called stuck."""

    shortest_s: float = 600.0  # shorter silences harm nobody and are never reported (cp)
    fewest_samples: int = 8  # on a grid: fewer equal samples happen by chance in any rounded signal
    faults_per_year: float = 0.3  # how often a probe sticks (cp); weighs against chance
    least_confidence: float = 0.5


def detect_stuck(record: Record, settings: StuckSettings | None = None) -> tuple[Event, ...]:
    """Find stretches where the reading is stuck."""
    settings = settings or StuckSettings()
    survey = survey_of(record)
    if survey is None or record.value is None:
        return ()
    spells = unchanged(survey.live, held_between=record.value.sampling.kind in HELD_KINDS)
    if len(spells) < 2:
        return ()
    size = spells.held_s
    suspects = np.flatnonzero(outlying(size, at_most=0.05))
    long = spells.held_s[suspects] >= settings.shortest_s
    many = (spells.last - spells.first)[suspects] >= settings.fewest_samples - 1
    suspects = suspects[long & (many | (record.value.sampling.kind in HELD_KINDS))]
    bulk = np.delete(size, suspects)
    years = float(survey.live.time[-1] - survey.live.time[0]) / 1e9 / 31_557_600
    found = [
        _event(record, survey, spells, int(i), expected_as_large(bulk, float(size[i])), years, settings)
        for i in suspects
    ]
    return tuple(event for event in found if event.confidence >= settings.least_confidence)


def _event(
    record: Record,
    survey: Survey,
    spells: Spells,
    i: int,
    expected: float,
    years: float,
    settings: StuckSettings,
) -> Event:
    first, last = int(spells.first[i]), int(spells.last[i])
    start = int(survey.live.time[first])
    end = start + int(spells.held_s[i] * 1e9)
    confidence = min(probability(expected, settings.faults_per_year * max(years, 0.01)), 0.97)
    event = Event(
        point=record.point.name,
        kind="stuck",
        start=start,
        end=end,
        size=float(spells.level[i]),
        size_unit=record.value.unit if record.value else "",
        confidence=confidence,
        severity="act",
        open_end=last == len(survey.live) - 1,
        open_start=first == 0,
        evidence=(
            f"no change for {duration_text(spells.held_s[i])} over {last - first + 1} samples",
            f"chance would give {expected:.1g} such stretches in this record",
        ),
        details={"samples": float(last - first + 1)},
    )
    return replace(event, probe=record.plant.probe_at(record.point.name, start) or "")
