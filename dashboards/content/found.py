"""Shifts where they were found: at the calibration that saw them, as long as they were in the reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards.content.about import About
from dashboards.wording import CAUSE_WORDS, PARAMETER_WORDS, Reader, joined
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.digits import percent
from excursions.records import Shift
from excursions.report.result import PointFindings

NEAR = NS_PER_DAY  # a level further before the calibration says nothing of where the reading stood


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundShift:
    """What one calibration found: when [ns], where the reading stood before it and where it should have, in the point's unit."""

    time: int
    reading: float
    truth: float
    shifts: tuple[Shift, ...]


def found_shifts(findings: PointFindings, shifts: Sequence[Shift]) -> tuple[FoundShift, ...]:
    """Significant shifts by the calibration that found them, oldest first; those whose effect on the reading is known.

    Effects of several parameters add up, as far as they are small beside the reading.
    """
    levels = findings.levels
    whole = np.isfinite(levels.value)
    made = []
    for time in sorted({shift.end for shift in shifts if shift.significant}):
        mine = tuple(s for s in shifts if s.end == time and s.significant and math.isfinite(s.reading_error))
        before = np.flatnonzero(whole & (levels.time + NS_PER_HOUR <= time) & (levels.time >= time - NEAR))
        if mine and before.size:
            reading = float(levels.value[before[-1]])
            truth = reading - math.fsum(shift.reading_error for shift in mine)
            made.append(FoundShift(time=time, reading=reading, truth=truth, shifts=mine))
    return tuple(made)


def found_words(found: FoundShift, about: About, reader: Reader) -> str:
    """One of them in a sentence: what changed, what it did to the reading, and its likeliest cause."""
    changed = joined(
        [
            f"{PARAMETER_WORDS.get(s.parameter, s.parameter)} {reader.amount(s.before, s.unit, s.uncertainty)} "
            f"to {reader.amount(s.after, s.unit, s.uncertainty)}"
            for s in found.shifts
        ]
    )
    off = found.reading - found.truth
    band = math.sqrt(math.fsum(s.reading_error_uncertainty**2 for s in found.shifts))
    size = reader.difference(abs(off), about.findings.unit, band)
    text = f"Shift found here: {changed}; the reading was {size} too {'high' if off > 0 else 'low'}"
    ids = {shift.id for shift in found.shifts}
    best = max((link for link in about.links if link.shift in ids), key=lambda k: k.probability, default=None)
    if best is None:
        return f"{text}."
    event = next((e for e in about.findings.events if e.id == best.event), None)
    cause = reader.event(event) if event else CAUSE_WORDS.get(best.cause, best.cause)
    return f"{text}. Likeliest cause: {cause} ({percent(best.probability)})."
