"""What a probe reads when its parameters are not the ones its transmitter uses.

Every measurand has a form.  In each, the raw signal is a function h of the true value and the probe's real
parameters, and the transmitter turns the raw signal back with the parameters it was given:

    reading = h^-1(used, h(real, true))

so the truth behind a reading is the same function with `used` and `real` exchanged.

    electrode  E = -s k(T) (pH - pH0)          reading = pH0_used + (s_real/s_used) (pH - pH0_real)
    linear     raw = S x + Z                   reading = (S_real x + Z_real - Z_used) / S_used
    stern      tan(phi0)/tan(phi) = 1 + K p    optical oxygen
    cell       kappa = K G                     reading = (K_used / K_real) kappa
    offset     raw = x + offset                reading = x + offset_real - offset_used

Signs follow: a zero point found d higher than set makes a pH reading d too low; an offset found d higher makes a
redox reading d too high; a cell constant found 5 % higher makes a conductivity reading about 5 % too low.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from excursions.measurands import MEASURANDS
from excursions.physics.nernst import nernst_slope_mv
from excursions.physics.oxygen import air_oxygen_hpa, hpa_per_mg_l, saturation_mg_l

State = Mapping[str, float]
ROOM_DEGC = 25.0

# A CO2 probe is a pH electrode behind a membrane.  Its inner solution, 0.02 mol/L bicarbonate, has pH
# 6.35 + log10(0.02) - log10(0.034 p/bar) at 25 degC, about 9.1 at 1 mbar (cp, rounded).  Only slope errors
# depend on it; zero moves do not.
INNER_PH_AT_1_MBAR = 9.1
CO2_MG_L_PER_MBAR_25 = 1.48  # Henry's law at 25 degC: 0.0336 mol/(L bar) times 44.01 g/mol (from memory)
MEMBRANE_PER_K = 0.03  # a membrane lets some 3 % more oxygen through for each kelvin (cp)

_DEFAULT_UNITS: dict[str, dict[str, str]] = {
    "electrode": {"slope": "%", "zero_point": "pH"},
    "cell": {"cell_constant": "1/cm"},
    "stern": {"slope": "1/hPa", "zero": "deg"},
}
_NOMINAL = {"zero_point": 7.0, "zero": 0.0, "offset": 0.0, "cell_constant": 1.0, "gain": 1.0, "span": 1.0}
GAIN_NAMES = ("slope", "gain", "span")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Parameters known of a probe or a transmitter, with the unit of each."""

    values: dict[str, float] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """How raw signal and true value of a measurand relate: kind (see the module), parameters and their units."""

    measurand: str
    kind: str
    units: dict[str, str]

    @property
    def unit(self) -> str:
        """Canonical unit of the reading."""
        return MEASURANDS[self.measurand].unit

    @property
    def gain(self) -> str:
        """Name of the gain parameter of a linear probe."""
        return next((name for name in GAIN_NAMES if name in self.units), "gain")

    @property
    def partial_pressure(self) -> bool:
        """Whether the true value in this form is a partial pressure of oxygen [hPa]."""
        return "hPa" in self.units.get("slope", "")


def form(measurand: str, units: Mapping[str, str]) -> Form:
    """Return the form of a measurand whose parameters have these units (missing ones take the usual unit)."""
    kind = "stern" if units.get("zero") == "deg" else MEASURANDS[measurand].family
    if kind == "offset":
        usual = {"offset": MEASURANDS[measurand].unit}
    elif kind == "linear":
        usual = _linear_units(measurand, units)
    else:
        usual = _DEFAULT_UNITS[kind]
    return Form(
        measurand=measurand, kind=kind, units={name: units.get(name, unit) for name, unit in usual.items()}
    )


def _linear_units(measurand: str, units: Mapping[str, str]) -> dict[str, str]:
    usual = next((name for name in MEASURANDS[measurand].parameters if name in GAIN_NAMES), "gain")
    name = next((n for n in GAIN_NAMES if n in units), usual)
    zero = MEASURANDS[measurand].unit
    return {name: "%" if name == "slope" else "", "zero": "nA" if "nA" in units.get(name, "") else zero}


def nominal(shape: Form, name: str) -> float:
    """Value of a parameter that nobody has determined."""
    if name == "slope":
        return 100.0 if shape.units.get("slope") == "%" else 1.0
    return _NOMINAL[name]


def filled(shape: Form, *states: State) -> dict[str, float]:
    """Parameters of a form: from the first state that knows each, nominal where none does."""
    return {
        name: next((state[name] for state in states if name in state), nominal(shape, name))
        for name in shape.units
    }


def indicated(shape: Form, true: float, *, used: State, real: State, temp_degc: float = math.nan) -> float:
    """Return what the transmitter shows, canonical unit.

    Parameters
    ----------
    true : float
        True value, canonical unit.
    used, real : mapping of parameter name to value
        Parameters in the transmitter, and those the probe really has, in the form's units; what one lacks is
        taken from the other, and nominal when both lack it.
    temp_degc : float
        Needed where a slope relates to a partial pressure; NaN is taken as 25 degC.
    """
    now, then = filled(shape, real, used), filled(shape, used, real)
    return reading_of_raw(shape, raw_of_reading(shape, true, now, temp_degc), then, temp_degc)


def truth(shape: Form, reading: float, *, used: State, real: State, temp_degc: float = math.nan) -> float:
    """Return the true value behind a reading: `indicated` with the two sets of parameters exchanged."""
    return indicated(shape, reading, used=real, real=used, temp_degc=temp_degc)


def reading_error(
    shape: Form, reading: float, *, used: State, real: State, temp_degc: float = math.nan
) -> float:
    """Return reading minus truth where the transmitter shows `reading`, canonical unit."""
    return reading - truth(shape, reading, used=used, real=real, temp_degc=temp_degc)


def raw_of_reading(shape: Form, value: float, state: State, temp_degc: float) -> float:
    """Raw signal of a probe with these parameters at a value (mV, nA, degrees of phase, uS, or as the gain says)."""
    temp = temp_degc if math.isfinite(temp_degc) else ROOM_DEGC
    if shape.kind == "electrode":
        return (
            -state["slope"]
            / 100.0
            * nernst_slope_mv(temp)
            * (inner_ph(shape.measurand, value) - state["zero_point"])
        )
    if shape.kind == "offset":
        return value + state["offset"]
    if shape.kind == "cell":
        return _ratio(value, state["cell_constant"])
    scaled = value * unit_scale(shape, temp)
    if shape.kind == "stern":
        return math.degrees(math.atan2(math.tan(math.radians(state["zero"])), 1.0 + state["slope"] * scaled))
    return state[shape.gain] * scaled + state["zero"]


def reading_of_raw(shape: Form, raw: float, state: State, temp_degc: float) -> float:
    """Value that a transmitter with these parameters shows for a raw signal; NaN when it cannot."""
    temp = temp_degc if math.isfinite(temp_degc) else ROOM_DEGC
    if shape.kind == "electrode":
        steps = _ratio(raw, -state["slope"] / 100.0 * nernst_slope_mv(temp))
        return outer_value(shape.measurand, state["zero_point"] + steps)
    if shape.kind == "offset":
        return raw - state["offset"]
    if shape.kind == "cell":
        return raw * state["cell_constant"]
    if shape.kind == "stern":
        quenched = _ratio(math.tan(math.radians(state["zero"])), math.tan(math.radians(raw)))
        return _ratio(quenched - 1.0, state["slope"]) / unit_scale(shape, temp)
    return _ratio(raw - state["zero"], state[shape.gain]) / unit_scale(shape, temp)


def unit_scale(shape: Form, temp_degc: float) -> float:
    """What one canonical unit is in the variable the gain relates to."""
    unit = shape.units.get("slope", "")
    if unit == "nA/hPa":
        return _membrane_factor(temp_degc) * _hpa_per_unit(shape, temp_degc)
    if "hPa" in unit:
        return _hpa_per_unit(shape, temp_degc)
    if unit == "nA":  # entered as the current in air
        return 1.0 / saturation_mg_l(ROOM_DEGC) if shape.measurand == "oxygen" else 0.01
    return 0.01 if unit == "%" else 1.0


def _membrane_factor(temp_degc: float) -> float:
    """Current of a membrane probe at a temperature over that at 25 degC; calibration currents are stated for 25 degC."""
    return math.exp(MEMBRANE_PER_K * (temp_degc - ROOM_DEGC))


def current_factor(shape: Form, temp_degc: float) -> float:
    """Raw signal at a temperature over the same stated for 25 degC: of a membrane probe's current, else 1."""
    current = shape.units.get("slope") == "nA/hPa"
    return _membrane_factor(temp_degc if math.isfinite(temp_degc) else ROOM_DEGC) if current else 1.0


def _hpa_per_unit(shape: Form, temp_degc: float) -> float:
    """Partial pressure of oxygen [hPa] of one unit of the reading."""
    return hpa_per_mg_l(temp_degc) if shape.measurand == "oxygen" else air_oxygen_hpa(temp_degc) / 100.0


def inner_ph(measurand: str, value: float) -> float:
    """pH that the electrode sees: the value itself, or for CO2 the pH of the inner solution (NaN at or below 0)."""
    if measurand == "ph":
        return value
    mbar = value / CO2_MG_L_PER_MBAR_25 if measurand == "co2" else value
    return INNER_PH_AT_1_MBAR - math.log10(mbar) if mbar > 0 else math.nan


def outer_value(measurand: str, ph: float) -> float:
    """Inverse of `inner_ph`."""
    if measurand == "ph":
        return ph
    mbar = math.pow(10.0, min(INNER_PH_AT_1_MBAR - ph, 12.0))
    return mbar * CO2_MG_L_PER_MBAR_25 if measurand == "co2" else mbar


def _ratio(above: float, below: float) -> float:
    return above / below if below else math.nan
