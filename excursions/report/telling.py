"""Which windows of doubt are told, decided once: verdict, terminal, tables, pages, explanations and nights all ask it here.

A window that a calibration has closed is told: the reading was found wrong.  One that is still open is an estimate, and
told where it says something: its best estimate leaves the tolerance, its band leaves that a sign, and more speaks for it
than events that are likelier the process's.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.kinds import WORTH_ASKING, having
from excursions.plant import Point
from excursions.records import (
    NOT_PUT_RIGHT,
    SETTLED,
    SEVERITY_RANK,
    UNVERIFIED,
    Calibration,
    Doubt,
    Event,
    FloatArray,
    Outcomes,
)
from excursions.report.result import PointFindings

PASSING = having("ends")
WITHIN = "the best estimate of its error is within tolerance"
NO_SIGN = "its error may as well be none: the band holds zero"
THE_PROCESS = "what it rests on is likelier the process's"


def weighed_doubts(
    doubts: Sequence[Doubt],
    findings: PointFindings,
    *,
    calibrations: Sequence[Calibration],
    outcomes: Outcomes,
) -> tuple[Doubt, ...]:
    """The windows of one point, each with why it is too small to matter, if it is.

    Parameters
    ----------
    doubts, calibrations : those of this point alone
    outcomes : event id -> (what became of it, sentence)
    """
    live = [event for event in findings.events if is_live(event, calibrations, outcomes)]
    return tuple(replace(doubt, too_small=_too_small(doubt, findings, live)) for doubt in doubts)


def _too_small(doubt: Doubt, findings: PointFindings, live: Sequence[Event]) -> str:
    """Why a window is not told; empty where it is."""
    if not doubt.open_end:
        return ""
    tolerance = tolerance_now(findings)
    knots = itertools.zip_longest((error for _, error in doubt.knots), doubt.band, fillvalue=math.nan)
    sizes = [(abs(error), band) for error, band in knots]
    known = [(size, band) for size, band in sizes if math.isfinite(size)]
    if not known and not any(band > tolerance for band in doubt.band):
        return WITHIN
    if known and not any(size > tolerance for size, _ in known):
        return WITHIN
    if known and not any(size > max(tolerance, band) for size, band in known):
        return NO_SIGN
    return "" if _is_worth_asking(doubt, live) else THE_PROCESS


def last_error(doubt: Doubt) -> tuple[float, float]:
    """Error at the end of a window and half width of its band; NaN where they are not known."""
    if not doubt.knots:
        return math.nan, math.nan
    return doubt.knots[-1][1], doubt.band[-1] if doubt.band else math.nan


def stands_now(doubt: Doubt, findings: PointFindings) -> bool:
    """Whether a window that is told still matters at the end of the record: what grew may have gone back."""
    if doubt.too_small or not doubt.open_end:
        return False
    error, band = last_error(doubt)
    tolerance = tolerance_now(findings)
    return abs(error) > max(tolerance, band) if math.isfinite(error) else band > tolerance


def is_live(event: Event, calibrations: Sequence[Calibration], outcomes: Outcomes) -> bool:
    """Whether an event still bears on the reading: worth a look, neither settled nor calibrated away."""
    if not (event.asks_a_look and event.may_be_probe) or became(outcomes, event.id) in SETTLED:
        return False
    if event.went_back or (event.kind in PASSING and not event.open_end):
        return False
    return put_right_at(event, calibrations, outcomes) is None


def is_open_question(event: Event, at: int | None = None) -> bool:
    """Whether an event that may be the process's as well keeps a reading from being trusted, now or at an instant [ns]."""
    goes_on = event.open_end if at is None else event.open_end or event.end > at
    lasting = event.severity == "act" or goes_on  # what still goes on is not trusted away
    return event.origin == "undecided" and lasting and event.confidence >= WORTH_ASKING


def put_right_at(event: Event, calibrations: Sequence[Calibration], outcomes: Outcomes) -> int | None:
    """When the first calibration after an event put right what it did; None without one, or where the record says it did not."""
    if became(outcomes, event.id) == NOT_PUT_RIGHT:
        return None
    return min(
        (c.time for c in calibrations if c.time >= event.nearly_over and c.action == "calibration"),
        default=None,
    )


def over_at(event: Event, calibrations: Sequence[Calibration], outcomes: Outcomes) -> int | None:
    """When nothing of an event was left in the reading [ns]; None where it was not over at the end of the record.

    What passes, and what is no probe's, is over with itself; a change of a probe's level when the reading went back or a
    calibration put it right.
    """
    if event.kind in PASSING or not event.may_be_probe:
        return None if event.open_end else event.end
    ends = (event.back_at, put_right_at(event, calibrations, outcomes))
    return min((end for end in ends if end is not None), default=None)


def became(outcomes: Outcomes, event: str) -> str:
    """What became of the event with this id at the calibrations after it; empty where that is not asked."""
    return outcomes.get(event, ("", ""))[0]


def worst(events: Sequence[Event]) -> Event | None:
    """The event that weighs most, the newest of equals; None without any."""
    return max(events, key=lambda e: (SEVERITY_RANK[e.severity], e.confidence, e.start), default=None)


def _is_worth_asking(doubt: Doubt, live: Sequence[Event]) -> bool:
    """Whether more speaks for a doubt than events that are likelier the process's than the probe's."""
    if doubt.basis != UNVERIFIED:
        return True
    return any(e.confidence >= WORTH_ASKING and e.end > doubt.start and e.start < doubt.end for e in live)


def tolerance_now(findings: PointFindings) -> float:
    """Reading error that matters at the level of the last day of the record, canonical unit."""
    finite = findings.levels.value[np.isfinite(findings.levels.value)]
    return tolerance_of(finite[-24:], findings.point)


def tolerance_of(levels: FloatArray, point: Point) -> float:
    """Reading error that matters at the middle of some levels, NaN left out."""
    finite = levels[np.isfinite(levels)]
    level = float(np.median(finite)) if finite.size else 0.0
    return point.doubted_at(level)
