"""Two points of one quantity that step within minutes of one another saw the process, whatever their names.

A neighbour named in the register is weighed by the detectors; points that nobody related are looked at here, once the
events of all of them are known.  How often a step of one point falls beside a move of another by accident is counted
from how much of the record those moves take up; in a plant of hundreds of points that is no longer rare, and then says
nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import name_origin
from excursions.link.outcome import grouped_by_point
from excursions.plant import Plant
from excursions.records import RETURNED, Event

NEAR_NS = 20 * 60 * NS_PER_S  # transport and mixing between two points of one water (cp)
SHARED = 0.3  # how often a change of the process at one point shows at the other as well (cp)
LEAST_CHANCE = 0.01  # no accident is believed to be rarer
UNSURPRISING = 0.05  # a share of the record this large is met by accident


@dataclass(frozen=True, slots=True, kw_only=True)
class _Move:
    """A stretch [start, end) in which a point's reading went up (+1) or down (-1)."""

    point: str
    start: int
    end: int
    way: float


def laid_to_process(
    events: Sequence[Event], plant: Plant, spans: Mapping[str, tuple[int, int]]
) -> tuple[Event, ...]:
    """Steps that another point of the same quantity shared, named the process's; all else as it was.

    Parameters
    ----------
    events : sequence of Event
        Of all points.
    spans : mapping of point to (first, last) instant of its record, ns
    """
    quantity = {point.name: point.measurand for point in plant.points}
    moves: dict[str, list[_Move]] = {}
    for event in events:
        moves.setdefault(quantity.get(event.point, "other"), []).extend(_moves(event))
    own = Counter(move.point for rows in moves.values() for move in rows)
    led = {event.id for _, followers in grouped_by_point(events) for event in followers}
    found = []
    for event in events:
        alike = quantity.get(event.point, "other")
        others = len(moves[alike]) - own[event.point]
        asked = event.kind == "step" and event.may_be_probe and event.id not in led
        may = asked and alike != "other" and _taken(event, others, spans) <= UNSURPRISING
        found.append(_weighed(event, moves[alike], spans) if may and others else event)
    return tuple(found)


def _reach(event: Event) -> int:
    """How far from a move the onset may lie to be beside it [ns]."""
    return NEAR_NS + round(event.onset_uncertainty_s * NS_PER_S)


def _taken(event: Event, moves: int, spans: Mapping[str, tuple[int, int]]) -> float:
    """Share of the record that lies within reach of so many moves, at least."""
    first, last = spans[event.point]
    return 2 * _reach(event) * moves / max(last - first, 1)


def _moves(event: Event) -> Iterable[_Move]:
    """The change of a step and, where it went back, its return."""
    if event.kind != "step":
        return
    way = 1.0 if event.size > 0 else -1.0
    stop = event.start + round(event.details.get("transition_s", 0.0) * NS_PER_S)
    yield _Move(point=event.point, start=event.start, end=stop, way=way)
    if RETURNED in event.details:
        back = event.start + round(event.details[RETURNED] * NS_PER_S)
        yield _Move(point=event.point, start=back, end=max(event.end, back), way=-way)


def _weighed(event: Event, moves: Sequence[_Move], spans: Mapping[str, tuple[int, int]]) -> Event:
    """The event with the odds that its company, moves of other points, is no accident."""
    way, reach = 1.0 if event.size > 0 else -1.0, _reach(event)
    others = [one for one in moves if one.point != event.point]
    beside = [one for one in others if one.way == way and one.start - reach <= event.start <= one.end + reach]
    first, last = spans[event.point]
    taken = sum(one.end - one.start + 2 * reach for one in others) / max(last - first, 1)
    if not beside or taken > UNSURPRISING:
        return event
    nearest = min(beside, key=lambda one: (abs(one.start - event.start), one.point))
    odds = event.confidence / (1 - min(event.confidence, 0.99)) * max(taken, LEAST_CHANCE) / SHARED
    probe = odds / (1 + odds)
    origin = name_origin(probe)
    words = f"{nearest.point} moved the same way {_when(nearest, event)}"
    return replace(
        event,
        origin=origin,
        confidence=1 - probe if origin == "process" else probe,
        severity="note" if origin == "process" else event.severity,
        evidence=(words, *event.evidence),
    )


def _when(move: _Move, event: Event) -> str:
    apart = abs(move.start - event.start) / NS_PER_S
    if apart * NS_PER_S > NEAR_NS:
        return "at that time"
    return f"within {duration_text(max(apart, 60.0))}"
