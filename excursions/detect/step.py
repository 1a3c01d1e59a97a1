"""Step: the reading changes level at once and stays there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.detect.scan import Change, changes
from excursions.detect.survey import Survey, survey_of
from excursions.detect.tails import probability
from excursions.records import Event, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSettings:
    """When a change of level is called a step."""

    faults_per_year: float = 0.5  # how often a probe steps (cp); weighs against chance
    least_confidence: float = 0.5


def detect_step(record: Record, settings: StepSettings | None = None) -> tuple[Event, ...]:
    """Find changes of level."""
    settings = settings or StepSettings()
    survey = survey_of(record)
    if survey is None or len(survey.blocks) < 8:
        return ()
    found = changes(survey.blocks.level, survey.blocks.broken, floor=0.3 * survey.quantum)
    return tuple(_event(record, survey, change, settings) for change in found)


def _event(record: Record, survey: Survey, change: Change, settings: StepSettings) -> Event:
    onset = _onset(survey, change)
    start = int(survey.live.time[onset])
    years = float(survey.live.time[-1] - survey.live.time[0]) / 1e9 / 31_557_600
    return Event(
        point=record.point.name,
        kind="step",
        start=start,
        end=start + round(survey.interval_s * 1e9),
        size=change.size,
        size_low=change.size - 1.645 * change.spread,
        size_high=change.size + 1.645 * change.spread,
        size_unit=record.value.unit if record.value else "",
        confidence=min(probability(change.expected, settings.faults_per_year * max(years, 1.0)), 0.97),
        origin="undecided",
        probe=record.plant.probe_at(record.point.name, start) or "",
        evidence=(
            f"level changed by {change.size:.3g}, usual change over as long is {change.spread:.2g}",
            f"chance would give {change.expected:.1g} such changes in this record",
        ),
    )


def _onset(survey: Survey, change: Change) -> int:
    """Sample at which the level changed: the split of the samples around it that fits two levels best."""
    blocks, live = survey.blocks, survey.live
    near = min(change.width, 4)
    lo, hi = max(change.at - near, 0), min(change.at + near, len(blocks))
    before = float(np.mean(blocks.level[lo : change.at]))
    after = float(np.mean(blocks.level[change.at : hi]))
    first, last = int(blocks.first[max(change.at - 2, 0)]), int(blocks.first[min(change.at + 2, len(blocks))])
    part = live.value[first:last]
    gain = np.cumsum((part - after) ** 2 - (part - before) ** 2)
    return first + int(np.argmax(np.append(0.0, gain)[:-1]))
