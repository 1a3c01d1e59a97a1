"""A step that leads back to where the reading came from by and by: the end of an error, not the beginning of one.

A film on a river probe grows through rain and seasons, which hide its walk; what they do not hide is that somebody wiped it
off.  The level stood where the step leads for half as long before, left it without a jump, and is back there at once.  Told as
a step, the reading after it would be in doubt, where it is the reading before that was wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE, SMOOTH
from excursions.detect.evidence.beside import LIKE
from excursions.detect.evidence.origin import WITHOUT, name_origin
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.pattern import running_mean
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.slow.dirt import dirt_clue
from excursions.detect.slow.taken_back import AT_ONCE
from excursions.digits import written
from excursions.ranks import median, quantile
from excursions.records import RETURNED, Event, Record

SHORTEST = 2 * NS_PER_DAY  # a shorter way off is a process's round (cp)
FEWEST_BLOCKS = 24
# Of the time before, in which the level was nearer to where the step leads than half its size; the tenth beyond is left to
# what the process does now and then, such as rain (cp).
STOOD = 0.9


def walked_off(record: Record, events: Sequence[Event]) -> tuple[Event, ...]:
    """The same events; a step that leads back from a walk, and so may be the probe's, is told as that walk.

    Parameters
    ----------
    events : of one point, merged, steps that end a walk found by itself taken out
    """
    survey = survey_of(record)
    if survey is None:
        return tuple(events)
    walks = [one for one in events if one.kind in ("drift", "fouling")]
    told = [
        _as_walk(record, survey, one)
        if one.kind == "step"
        and one.origin in ("undecided", "process")
        and not one.went_back
        and not any(walk.start < one.start <= walk.end for walk in walks)
        else one
        for one in events
    ]
    return tuple(sorted(told, key=lambda one: (one.start, one.kind, one.end)))


def _as_walk(record: Record, survey: Survey, step: Event) -> Event:
    """The walk that a step ends; the step itself where it ends none."""
    at = survey.blocks.at(step.start)
    first = _left(survey, at, step)
    probe = _probability(record, step)
    if first is None or name_origin(probe) == "process":
        return step
    start = int(survey.live.time[survey.blocks.first[first]])
    lasted = (step.start - start) / NS_PER_S
    return replace(
        step,
        kind="drift",
        origin=name_origin(probe),
        confidence=probe,
        severity=severity_of(record, step.details["after"], step.size),
        start=start,
        end=step.start,
        size=-step.size,
        size_low=-step.size_high,
        size_high=-step.size_low,
        onset_uncertainty_s=0.1 * lasted,
        probe=record.probe_at(start),
        parts=tuple(sorted({*step.parts, step.id})),
        evidence=(
            f"left its level by and by in {duration_text(lasted)}",
            f"a step of {written(step.size, signed=True)} took it back to where it had been, as a cleaning does",
            *step.evidence[1:],
        ),
        details={"rate_per_day": -step.size / (lasted / 86_400), RETURNED: lasted},
    )


def _probability(record: Record, step: Event) -> float:
    """That the probe was wrong before a step, by what was thought of the step, its way there and which way dirt goes."""
    thought = 1.0 - step.confidence if step.origin == "process" else step.confidence
    odds = AT_ONCE * dirt_clue(record, -step.size).odds * thought / max(1.0 - thought, 1e-12)
    return min(odds / (1.0 + odds), WITHOUT)


def _left(survey: Survey, at: int, step: Event) -> int | None:
    """Block at which the reading left the level that a step at block `at` leads to; None where it did not, or with a jump."""
    level, size = survey.rest, abs(step.size)
    after = median(level[at + 1 : at + 1 + SMOOTH]) if level.size > at + 1 else np.nan
    there = np.flatnonzero(np.abs(running_mean(level[:at], SMOOTH)[: -SMOOTH // 2] - after) <= GONE * size)
    if not there.size:
        return None
    first = int(there[-1]) + 1
    length = at - first
    if length < FEWEST_BLOCKS or length * survey.blocks.width < SHORTEST or first < length // 2:
        return None
    stood = quantile(np.abs(level[first - length // 2 : first] - after), STOOD) <= LIKE * size
    quarter = length // 4
    way = (median(level[at - quarter : at]) - median(level[first : first + quarter])) / -step.size
    jumped = any(
        first <= one.at < at - 1 and one.size * step.size < 0 and abs(one.size) >= LIKE * size
        for one in survey.changes
    )
    return first if stood and way >= GONE and not jumped else None
