"""Recovering: after a cause ends, until reading and temperature move no faster than they usually do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.ranks import quantile
from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    RECOVERING,
    STATES,
    STEAMING,
    WASHING,
    FloatArray,
    IndexArray,
)
from excursions.states.line import Claim
from excursions.states.trace import Trace

BLOCK_MIN, BLOCK_SAMPLES = 3.0, 4  # reading levels are compared over blocks of this length, at least
POINTS = 8  # instants looked at in a block
LOOKS = 2_000  # places of the record that say what is usual
USUAL = 0.95
LONG = 8  # blocks
PASSES = 4
# Longest recovery that is believed, by cause [h] (cp); afterwards it is the detectors' business.
BOUND_H = {HOLD: 1.0, WASHING: 0.5, CALIBRATING: 3.0, CLEANING: 6.0, STEAMING: 6.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How far a signal moves from one block of `block` ns to the next: `measured` as a rule, `usual` at least what matters.

    usual_long: the same over LONG blocks, which shows a slow approach that block by block looks like wander.
    """

    trace: Trace
    block: int
    measured: float
    usual: float
    usual_long: float


def pace_of(trace: Trace | None, least: float) -> Pace | None:
    """Measure the usual pace from evenly spread places; `least` is a move that never matters."""
    if trace is None or len(trace) < 4 * BLOCK_SAMPLES:
        return None
    block = round(max(BLOCK_MIN * NS_PER_MINUTE, BLOCK_SAMPLES * trace.interval_s * NS_PER_S))
    span = int(trace.time[-1] - trace.time[0])
    if span < 4 * block:
        return None
    longest = min(LONG, span // block - 2)
    starts = trace.time[0] + np.linspace(0, span - (longest + 1) * block, LOOKS).astype(np.int64)
    levels = _levels(trace, np.concatenate([starts, starts + longest * block]), block, 2)
    measured = quantile(np.abs(levels[:, 1] - levels[:, 0]), USUAL)
    apart = np.abs(levels[LOOKS:, 0] - levels[:LOOKS, 0])
    least = max(least, trace.resolution)
    return Pace(
        trace=trace,
        block=block,
        measured=measured,
        usual=max(measured, least),
        usual_long=max(quantile(apart, USUAL), least),
    )


def recovering(causes: Sequence[Claim], paces: Sequence[Pace | None], end: int) -> list[Claim]:
    """Claims from the end of each cause until every signal has settled, the next cause or the bound.

    Parameters
    ----------
    causes : sequence of Claim
        Everything but measuring, recovering and no data.
    paces : sequence of Pace or None
        Reading and temperature; None settles at once.
    end : int
        End of the record (ns).
    """
    ordered = _outermost(causes)
    claims: list[Claim] = []
    for code, bound in BOUND_H.items():
        chosen = [(c, limit) for c, limit in ordered if c.code == code]
        if chosen:
            claims += _after([c for c, _ in chosen], [min(x, end) for _, x in chosen], paces, bound)
    return claims


def _outermost(causes: Sequence[Claim]) -> list[tuple[Claim, int]]:
    """The causes that end last where several overlap, each with the start of the next one."""
    kept: list[Claim] = []
    for claim in sorted(causes, key=lambda c: (c.start, c.end)):
        if kept and claim.end <= kept[-1].end:
            continue
        kept.append(claim)
    limits = [*(c.start for c in kept[1:]), 2**63 - 1]
    return list(zip(kept, limits, strict=False))


def _after(
    causes: Sequence[Claim], limits: Sequence[int], paces: Sequence[Pace | None], bound_h: float
) -> list[Claim]:
    ends = np.array([c.end for c in causes], dtype=np.int64)
    latest = ends + round(bound_h * NS_PER_HOUR)
    until = ends
    for _ in range(PASSES):  # a reading may begin to move only when the temperature has settled
        again = np.max([until, *(_settled(p, until, bound_h) for p in paces if p is not None)], axis=0)
        if (again == until).all():
            break
        until = np.minimum(again, latest)
    capped = until >= latest
    until = np.minimum(until, np.array(limits, dtype=np.int64))
    return [
        Claim(
            start=cause.end,
            end=int(stop),
            code=RECOVERING,
            confidence=0.5 if late else 0.8,
            evidence=f"after {STATES[cause.code]}: not settled "
            + (f"within {bound_h:g} h" if late else f"for {(stop - cause.end) / NS_PER_MINUTE:.0f} min"),
        )
        for cause, stop, late in zip(causes, until, capped, strict=True)
        if stop > cause.end
    ]


def _settled(pace: Pace, since: TimeArray, bound_h: float) -> TimeArray:
    """Instant from which the level keeps its usual pace, at most the bound after each instant of `since`."""
    blocks = max(1, round(bound_h * NS_PER_HOUR / pace.block))
    levels = _levels(pace.trace, since, pace.block, blocks + LONG)
    near = np.abs(np.diff(levels, axis=1))[:, :blocks] <= pace.usual
    far = np.abs(levels[:, LONG:] - levels[:, :-LONG]) <= pace.usual_long
    calm = np.column_stack([near & far, np.ones(since.size, dtype=np.bool_)])
    return np.asarray(since + np.argmax(calm, axis=1) * pace.block)


def _levels(trace: Trace, starts: IndexArray, block: int, count: int) -> FloatArray:
    """Mean level of `count` blocks from each start, shape (k, count), also where the record kept no sample."""
    offsets = np.arange(count * POINTS, dtype=np.int64) * (block // POINTS)
    when = (starts[:, None] + offsets).ravel()
    before = np.maximum(trace.last_at(when), 0)
    value = trace.value[before]
    if trace.held and trace.drawn:
        after = np.minimum(before + 1, len(trace) - 1)
        apart = np.maximum(trace.time[after] - trace.time[before], 1)
        value = value + np.clip((when - trace.time[before]) / apart, 0.0, 1.0) * (trace.value[after] - value)
    return np.asarray(value.reshape(starts.size, count, POINTS).mean(axis=2))
