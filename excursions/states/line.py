"""From claims on stretches of time to one contiguous state line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    MEASURING,
    NO_DATA,
    RECOVERING,
    STEAMING,
    WASHING,
    StateLine,
)

# Who wins where claims overlap, weakest first.  Heat tells more about the probe than the hold that covers it;
# a hold tells more than silence; recovering gives way to everything that has a cause of its own.
PRECEDENCE = (MEASURING, RECOVERING, NO_DATA, HOLD, WASHING, CALIBRATING, CLEANING, STEAMING)
_RANK = {code: rank for rank, code in enumerate(PRECEDENCE)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A stretch [start, end) (ns) that evidence gives to a state, with its probability, one short fact, standards seen.

    rests: standards in which only a probe far off may have been; helped: log odds that an entry of a log adds to it, infinite
    where nobody would have looked without one; stood: temperature
    [degC] at which the probe came to rest out of the line
    """

    start: int
    end: int
    code: int
    confidence: float
    evidence: str
    standards: tuple[str, ...] = ()
    rests: tuple[str, ...] = ()
    helped: float = 0.0
    stood: float = math.nan


def state_line(claims: Sequence[Claim], start: int, end: int, *, otherwise: float) -> StateLine:
    """Lay claims over [start, end) by precedence, then confidence; what nobody claims is measuring.

    Parameters
    ----------
    claims : sequence of Claim
        In any order, overlapping at will.
    start, end : int
        Span of the record in ns; an empty span gives an empty line.
    otherwise : float
        Confidence of the measuring state where nothing speaks for another.
    """
    rest = Claim(
        start=start, end=end, code=MEASURING, confidence=otherwise, evidence="no sign of another state"
    )
    ranked = sorted(claims, key=lambda c: (_RANK[c.code], c.confidence, c.start, c.end, c.evidence))
    ranked = [rest, *(c for c in ranked if c.start < end and c.end > start and c.start < c.end)]
    edges = np.unique([t for c in ranked for t in (max(c.start, start), min(c.end, end))])
    if edges.size < 2:
        return line_of([])
    owner = np.zeros(edges.size - 1, dtype=np.int64)
    for number, claim in enumerate(ranked):
        lo, hi = np.searchsorted(edges, (max(claim.start, start), min(claim.end, end)))
        owner[lo:hi] = number
    fresh = np.append(0, np.flatnonzero(np.diff(owner)) + 1)
    bounds = edges[np.append(fresh, owner.size)].tolist()
    kept = zip(owner[fresh].tolist(), pairwise(bounds), strict=True)
    return line_of([replace(ranked[number], start=a, end=b) for number, (a, b) in kept])


def line_of(claims: Sequence[Claim]) -> StateLine:
    """The line that claims make which follow one another without a gap, in time order."""
    return StateLine(
        start=np.array([c.start for c in claims], np.int64),
        end=np.array([c.end for c in claims], np.int64),
        code=np.array([c.code for c in claims], np.uint8),
        confidence=np.array([c.confidence for c in claims], np.float64),
        evidence=tuple(c.evidence for c in claims),
        standards=tuple(c.standards for c in claims) if any(c.standards for c in claims) else (),
        rests=tuple(c.rests for c in claims) if any(c.rests for c in claims) else (),
        helped=np.array([c.helped for c in claims] if any(c.helped for c in claims) else [], np.float64),
        stood=np.array(
            [c.stood for c in claims] if any(math.isfinite(c.stood) for c in claims) else [], np.float64
        ),
    )


def claims_of(line: StateLine) -> list[Claim]:
    """The spans of a line, each as the claim that it follows from: ``line_of(claims_of(line))`` is the line again."""
    columns = (line.start.tolist(), line.end.tolist(), line.code.tolist(), line.confidence.tolist())
    return [
        Claim(
            start=start,
            end=end,
            code=code,
            confidence=confidence,
            evidence=line.evidence[i],
            standards=line.standards_in(i),
            rests=line.rests_in(i),
            helped=line.helped_in(i),
            stood=line.stood_at(i),
        )
        for i, (start, end, code, confidence) in enumerate(zip(*columns, strict=True))
    ]
