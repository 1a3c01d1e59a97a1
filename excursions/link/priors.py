"""What to expect before looking: how probes age, how big damage is, how often an event leaves any.

Every figure here is common practice without a source (cp), rounded, and weak on purpose: widths are about as large
as the values, so that a plant's own record outweighs them after a few calibrations.
"""

from __future__ import annotations

from dataclasses import dataclass

from excursions.records import Event

NS_PER_MONTH = 30 * 86_400 * 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What one parameter usually does, in its unit, or as a share of its value where `share` is set.

    ageing, ageing_spread : change a month, and how much that rate differs from probe to probe
    wander : standard deviation of what else moves it in a month (handling, conditioning); grows with sqrt(time)
    kick : standard deviation of a damage
    """

    ageing: float
    ageing_spread: float
    wander: float
    kick: float
    share: bool = False

    def scale(self, value: float) -> float:
        """Factor from the table's figures to the parameter's unit."""
        return abs(value) if self.share else 1.0


_PH_SLOPE = Expected(ageing=-0.3, ageing_spread=0.3, wander=0.4, kick=5.0)
_PH_ZERO = Expected(ageing=0.0, ageing_spread=0.01, wander=0.015, kick=0.3)
_SHARE = Expected(ageing=-0.005, ageing_spread=0.005, wander=0.01, kick=0.12, share=True)

_TABLE: dict[tuple[str, str], Expected] = {
    ("ph", "slope"): _PH_SLOPE,
    ("ph", "zero_point"): _PH_ZERO,
    ("co2", "slope"): _PH_SLOPE,
    ("co2", "zero_point"): Expected(ageing=0.0, ageing_spread=0.01, wander=0.02, kick=0.3),
    ("redox", "offset"): Expected(ageing=0.0, ageing_spread=1.0, wander=2.0, kick=25.0),
    ("temperature", "offset"): Expected(ageing=0.0, ageing_spread=0.02, wander=0.05, kick=1.0),
    ("conductivity", "cell_constant"): Expected(
        ageing=0.0, ageing_spread=0.002, wander=0.004, kick=0.08, share=True
    ),
    ("oxygen", "slope"): Expected(ageing=-0.7, ageing_spread=0.7, wander=1.0, kick=10.0),
    ("oxygen", "zero"): Expected(ageing=0.0, ageing_spread=0.01, wander=0.02, kick=0.3),
    ("oxygen_saturation", "zero"): Expected(ageing=0.0, ageing_spread=0.1, wander=0.2, kick=3.0),
    ("turbidity", "gain"): _SHARE,
    ("turbidity", "zero"): Expected(ageing=0.01, ageing_spread=0.02, wander=0.04, kick=0.6),
}
_OPTICAL_ZERO = Expected(ageing=-0.15, ageing_spread=0.15, wander=0.15, kick=2.5)


def expected(measurand: str, parameter: str, unit: str) -> Expected:
    """What a parameter of this measurand and unit usually does; a general guess when the table has no row."""
    if parameter == "zero" and unit == "deg":
        return _OPTICAL_ZERO
    if parameter == "zero" and unit == "nA":
        return Expected(ageing=0.0, ageing_spread=0.02, wander=0.05, kick=2.0)
    if parameter in ("slope", "gain", "span") and unit != "%":
        return _SHARE
    key = {"co2_pressure": "co2"}.get(measurand, measurand)
    if (key, parameter) in _TABLE:
        return _TABLE[key, parameter]
    if key == "oxygen_saturation":
        return _TABLE["oxygen", "slope"]
    return _SHARE


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
