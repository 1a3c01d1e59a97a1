"""A calibration that was itself off: as much as it found, the next one found the other way.

A wrong buffer or a spoilt standard makes a shift where there is none and puts it into the transmitter; the next calibration
finds it taken back.  Two shifts that are equal and opposite and that no event explains are one such calibration rather than
two damages that cancel: the readings before it were right, and those after it wrong from its first minute on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S
from excursions.link.ageing import Ageing, key_of, owner_of
from excursions.link.effects import Variant
from excursions.link.intervals import Interval
from excursions.records import Shift

BEGAN_OFF, ENDED_OFF = "began off", "ended off"
# Of shifts that no event explains, so many are a calibration's own before it is asked whether the next one took them back: damage
# and dirt that grow unseen, and dirt that nobody cleaned off before he calibrated, are more common than a spoilt standard (cp).
_CHANCE = 0.3
_AS_MUCH = 3.0  # uncertainties


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two intervals of a probe side by side, by their places, with the shifts of the same parameters."""

    earlier: int
    later: int
    shifts: tuple[tuple[Shift, Shift], ...]


def undone(
    spans: Sequence[Interval], unexplained: Sequence[float], ageing: Ageing
) -> list[tuple[Variant, ...]]:
    """For each interval the ways in which the calibration at one of its ends made the shift by itself.

    unexplained : chance, for each interval, that no event made its shift
    """
    made: list[list[Variant]] = [[] for _ in spans]
    for pair in _pairs(spans):
        ends, begins = spans[pair.earlier], spans[pair.later]
        opposite = {key_of(a): b for a, b in pair.shifts}
        made[pair.earlier].append(
            _way(ends, opposite, unexplained[pair.later], ends.end + NS_PER_S, ENDED_OFF, ageing)
        )
        opposite = {key_of(b): a for a, b in pair.shifts}
        made[pair.later].append(
            _way(begins, opposite, unexplained[pair.earlier], begins.start, BEGAN_OFF, ageing)
        )
    return [tuple(ways) for ways in made]


def _pairs(spans: Sequence[Interval]) -> Iterator[_Pair]:
    """Neighbouring intervals with a shift that is significant in both and goes back by as much; none that a cleaning took off."""
    begins: dict[
        object, list[int]
    ] = {}  # several, where a calibration of one point parts the parameters of a probe
    for at, span in enumerate(spans):
        begins.setdefault((owner_of(span.shifts[0]), span.start), []).append(at)
    for at, span in enumerate(spans):
        for after in begins.get((owner_of(span.shifts[0]), span.end), ()):
            if span.coated or spans[after].coated:
                continue
            later = {key_of(s): s for s in spans[after].shifts}
            both = tuple((s, later[key_of(s)]) for s in span.shifts if key_of(s) in later)
            moved = [(a, b) for a, b in both if a.significant and b.significant]
            if moved and all(_cancel(a, b) for a, b in moved):
                yield _Pair(at, after, both)


def _cancel(a: Shift, b: Shift) -> bool:
    """Whether two shifts take one another back, as closely as they are known."""
    return abs(a.change + b.change) <= _AS_MUCH * math.hypot(a.uncertainty, b.uncertainty)


def _way(
    span: Interval, opposite: dict[tuple[str, str, str], Shift], chance: float, when: int, source: str, ageing: Ageing
) -> Variant:  # fmt: skip
    """The shift that the other one takes back, less what a probe ages by itself meanwhile."""
    mean, variance = np.zeros(len(span.shifts)), np.zeros(len(span.shifts))
    for i, shift in enumerate(span.shifts):
        other = opposite.get(key_of(shift))
        if other is not None:
            aged, spread = ageing.of(other).over(other)
            mean[i], variance[i] = aged - other.change, other.uncertainty**2 + spread
    return Variant(
        chance=_CHANCE * chance, mean=mean, covariance=np.diag(variance), start=when, end=when, source=source
    )
