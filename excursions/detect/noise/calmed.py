"""A reading that no longer goes through its days: what moved by hours and from day to night hardly moves any more.

A probe that is coated over, or stands in a pocket that the medium reaches slowly, shows a slow average.  Where its noise is
below a count that shows in no scatter of neighbouring samples, but in how far the reading goes in half a day.  Method: the
logarithm of that range, half a day each, is searched for a change of level (:mod:`excursions.detect.series.short`).  A plant that
stands, a pond under clouds, a season do the same; then the temperature mostly calms down as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.detect.evidence.origin import (
    Clue,
    elsewhere_clue,
    expected_faults,
    heat_clue,
    name_origin,
    next_reset,
    state_clue,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.series.short import FEWEST_OF_SIDE, LONGEST, short_changes
from excursions.detect.series.survey import Survey
from excursions.digits import written
from excursions.ranks import median, quantile
from excursions.records import Event, FloatArray, IndexArray, Record

PART = NS_PER_DAY // 2
FEWEST_BLOCKS = 6  # in a part: fewer show no range
CALMED = 0.3  # share of its usual ways that is left (cp)
LEAST_SCATTER = 0.2  # of the logarithm of a range: about half as many independent readings make one
CHANCE = 1e-3
CLEAR = 8.0  # noises, and counts, that the usual ways measure
UNEXPLAINED = 0.2  # as for changes of the noise (cp)
ALIVE = 1.5  # odds of a temperature that goes on through its days (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ways:
    """How far a series goes in each half day: first block (k + 1,) of each, and the range (k,)."""

    edge: IndexArray
    range: FloatArray


def calmed(record: Record, survey: Survey, collapses_per_year: float) -> tuple[Event, ...]:
    """The stretch from which on the reading hardly goes its usual ways, at most one, kind ``noise_collapse``."""
    ways = _ways(survey, survey.blocks.level)
    if not 0 < ways.range.size <= LONGEST:
        return ()
    floor = max(survey.quantum, survey.deadband, survey.noise)
    high = quantile(ways.range, 0.75)
    if high < CLEAR * floor or np.count_nonzero(ways.range < 2 * CALMED * high) < FEWEST_OF_SIDE:
        return ()  # nothing to lose, or nothing lost
    log = np.log(np.maximum(ways.range, floor))
    changes = short_changes(log, floor=LEAST_SCATTER, least=CHANCE)
    edges = [0, *(change.at for change in changes), log.size]
    for k, change in enumerate(changes):
        before, now = median(log[edges[k] : edges[k + 1]]), median(log[edges[k + 1] : edges[k + 2]])
        if now - before <= math.log(CALMED) and math.exp(before) >= CLEAR * floor:
            return (_event(record, survey, ways, edges[k : k + 3], change.spread, collapses_per_year),)
    return ()


def _ways(survey: Survey, level: FloatArray) -> _Ways:
    blocks = survey.blocks
    part = (blocks.start - blocks.start[0]) // PART
    edge = np.flatnonzero(np.diff(part, prepend=-1, append=-1))
    if edge.size < 2:
        return _Ways(edge=edge, range=np.empty(0))
    high, low = (one.reduceat(level, edge[:-1]) for one in (np.maximum, np.minimum))
    enough = np.diff(edge) >= FEWEST_BLOCKS
    if not enough.all():
        high, low, edge = high[enough], low[enough], np.append(edge[:-1][enough], edge[-1])
    return _Ways(edge=edge, range=high - low)


def _event(
    record: Record, survey: Survey, ways: _Ways, edges: list[int], spread: float, per_year: float
) -> Event:
    first, change, last = edges
    live, blocks = survey.live, survey.blocks
    was, now = (median(ways.range[a:b]) for a, b in ((first, change), (change, last)))
    open_end = last == ways.range.size
    onset = _onset(survey, ways, (first, change, last), max(now, survey.quantum))
    start = int(live.time[min(int(blocks.first[onset]), len(live) - 1)])
    end = int(live.time[-1]) if open_end else int(blocks.start[ways.edge[last]])
    clues = (
        heat_clue(record, start),
        state_clue(record, start),
        elsewhere_clue(survey, start, end),
        _temperature_clue(survey, edges),
        Clue(odds=2.0, words="goes on to the end of the record", inside=True)
        if open_end
        else Clue(odds=5.0, words="ends with a calibration or cleaning")
        if (reset := next_reset(record, start)) is not None and abs(reset - end) <= PART
        else Clue(odds=0.5, words="ended by itself", inside=True),
    )
    probe = weigh(
        prior=expected_faults(per_year, survey.years),
        chance=unexplained(UNEXPLAINED, survey.years),
        clues=clues,
    )
    probe = witnessed(probe, clues)
    half, ratio = 1.645 * spread, now / was
    origin = name_origin(probe)
    return Event(
        point=record.point.name,
        kind="noise_collapse",
        start=start,
        end=max(end, start + 1),
        size=ratio,
        size_low=ratio * math.exp(-half),
        size_high=ratio * math.exp(half),
        size_unit="",
        confidence=probe if origin != "process" else 1 - probe,
        origin=origin,
        severity="check",
        probe=record.probe_at(start),
        onset_uncertainty_s=PART / NS_PER_S,
        open_end=open_end,
        evidence=(
            f"goes {written(now, 2)} {record.change_unit} in half a day, {written(was, 2)} {record.change_unit} before",
            *words_of(clues),
        ),
        details={"noise_before": was, "noise": now},
    )


def _onset(survey: Survey, ways: _Ways, edges: tuple[int, int, int], now: float) -> int:
    """Block from which on the reading keeps to what it goes afterwards, in the half days around the change."""
    _, change, _ = edges
    lo, hi = int(ways.edge[max(change - 1, 0)]), int(ways.edge[min(change + 1, ways.range.size)])
    level = survey.blocks.level[lo:hi][::-1]
    ranges = np.maximum.accumulate(level) - np.minimum.accumulate(level)
    return hi - max(int(np.count_nonzero(ranges <= 2 * now)), 1)


def _temperature_clue(survey: Survey, edges: list[int]) -> Clue:
    """Whether the temperature calmed down as well."""
    if not np.isfinite(survey.temperature).all():
        return Clue(odds=1.0)
    first, change, last = edges
    ways = _ways(survey, survey.temperature)
    was, now = (median(ways.range[a:b]) for a, b in ((first, change), (change, last)))
    if not was > 0:
        return Clue(odds=1.0)
    if now <= 0.6 * was:
        return Clue(odds=0.15, words="the temperature calmed down with it")
    return Clue(odds=ALIVE, words="the temperature goes on through its days")
