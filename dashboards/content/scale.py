"""The scale on which a person can see the reading: usual levels and all trouble, not every cleaning.

A cleaning or a calibration can take the reading ten times as far as the process ever does.  Drawn on the
whole scale, the process becomes a flat line.  So the scale is that of the usual hourly levels, widened until
everything in doubt, every event worth a look and the newest days are on it, but for readings at the end of the
range or beyond what is possible that are over again.  What lies beyond is cut off at the edge, and the page says so
and offers the whole scale.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dashboards.content.entry import in_trouble
from excursions.clock import NS_PER_DAY
from excursions.kinds import KINDS
from excursions.ranks import quantiles
from excursions.records import Doubt, FloatArray
from excursions.report.corrected import corrected_level, hours_in
from excursions.report.result import PointFindings

USUAL = (0.05, 0.95)  # quantiles of the hourly levels that count as usual
AIR = 1.0  # of their span, added on both sides before anything counts as beyond the scale
NEWEST = 3 * NS_PER_DAY
SHORT = 3 * NS_PER_DAY  # events shorter than this are shown to their last extreme
# Over again, their readings say nothing of the process: cut off, and said.
NO_LEVEL = ("out_of_range", "pinned", "spikes")
ENOUGH = 20  # levels from which quantiles mean something
WORTH = 0.6  # of the whole scale: a usual scale that is hardly narrower is not worth a second one


def usual_scale(
    findings: PointFindings, doubts: Sequence[Doubt], samples: FloatArray | None = None
) -> tuple[float, float] | None:
    """Lowest and highest value of the usual scale in the point's unit, or None when the whole scale serves.

    Parameters
    ----------
    findings : PointFindings
    doubts : sequence of Doubt
        Those of this point; their corrected level is kept on the scale.
    samples : ndarray or None
        Laboratory samples in the point's unit; kept on the scale.
    """
    trace = findings.traces.get("value")
    levels = findings.levels
    if trace is None or np.isfinite(levels.value).sum() < ENOUGH:
        return None
    kept = [usual(levels.value), usual(levels.value[levels.time >= findings.end - NEWEST])]
    if samples is not None:
        kept.append(_ends(samples))
    for doubt in doubts:
        inside = hours_in(doubt, levels.time)
        kept.append(usual(levels.value[inside]))
        kept.append(usual(corrected_level(findings, doubt).value))  # a wide band may run off, no reading may
    for event in findings.events:
        if not in_trouble(event) or event.kind not in KINDS or KINDS[event.kind].signal != "value":
            continue
        if event.kind in NO_LEVEL and not event.open_end:
            continue
        if event.end - event.start < SHORT:
            kept.append(_ends(trace.value[(trace.time >= event.start) & (trace.time < event.end)]))
        else:
            kept.append(usual(levels.value[(levels.time >= event.start) & (levels.time < event.end)]))
    ends = np.array([pair for pair in kept if pair[0] <= pair[1]])
    low, high = float(ends[:, 0].min()), float(ends[:, 1].max())
    whole = _ends(trace.value)
    return (low, high) if high - low < WORTH * (whole[1] - whole[0]) else None


def usual(values: FloatArray) -> tuple[float, float]:
    """Usual span of some levels with air around it, never wider than they are; (1, 0) without any."""
    finite = values[np.isfinite(values)]
    if finite.size < ENOUGH:
        return _ends(finite)
    low, high = quantiles(finite, USUAL)
    air = AIR * (high - low)
    return max(low - air, float(finite.min())), min(high + air, float(finite.max()))


def _ends(values: FloatArray) -> tuple[float, float]:
    finite = values[np.isfinite(values)]
    return (float(finite.min()), float(finite.max())) if finite.size else (1.0, 0.0)
