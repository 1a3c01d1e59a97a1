"""Scores of calibrations, links and doubt windows: pure functions from truth and results to figures.

* A shift is *large* when it exceeds three times its uncertainty.
* A link is *right* when the first choice is what truly made the largest part of the shift, or made at least
  eight tenths of as much; sterilisations within the plan count as ordinary ageing.
* Ordinary ageing is *blamed* when an event is the first choice although no event made any of the shift.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_S
from excursions.records import Event, FloatArray, Link, Shift
from sample_data.simulator import ShiftTruth, TruthRow
from tests.benchmarks.scoring import CONSEQUENCES, kinds_of

SAME_TIME = NS_PER_HOUR
ORDINARY = ("ageing", "sterilisation")
NEAR_TIE = 0.8
# Where the tool's unit or sign of a parameter is another than the truth's: (measurand, tool's unit) -> factor.
# Membrane: 0.30 nA/hPa is 100 %; optical: 0.0075 per hPa is 100 %; CO2: the zero point of the inner pH
# electrode goes against the logarithm of the pressure at zero voltage.
FACTORS = {
    ("oxygen", "nA/hPa"): 0.30 / 100.0,
    ("oxygen_saturation", "1/hPa"): 0.0075 / 100.0,
    ("co2", "pH"): -1.0,
    ("turbidity", ""): 1.0,
}


@dataclass(frozen=True)
class Linked:
    """One shift with its truth, its links by rank, and whether the first choice is right."""

    truth: ShiftTruth
    shift: Shift
    links: tuple[Link, ...]
    right: bool
    large: bool
    cause: str

    @property
    def z(self) -> float:
        """Found change minus true change over the stated uncertainty; NaN where units cannot be compared."""
        return (self.shift.change - self._true_change) / self.shift.uncertainty

    @property
    def still(self) -> bool:
        """Whether the parameter truly stayed where it was, to a tenth of the uncertainty."""
        return abs(self._true_change) < 0.1 * self.shift.uncertainty

    @property
    def _true_change(self) -> float:
        same = 1.0 if self.truth.unit == self.shift.unit else math.nan
        return FACTORS.get((self.shift.measurand, self.shift.unit), same) * self.truth.change


def pair_shifts(truths: Sequence[ShiftTruth], shifts: Sequence[Shift]) -> list[tuple[ShiftTruth, Shift]]:
    """True and found shifts of the same point and parameter over the same two entries."""
    found: dict[tuple[str, str], list[Shift]] = {}
    for shift in shifts:
        found.setdefault((shift.point, shift.parameter), []).append(shift)
    pairs = []
    for truth in truths:
        for shift in found.get((truth.point, truth.parameter), ()):
            if abs(shift.start - truth.start) < SAME_TIME and abs(shift.end - truth.end) < SAME_TIME:
                pairs.append((truth, shift))
    return pairs


def score_links(
    truths: Sequence[ShiftTruth],
    shifts: Sequence[Shift],
    links: Sequence[Link],
    events: Sequence[Event],
    faults: Sequence[TruthRow],
) -> list[Linked]:
    """Every shift whose truth is known, unlogged swaps left out (they are no shift of one probe)."""
    by_shift: dict[str, list[Link]] = {}
    for link in links:
        by_shift.setdefault(link.shift, []).append(link)
    by_id = {event.id: event for event in events}
    scored = []
    for truth, shift in pair_shifts(truths, shifts):
        if truth.main == "swap":
            continue
        mine = tuple(sorted(by_shift.get(shift.id, ()), key=lambda link: link.rank))
        right = bool(mine) and is_right(truth, mine[0], by_id, faults)
        cause = "ageing" if truth.main in ORDINARY else truth.main
        scored.append(Linked(truth, shift, mine, right, abs(shift.change) > 3 * shift.uncertainty, cause))
    return scored


def true_causes(truth: ShiftTruth) -> list[tuple[str, int]]:
    """(cause, onset ns) of the largest part and of every part at least eight tenths as large, ordinary ageing summed."""
    parts: dict[tuple[str, int], float] = {}
    for name, part in truth.shares:
        cause, _, start = name.partition("@")
        key = ("ageing", 0) if cause in ORDINARY else (cause, int(start))
        parts[key] = parts.get(key, 0.0) + part
    if not parts:
        return [("ageing", 0)]
    most = max(abs(part) for part in parts.values())
    return [key for key, part in parts.items() if abs(part) >= NEAR_TIE * most]


def is_right(truth: ShiftTruth, link: Link, events: Mapping[str, Event], faults: Sequence[TruthRow]) -> bool:
    """Whether this link names (one of) the main true causes."""
    for cause, start in true_causes(truth):
        if cause in ("ageing", "unrecorded"):
            if link.cause == cause:
                return True
            continue
        event = events.get(link.event)
        rows = [
            row
            for row in faults
            if row.point == truth.point and row.kind == cause and abs(row.start - start) < SAME_TIME
        ]
        if event is not None and any(_means(event, row) for row in rows):
            return True
    return False


def _means(event: Event, row: TruthRow) -> bool:
    """An event that touches the fault and is of its kind, or of a kind it brings along."""
    kinds = kinds_of(row) + CONSEQUENCES.get(row.kind, ())
    touches = event.start < row.end + SAME_TIME and max(event.end, event.start + 1) > row.start - SAME_TIME
    return touches and event.kind in kinds and event.point == row.point


def first_choice(scored: Sequence[Linked]) -> tuple[int, int]:
    """(right, of) over large shifts."""
    large = [one for one in scored if one.large]
    return sum(one.right for one in large), len(large)


def brier(scored: Sequence[Linked], events: Sequence[Event], faults: Sequence[TruthRow]) -> float:
    """Mean squared difference of each link's probability and whether it is right, over the links of large shifts."""
    by_id = {event.id: event for event in events}
    rows = [
        (link.probability - float(is_right(one.truth, link, by_id, faults))) ** 2
        for one in scored
        if one.large
        for link in one.links
    ]
    return float(np.mean(rows)) if rows else math.nan


def blamed(scored: Sequence[Linked]) -> tuple[int, int]:
    """(times an event is first choice, of) over shifts that ordinary ageing made alone."""
    alone = [one for one in scored if all(name.partition("@")[0] in ORDINARY for name, _ in one.truth.shares)]
    return sum(bool(one.links) and one.links[0].cause == "event" for one in alone), len(alone)


def reliability_of_links(scored: Sequence[Linked], bins: int = 10) -> list[tuple[float, float, int]]:
    """Rows (mean probability of the first choice, share right, count) over large shifts."""
    said = [(one.links[0].probability, one.right) for one in scored if one.large and one.links]
    rows = []
    for k in range(bins):
        here = [(p, r) for p, r in said if min(int(p * bins), bins - 1) == k]
        if here:
            rows.append(
                (float(np.mean([p for p, _ in here])), float(np.mean([r for _, r in here])), len(here))
            )
    return rows


@dataclass(frozen=True)
class Coverage:
    """Doubt against truth at sampled hours: inside the band, of; and onset error [h] where an event marks it."""

    inside: int
    of: int
    onset_h: tuple[float, ...]

    def __add__(self, other: Coverage) -> Coverage:
        return Coverage(self.inside + other.inside, self.of + other.of, self.onset_h + other.onset_h)


def cover(truth: FloatArray, estimate: FloatArray, band: FloatArray) -> Coverage:
    """Hours at which the true error lies within the band around the estimate."""
    good = np.isfinite(truth) & np.isfinite(estimate) & np.isfinite(band)
    return Coverage(int(np.count_nonzero(np.abs(estimate - truth)[good] <= band[good])), int(good.sum()), ())


def onset_hours(start: int, true_start: int) -> float:
    """How far the start of a doubt window lies from the true onset [h]."""
    return (start - true_start) / NS_PER_S / 3600.0
