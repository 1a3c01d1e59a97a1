"""Raw signals of probes in the units people write, as the unit that each form reckons in."""

from __future__ import annotations

import math
from collections.abc import Callable

from excursions.physics.platinum import element_ohm, temperature_degc

# An optical probe's phase follows from the lifetime of its light and the modulation: tan(phi) = 2 pi f tau.  The slope does
# not depend on f, so that any will do where a log gives lifetimes (cp).
MODULATION_HZ = 5000.0


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: factor * value


def _siemens(ohm_in_one: float) -> Callable[[float], float]:
    """Conductance [uS] of a resistance."""
    return lambda value: 1e6 / (value * ohm_in_one) if value > 0 else math.nan


def _phase(seconds_in_one: float) -> Callable[[float], float]:
    """Phase [deg] of a lifetime."""
    return lambda value: math.degrees(math.atan(2.0 * math.pi * MODULATION_HZ * seconds_in_one * value))


def _platinum(ohm_in_one: float) -> Callable[[float], float]:
    """Temperature [degC] of a platinum element of a kind that its resistance tells."""
    return lambda value: temperature_degc(value * ohm_in_one, at_zero_ohm=element_ohm(value * ohm_in_one))


# Kind of signal -> unit, lower case -> what it is in the unit of the form: mV, nA, degrees of phase, uS, degC.
RAW: dict[str, dict[str, Callable[[float], float]]] = {
    "electrode": {"mv": _times(1.0), "v": _times(1000.0), "uv": _times(0.001), "µv": _times(0.001)},
    "current": {"na": _times(1.0), "ua": _times(1000.0), "µa": _times(1000.0), "pa": _times(0.001)},
    "stern": {
        "deg": _times(1.0),
        "°": _times(1.0),
        "degree": _times(1.0),
        "degrees": _times(1.0),
        "rad": _times(180.0 / math.pi),
        "us": _phase(1e-6),
        "µs": _phase(1e-6),
        "ns": _phase(1e-9),
    },
    "cell": {
        "us": _times(1.0),
        "µs": _times(1.0),
        "ms": _times(1000.0),
        "s": _times(1e6),
        "ohm": _siemens(1.0),
        "kohm": _siemens(1e3),
        "mohm": _siemens(1e6),
        "ω": _siemens(1.0),
        "kω": _siemens(1e3),
        "mω": _siemens(1e6),
    },
    "platinum": {"ohm": _platinum(1.0), "ω": _platinum(1.0), "kohm": _platinum(1e3)},
}
