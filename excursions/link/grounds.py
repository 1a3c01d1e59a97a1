"""What every window of doubt rests on: what the record taught, where a probe stood, what its transmitter used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from excursions.conclusions import Levels
from excursions.link.ageing import Ageing
from excursions.link.beliefs import Beliefs
from excursions.link.in_use import InUse, owner_name
from excursions.link.pins import Samples
from excursions.link.shape import Span, is_off_at_first
from excursions.plant import Plant, Point
from excursions.records import (
    KEPT_BEFORE,
    LEFT_OFF,
    PRORATION,
    SHOWED_IT,
    UNVERIFIED,
    Calibration,
    Doubt,
    Event,
)

_KEPT_WORDS = (
    "the reading does not show the adjustment this begins with: reckoned with the parameters used before it"
)
_GUESSED_WORDS = "no adjustment before it is in the log: what the transmitter used is taken as what was found first, and an error from before that is not in it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What every window rests on: what the record taught of ageing and damage, the laboratory samples, where the process sat,
    and what each probe's transmitter used from each calibration on, by owner."""

    ageing: Ageing
    beliefs: Beliefs
    samples: Samples
    levels: Mapping[str, Levels]
    plant: Plant
    transmitters: Mapping[str, Sequence[InUse]]

    def set_by(self, calibration: Calibration) -> InUse:
        """What is in the transmitter from a calibration on."""
        return self.set_at(owner_name(calibration, self.plant), calibration.time)

    def set_at(self, owner: str, when: int) -> InUse:
        """The same by owner, from the calibration at an instant on."""
        rows = [row for row in self.transmitters.get(owner, ()) if row.time <= when]
        return rows[-1] if rows else InUse(time=when, used={})


def with_setting(made: Doubt, span: Span, setting: InUse) -> Doubt:
    """A window that begins with an error that went on says so, and rests on it where that alone matters."""
    if setting.guessed:
        made = replace(made, reasons=(*made.reasons, _GUESSED_WORDS))
    if not setting.stays_off:
        return made
    rests = made.basis in (PRORATION, UNVERIFIED) and is_off_at_first(span)
    if not setting.kept:
        return replace(made, basis=LEFT_OFF) if rests else made
    return replace(
        made,
        basis=KEPT_BEFORE if rests else made.basis,
        reasons=(made.reasons[0], _KEPT_WORDS, *made.reasons[1:]),
    )


def sampled_events(events: Sequence[Event], point: Point) -> tuple[str, ...]:
    """Events (ids) that laboratory samples saw move the reading of a point, whatever a calibration found afterwards."""
    return tuple(
        event.id
        for event in events
        if event.point == point.name and event.may_be_probe
        if any(witness.said == SHOWED_IT for witness in event.witnesses)
    )


def stays_of(
    probe: str, point: str, span: tuple[int, int], plant: Plant
) -> list[tuple[Point, tuple[int, int]]]:
    """Where a probe stood between two calibrations; all the time at `point` when nobody said."""
    rows = [(row.point, (row.start or 0, row.end or 0)) for row in plant.stays_of(probe, *span)]
    known = [(plant.point(name), stay) for name, stay in rows or [(point, span)]]
    return [(place, stay) for place, stay in known if place is not None]
