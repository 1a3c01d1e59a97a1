"""What the reading did after heat: the change that stands beyond it, with its size, told beside the heat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.digits import of_a_move
from excursions.kinds import KINDS, MOVES, having
from excursions.records import Event
from excursions.report.wording import HEAT, day, difference

FOLLOWS = 12 * clock.NS_PER_HOUR  # what begins so soon after heat is held against it (cp)
LEAD = 30 * clock.NS_PER_MINUTE  # a reading can move while it is still getting hot
CHANGES = having("held against heat")
IF_THE_PROBE = "if the probe did it"


def follows(change: Event, heat: Event) -> bool:
    """Whether an event is a change of the reading that may be what this heat did."""
    return (
        heat.kind in HEAT
        and change.kind in CHANGES
        and change.may_be_probe
        and change.asks_a_look
        and heat.start - LEAD <= change.start <= heat.end + FOLLOWS
    )


def moved_after(heat: Event, events: Sequence[Event]) -> Event | None:
    """The largest change of the reading that followed heat and still stands; None without one, and of what is no heat."""
    standing = [
        e for e in events
        if e.kind in MOVES and follows(e, heat) and not e.went_back and math.isfinite(e.size) and e.size
    ]  # fmt: skip
    return max(standing, key=lambda e: (abs(e.size), e.start), default=None)


def heat_before(change: Event, events: Sequence[Event]) -> Event | None:
    """The hottest heat that a change of the reading may be the harm of; None without one, and of heat itself."""
    if change.kind in HEAT:
        return None
    return max((e for e in events if follows(change, e)), key=lambda e: (e.size, e.start), default=None)


def half_band(event: Event) -> float:
    """Half width of the interval of an event's size, no finer than its second digit; so every page and answer tells it."""
    return of_a_move(event.size, (event.size_high - event.size_low) / 2)


def moved_sentence(change: Event, unit: str, tz: ZoneInfo) -> str:
    """``A step of −0.4 pH followed on 8 Feb 12:39; the reading is off by it since, if the probe did it.``"""
    label = KINDS[change.kind].label
    size = difference(change.size, unit, half_band(change), signed=True)
    return f"{'An' if label[0] in 'aeiou' else 'A'} {label} of {size} followed on {day(change.start, tz)}; the reading is off by it since, {IF_THE_PROBE}."
