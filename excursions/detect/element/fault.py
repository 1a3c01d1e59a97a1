"""What all faults of a temperature element share: their settings and the event that tells one."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.records import Event, Record
from excursions.states.element import WILD_K
from excursions.states.trace import Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureFaultSettings:
    """When a temperature is called wrong."""

    wild_k: float = WILD_K  # away from the usual band by this much, without heat that explains it (cp)
    bout_s: float = 86_400.0  # wild stretches within a day are one bout
    chronic: int = 20  # more bouts than this are one event for the record
    frozen_s: float = 7_200.0  # a process may well stand still for less (cp)
    frozen_samples: int = 30  # and fewer equal samples prove nothing
    frozen_chance: float = 0.01  # expected number of such stretches by chance
    moves: int = 10  # changes of the reading meanwhile that show that the rest is alive
    jump_k: float = 5.0  # (cp) in one step, where samples are at most ten seconds apart
    jump_slow_k: float = (
        6.0  # and at most a minute apart; further apart a medium may have moved as far meanwhile
    )
    jump_outruns: float = 3.0  # then a jump must be so many times the largest other change of the record (cp)
    jump_spreads: float = 12.0  # a jump is so many times the usual change from sample to sample
    jump_window: int = 10  # samples before and after that must stand still enough to see it
    most_jumps: int = 3  # more are the process
    fewest_flickers: int = 6  # jumps there and back: three times
    lasting_s: float = 600.0  # a bout this long is one to act on (cp)


def element_event(
    record: Record,
    trace: Trace,
    span: tuple[int, int],
    *,
    size: float,
    confidence: float,
    severity: str,
    evidence: tuple[str, ...],
    details: dict[str, float],
    ends: tuple[bool, bool],
    origin: str = "probe",
) -> Event:
    """An event of a temperature element over `span` [ns]; `size` in K, `ends`: whether it is open at the start and at the end."""
    return Event(
        point=record.point.name,
        kind="temperature_fault",
        start=span[0],
        end=max(span[1], span[0] + 1),
        size=size,
        size_unit="K",
        confidence=confidence,
        origin=origin,
        severity=severity,
        probe=record.probe_at(span[0]),
        onset_uncertainty_s=trace.interval_s,
        open_start=ends[0],
        open_end=ends[1],
        evidence=evidence,
        details=details,
    )
