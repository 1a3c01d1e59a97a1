"""What the point showed at the moment asked about, and what it would have shown without the error that is known."""

from __future__ import annotations

import math
from zoneinfo import ZoneInfo

import numpy as np

from excursions.clock import NS_PER_S
from excursions.digits import reckoned
from excursions.records import MEASURING
from excursions.report.explanation import Focus
from excursions.report.result import PointFindings
from excursions.report.wording import day, difference, quantity

NEAR_INTERVALS = 3  # a sample further from the moment does not stand for it


def shown(findings: PointFindings, focus: Focus, tz: ZoneInfo, error: float, band: float) -> str:
    """The reading in words.

    ``3.48 mg/L at 20 Apr 09:59; without its error about 3.9 mg/L (± 0.2 mg/L)`` of a moment, the least and the greatest
    of a range, that no sample stands for the moment where none does; empty of an event, and where there is no reading.

    Parameters
    ----------
    error, band : error of the reading at the moment and half width of its band, in its unit; NaN where not known
    """
    trace, unit = findings.traces.get("value"), findings.unit
    if trace is None or focus.event:
        return ""
    known = np.isfinite(trace.value)
    time, value = trace.time[known], trace.value[known]
    if not focus.is_moment:
        there = (time >= focus.start) & (time <= focus.end)
        measured = there & findings.states.mask(time, MEASURING)
        inside = value[measured] if measured.any() else value[there]
        if not inside.size:
            return ""
        left = ", cleanings, calibrations and holds left out" if inside.size < there.sum() else ""
        low, high = float(inside.min()), float(inside.max())
        fine = findings.point.fine_at(max(abs(low), abs(high)))
        return f"between {quantity(low, unit, fine)} and {quantity(high, unit, fine)}{left}"
    at = int(np.searchsorted(time, focus.start, side="right")) - 1
    if at < 0:
        return ""
    away = focus.start - int(time[at])
    if away > _reach(findings):
        return f"not known at that moment: the last sample at hand before it is of {day(int(time[at]), tz)}"
    reading = float(value[at])
    said = f"{quantity(reading, unit, findings.point.fine_at(reading))} at {day(int(time[at]), tz)}"
    if math.isfinite(error) and math.isfinite(band):
        right = quantity(reckoned(reading, error, band), unit, band)
        said += f"; without its error about {right} (± {difference(band, unit, band)})"
    return said


def _reach(findings: PointFindings) -> float:
    """How long before a moment a sample may lie that still stands for it [ns]; one recorded on change stands until the next."""
    sampling = findings.sampling.get("value")
    if sampling is not None and sampling.on_change and math.isfinite(sampling.gap_s):
        return sampling.gap_s * NS_PER_S
    interval = sampling.interval_s if sampling is not None else math.nan
    return NEAR_INTERVALS * interval * NS_PER_S if math.isfinite(interval) else 0.0
