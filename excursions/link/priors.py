"""What to expect before looking: how probes age, how big damage is, how often an event leaves any.

Every figure here is common practice without a source (cp), rounded, and weak on purpose: widths are about as large
as the values, so that a plant's own record outweighs them after a few calibrations.
"""

from __future__ import annotations

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


# How often an event of this kind leaves a lasting change, when it is the probe's.
_LASTING: dict[str, float] = {
    "step": 0.85,
    "drift": 0.8,
    "fouling": 0.5,
    "over_temperature": 0.5,
    "thermal_shock": 0.3,
    "sterilisation": 0.003,
    "stuck": 0.2,
    "slow_response": 0.2,
    "noise_growth": 0.15,
    "noise_collapse": 0.15,
    "temperature_fault": 0.05,
    "out_of_range": 0.05,
    "pinned": 0.05,
    "spikes": 0.03,
    "periodic": 0.02,
    "dropout": 0.02,
    "bad_quality": 0.02,
}
# Something that left no trace in the record: chance a month that it changes the probe.
UNRECORDED_PER_MONTH = 0.02
HEAT_KINDS = ("over_temperature", "thermal_shock", "sterilisation")
# Changes of the reading that begin within this time after heat are taken as its consequence.
CONSEQUENCE_WITHIN_NS = 24 * 3_600 * 1_000_000_000
CONSEQUENCE_KINDS = ("step", "drift", "noise_growth", "slow_response", "fouling")


def lasting_chance(event: Event) -> float:
    """Chance, before any calibration, that this event changed the probe's parameters for good."""
    base = _LASTING.get(event.kind, 0.0)
    confidence = min(max(event.confidence, 0.0), 1.0)
    if event.kind == "sterilisation" or event.origin == "routine":
        return base if event.kind == "sterilisation" else 0.0
    if event.origin == "probe":
        return base * confidence
    if event.origin == "process":
        return 0.5 * base * (1.0 - confidence)
    return base * (0.1 if event.origin == "record" else 0.5)
