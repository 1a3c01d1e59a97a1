"""What to expect before looking: how probes age, how big damage is, how often an event leaves any.

Every figure here is common practice without a source (cp), rounded, and weak on purpose: widths are about as large
as the values, so that a plant's own record outweighs them after a few calibrations.
"""

from __future__ import annotations

from excursions.kinds import KINDS, having
from excursions.measurands import MEASURANDS
from excursions.measurands.row import A_SHARE, Expected
from excursions.records import Event

NS_PER_MONTH = 30 * 86_400 * 1_000_000_000


_OPTICAL_ZERO = Expected(ageing=-0.15, ageing_spread=0.15, wander=0.15, kick=2.5)


def expected(measurand: str, parameter: str, unit: str) -> Expected:
    """What a parameter of this measurand and unit usually does; a general guess when the table has no row."""
    if parameter == "zero" and unit == "deg":
        return _OPTICAL_ZERO
    if parameter == "zero" and unit == "nA":
        return Expected(ageing=0.0, ageing_spread=0.02, wander=0.05, kick=2.0)
    if parameter in ("slope", "gain", "span") and unit != "%":
        return A_SHARE
    return MEASURANDS[measurand].ageing.get(parameter, A_SHARE)


# Something that left no trace in the record: chance a month that it changes the probe.
UNRECORDED_PER_MONTH = 0.02
# Changes of the reading that begin within this time after heat are taken as its consequence.
CONSEQUENCE_WITHIN_NS = 24 * 3_600 * 1_000_000_000
CONSEQUENCE_KINDS = having("follows heat")


def lasting_chance(event: Event) -> float:
    """Chance, before any calibration, that this event changed the probe's parameters for good."""
    base = KINDS[event.kind].lasting if event.kind in KINDS else 0.0
    confidence = min(max(event.confidence, 0.0), 1.0)
    if event.kind == "sterilisation" or event.origin == "routine":
        return base if event.kind == "sterilisation" else 0.0
    if event.origin == "probe":
        return base * confidence
    if event.origin == "process":
        return 0.5 * base * (1.0 - confidence)
    return base * (0.1 if event.origin == "record" else 0.5)
