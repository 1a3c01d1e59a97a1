"""The reading beside what else knows it: laboratory samples, and related points."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dashboards.content.about import About
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.digits import reckoned
from excursions.records import BoolArray, FloatArray, LabSample
from excursions.report.corrected import error_then
from excursions.report.result import PointFindings

MOST_SAMPLES = 12
NEAR = 3 * NS_PER_HOUR  # a level further from the sample says nothing about it
NEWEST = 7 * NS_PER_DAY
LEAST_HOURS = 48  # both points must have measured together this long
LEAST_NEWEST = 12
# Robust standard deviations, of weeks held against weeks, from which a difference is called unusual.
WIDE = 3.0
LEAST_WEEKS = 4  # earlier weeks from which on their own scatter is known (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleRow:
    """One laboratory sample beside the reading; `corrected` is empty outside doubtful stretches."""

    when: str
    sample: str
    reading: str
    difference: str
    said: str
    corrected: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PeerRow:
    """A related point: how far the reading usually lies from it, and how far in the newest days."""

    name: str
    usual: str
    newest: str
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RelatedRow:
    """A related point in another unit: where it usually stands, and where in the newest days."""

    name: str
    label: str
    usual: str
    newest: str
    said: str


def sample_rows(about: About, reader: Reader) -> tuple[tuple[SampleRow, ...], int]:
    """Newest first, and how many older ones were left out."""
    ordered = sorted(about.samples, key=lambda s: -s.time)
    rows = tuple(_sample_row(sample, about, reader) for sample in ordered[:MOST_SAMPLES])
    return rows, len(ordered) - len(rows)


def _sample_row(sample: LabSample, about: About, reader: Reader) -> SampleRow:
    findings = about.findings
    unit, level = findings.unit, level_at(findings, sample.time)
    tolerance = findings.point.tolerance_at(sample.value)
    fine = findings.point.fine_at(sample.value)
    off = level - sample.value
    known = math.isfinite(off)
    error = error_then(about.doubts, sample.time)
    return SampleRow(
        when=reader.moment(sample.time),
        sample=reader.amount(sample.value, unit, fine),
        reading=reader.amount(level, unit, fine) if known else "none near it",
        difference=reader.difference(reckoned(level, sample.value, fine), unit, fine, signed=True)
        if known
        else "–",
        said=("beyond" if abs(off) > tolerance else "within")
        + f" tolerance ({reader.difference(tolerance, unit)})"
        if known
        else "cannot be compared",
        corrected=reader.difference(off - error, unit, fine, signed=True)
        if known and math.isfinite(error)
        else "",
    )


def level_at(findings: PointFindings, instant: int) -> float:
    """The hourly level nearest to an instant; NaN without one within three hours."""
    good = np.isfinite(findings.levels.value)
    if not good.any():
        return math.nan
    middle = findings.levels.time[good] + NS_PER_HOUR // 2
    index = int(np.argmin(np.abs(middle - instant)))
    return (
        float(findings.levels.value[good][index]) if abs(int(middle[index]) - instant) <= NEAR else math.nan
    )


def peer_rows(about: About, reader: Reader) -> tuple[PeerRow, ...]:
    """Related points in the same unit."""
    return tuple(row for peer in about.neighbours for row in [_peer_row(about.findings, peer, reader)] if row)


def _peer_row(findings: PointFindings, peer: PointFindings, reader: Reader) -> PeerRow | None:
    hours, mine, theirs = np.intersect1d(
        findings.levels.time, peer.levels.time, assume_unique=True, return_indices=True
    )
    apart = findings.levels.value[mine] - peer.levels.value[theirs]
    good = np.isfinite(apart)
    hours, apart = hours[good], apart[good]
    newest = hours >= findings.end - NEWEST
    if apart.size < LEAST_HOURS or newest.sum() < LEAST_NEWEST:
        return None
    before = apart[~newest] if (~newest).sum() >= LEAST_HOURS else apart
    usual, spread = _middle(before)
    now, _ = _middle(apart[newest])
    fine = max(spread / 5, findings.point.fine_at(now))
    wide = _is_wide(hours, apart, newest, now - usual, tolerance=findings.point.tolerance_at(now))
    further = reader.difference(abs(now - usual), findings.unit, fine)
    return PeerRow(
        name=peer.point.name,
        usual=f"{reader.difference(usual, findings.unit, fine, signed=True)}, give or take "
        f"{reader.difference(spread, findings.unit, fine)}",
        newest=reader.difference(now, findings.unit, fine, signed=True),
        said=f"{further} from the usual" if wide else "as usual",
    )


def _is_wide(
    hours: TimeArray, level: FloatArray, newest: BoolArray, moved: float, *, tolerance: float
) -> bool:
    """Whether the newest week lies unusually far off: held against earlier weeks, for single hours scatter wider than weeks.

    Where too few earlier weeks are there, what is more than the scatter of single hours is not called usual.  Nothing
    within the tolerance is called unusual.
    """
    if abs(moved) <= tolerance:
        return False
    before, then = level[~newest], hours[~newest]
    if not before.size:
        return False
    week = (int(then[-1]) - then) // NEWEST
    held = [before[week == number] for number in np.unique(week)]
    weeks = np.array([np.median(part) for part in held if part.size >= LEAST_NEWEST])
    if weeks.size < LEAST_WEEKS:
        return abs(moved) > _middle(before)[1]
    return abs(moved) > WIDE * _middle(weeks)[1]


def related_rows(about: About, reader: Reader) -> tuple[RelatedRow, ...]:
    """Related points in another unit: whether they stand where they usually do."""
    return tuple(
        row for other in about.related for row in [_related_row(other, about.findings.end, reader)] if row
    )


def _related_row(other: PointFindings, end: int, reader: Reader) -> RelatedRow | None:
    reader = reader.of(other)
    good = np.isfinite(other.levels.value)
    hours, level = other.levels.time[good], other.levels.value[good]
    newest = (hours >= end - NEWEST) & (hours < end)
    if (~newest).sum() < LEAST_HOURS or newest.sum() < LEAST_NEWEST:
        return None
    usual, spread = _middle(level[~newest])
    now, _ = _middle(level[newest])
    fine = max(spread / 5, other.point.fine_at(now))
    wide = _is_wide(hours, level, newest, now - usual, tolerance=other.point.tolerance_at(now))
    return RelatedRow(
        name=other.point.name,
        label=other.point.quantity.label,
        usual=f"{reader.amount(usual, other.unit, fine)}, give or take {reader.difference(spread, other.unit, fine)}",
        newest=reader.amount(now, other.unit, fine),
        said=f"{reader.difference(abs(now - usual), other.unit, fine)} from the usual"
        if wide
        else "as usual",
    )


def _middle(values: FloatArray) -> tuple[float, float]:
    """Median and robust standard deviation."""
    middle = float(np.median(values))
    return middle, 1.4826 * float(np.median(np.abs(values - middle)))
