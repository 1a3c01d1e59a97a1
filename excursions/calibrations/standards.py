"""What the standards of a calibration really were, and which raw signal the probe gave in them.

A log may give the probe's raw signal (mV, nA, uS, degrees of phase) or the transmitter's reading.  A reading
already carries the transmitter's parameters: it is turned back into a raw signal with them, so that one
arithmetic serves both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.raw_signals import RAW
from excursions.calibrations.uncertainty import (
    OPTICAL_RAW_DEG,
    TEMPERATURE_DEGC,
    TEMPERATURE_UNKNOWN_DEGC,
)
from excursions.measurands import MEASURANDS, converted, to_canonical
from excursions.physics.buffers import buffer_ph, is_technical
from excursions.physics.conductivity import standard_conductivity
from excursions.physics.oxygen import (
    HPA_PER_KPA,
    OXYGEN_IN_DRY_AIR,
    air_oxygen_hpa,
    saturation_mg_l,
    water_vapour_kpa,
)
from excursions.physics.redox import LIGHT_VS_AGCL_MV, zobell_vs_agcl_mv
from excursions.read.logs.entries import OWN_UNIT_WITHIN
from excursions.records import BoolArray, FloatArray, StandardReading

_HPA = {"hpa": 1.0, "mbar": 1.0, "kpa": 10.0, "bar": 1000.0, "mmhg": 1.33322387415}
_OXYGEN = ("oxygen", "oxygen_saturation")
# Of CO2 in a gas saturated with water (cp).
_SHARES_OF_GAS = ("%", "% co2", "%co2", "vol%", "vol-%", "vol.-%")
_SAMPLE_WORDS = ("sample", "process", "grab", "product", "lab")
_SAMPLE_UNCERTAINTY_PH = 0.05  # a grab sample is neither the same water nor the same minute (cp)
_CONDUCTIVITY_PER_K = 0.02  # of the standard, for the uncertainty of its temperature beside a conductance
# Beside a reading, which is compensated to the same 25 degC, by a factor a tenth off at most (cp).
_COMPENSATED_PER_K = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """Standards of one phase, ready for arithmetic: arrays of shape (n,).

    form : how raw and true value relate, see :mod:`excursions.calibrations.models`.
    true : in the form's own variable (pH, hPa of oxygen, uS/cm at 25 degC, else the canonical unit)
    raw : in the form's raw unit; temp in degC; u_* are standard uncertainties.
    from_reading : the raw signal was worked back from a reading.
    nominal : the buffers' values as written, whatever their temperature; None where nobody reckons with such
    """

    form: models.Form
    true: FloatArray
    raw: FloatArray
    temp: FloatArray
    u_true: FloatArray
    u_raw: FloatArray
    u_temp: FloatArray
    from_reading: bool
    remarks: tuple[str, ...] = ()
    nominal: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The air and the salt that decide how much oxygen a water holds."""

    air_pressure_kpa: float
    salinity: float = 0.0

    def saturation_mg_l(self, temp_degc: float) -> float:
        """Oxygen in it in equilibrium with air."""
        return saturation_mg_l(temp_degc, salinity=self.salinity, pressure_kpa=self.air_pressure_kpa)

    def as_fresh(self, temp_degc: float) -> float:
        """Oxygen in fresh water over that in this one, at the same partial pressure."""
        temp = temp_degc if math.isfinite(temp_degc) else models.ROOM_DEGC
        return saturation_mg_l(temp) / saturation_mg_l(temp, salinity=self.salinity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """Factors on the assumed repeatability, away from zero and at zero: the two scatter for different reasons."""

    span: float = 1.0
    zero: float = 1.0


def at_zero(form: models.Form, true: FloatArray) -> BoolArray:
    """Which standards are zero ones; an electrode or an offset has none."""
    if form.kind not in ("linear", "stern"):
        return np.zeros(true.shape, dtype=np.bool_)
    return np.abs(true) <= 0.01 * max(float(np.max(np.abs(true))), 1e-12)


def resolve(
    measurand: str,
    standards: Sequence[StandardReading],
    *,
    used: models.Known,
    air_pressure_kpa: float,
    salinity: float = 0.0,
    raw_like: bool = False,
    repeat: Repeat | None = None,
) -> Resolved | None:
    """Return the standards with their true values and raw signals, or None when none is usable.

    Parameters
    ----------
    used : Known
        Parameters the transmitter used when it showed a reading; empty takes nominal ones.
    air_pressure_kpa : float
        Absolute air pressure during the calibration.
    salinity : float
        Practical salinity of the water, where an oxygen probe shows mg/L.
    raw_like : bool
        Values in the reading's unit are raw signals, not what the transmitter showed; beside a sample it is always that.
    repeat : Repeat
        Factors on the assumed repeatability; none takes it as assumed.
    """
    water = Water(air_pressure_kpa=air_pressure_kpa, salinity=salinity)
    filled = [_with_known_value(measurand, s, water) for s in standards]
    usable = [
        s
        for s in filled
        if math.isfinite(s.standard) and math.isfinite(s.raw) and understood(measurand, s.raw_unit)
    ]
    if not usable:
        return None
    raw_like = raw_like and not of_samples(usable)
    form, from_reading = form_of(measurand, usable, models.Known() if raw_like else used)
    technical = form.measurand == "ph" and is_technical(s.standard for s in usable if not _is_sample(s))
    true = [_true_value(form, s, water, technical=technical, read=from_reading) for s in usable]
    raw = [
        _raw_value(form, s, (models.Known() if raw_like else used) if from_reading else None, water)
        for s in usable
    ]
    values = np.array([row[0] for row in true])
    scatter = repeat or Repeat()
    factor = np.where(at_zero(form, values), scatter.zero, scatter.span)
    temp = np.array([s.temperature_degc for s in usable])
    known = np.isfinite(temp)
    return Resolved(
        form=form,
        true=values,
        raw=np.array([row[0] for row in raw]),
        temp=np.where(known, temp, models.ROOM_DEGC),
        u_true=np.array([row[1] for row in true]),
        u_raw=factor * np.array([row[1] for row in raw]),
        u_temp=np.where(known, TEMPERATURE_DEGC, TEMPERATURE_UNKNOWN_DEGC),
        from_reading=from_reading and not raw_like,
        remarks=tuple(dict.fromkeys(row[2] for row in true if row[2])),
        nominal=np.array([s.standard for s in usable]) if form.measurand == "ph" else None,
    )


def form_of(
    measurand: str, standards: Sequence[StandardReading], used: models.Known
) -> tuple[models.Form, bool]:
    """Return the form of the arithmetic and whether raw values are the transmitter's readings."""
    given = {s.raw_unit.strip().lower() for s in standards}
    if measurand in _OXYGEN and given & set(RAW["stern"]):
        return models.form(measurand, {"zero": "deg"}), False
    if measurand in _OXYGEN and given & set(RAW["current"]):
        return models.form(measurand, {"slope": "nA/hPa", "zero": "nA"}), False
    plain = models.form(measurand, {})
    if plain.kind in ("electrode", "cell") and given & set(RAW[plain.kind]):
        return plain, False
    if plain.kind == "electrode" and given == {""} and _looks_like_millivolts(measurand, standards):
        return plain, False
    if plain.kind == "linear" and any(_of_a_signal(measurand, s) for s in standards):
        unit = sorted(s.raw_unit.strip() for s in standards)[-1]
        own = measurand if measurand not in _OXYGEN else "other"
        return replace(
            models.form(own, {}), measurand=measurand, units={"gain": f"{unit}/{plain.unit}", "zero": unit}
        ), False
    return models.form(measurand, used.units), plain.kind != "offset"


def _of_a_signal(measurand: str, standard: StandardReading) -> bool:
    """Whether a raw value's unit is neither the measurand's nor that of its standard: what has the standard's unit was read off."""
    unit = standard.raw_unit.strip()
    return bool(unit) and to_canonical(measurand, unit) is None and unit != standard.standard_unit.strip()


def is_signal(measurand: str, standard: StandardReading) -> bool:
    """Whether a raw value by its unit is what the probe gave, not what the transmitter made of it."""
    return bool(standard.raw_unit.strip()) and not form_of(measurand, [standard], models.Known())[1]


def _looks_like_millivolts(measurand: str, standards: Sequence[StandardReading]) -> bool:
    """Raw values without a unit are readings in pH only when each lies near its buffer."""
    if measurand != "ph" and any(s.standard_unit.strip().lower() != "ph" for s in standards):
        return any(s.raw < 0 for s in standards)
    return any(abs(s.raw - s.standard) > OWN_UNIT_WITHIN for s in standards)


def _with_known_value(measurand: str, s: StandardReading, water: Water) -> StandardReading:
    """Fill in the value of a standard that a log names only by word: air, Zobell's and Light's solution."""
    if math.isfinite(s.standard):
        return s
    temp = s.temperature_degc if math.isfinite(s.temperature_degc) else models.ROOM_DEGC
    label = s.label.lower()
    if label == "zero":
        return replace(s, standard=0.0)
    if measurand == "redox" and label in ("zobell", "light"):
        return replace(
            s, standard=zobell_vs_agcl_mv(temp) if label == "zobell" else LIGHT_VS_AGCL_MV, standard_unit="mV"
        )
    if measurand in _OXYGEN and label == "air":
        if measurand == "oxygen_saturation":
            return replace(s, standard=100.0, standard_unit="%sat")
        return replace(s, standard=water.saturation_mg_l(temp), standard_unit="mg/L")
    return s


def _is_sample(s: StandardReading) -> bool:
    return any(word in s.label.lower() for word in _SAMPLE_WORDS)


def of_samples(standards: Sequence[StandardReading]) -> bool:
    """Whether all standards are samples: the probe stays in the process, and beside each is written what the transmitter shows."""
    return all(_is_sample(s) for s in standards)


def _true_value(
    form: models.Form, s: StandardReading, water: Water, *, technical: bool, read: bool
) -> tuple[float, float, str]:
    """True value in the form's variable, its standard uncertainty, and a remark; `read` where it stands beside a reading."""
    assumed = MEASURANDS[form.measurand].assumed
    unit = s.standard_unit.strip().lower()
    if form.kind == "electrode":
        return _electrode_true(form.measurand, s, unit, water.air_pressure_kpa, technical=technical)
    if form.partial_pressure:
        value = _oxygen_hpa(form.measurand, s, unit, water)
        return value, math.hypot(0.1, assumed.standard_relative * value), ""
    factor, offset = to_canonical(form.measurand, unit) or (1.0, 0.0)
    value = factor * s.standard + offset
    spread = math.hypot(assumed.standard, assumed.standard_relative * value)
    if form.kind == "cell":
        known = math.isfinite(s.temperature_degc)
        kelvin = TEMPERATURE_DEGC if known else TEMPERATURE_UNKNOWN_DEGC
        per_kelvin = _COMPENSATED_PER_K if read else _CONDUCTIVITY_PER_K
        spread = math.hypot(spread, per_kelvin * value * kelvin)
    return value, spread, ""


def _electrode_true(
    measurand: str, s: StandardReading, unit: str, air_pressure_kpa: float, *, technical: bool
) -> tuple[float, float, str]:
    assumed = MEASURANDS[measurand].assumed
    if measurand == "ph" and _is_sample(s):
        return s.standard, _SAMPLE_UNCERTAINTY_PH, "calibrated against a sample, not against a buffer"
    if measurand == "ph" or unit in ("ph", "su"):
        buffer = buffer_ph(s.standard, s.temperature_degc, technical=technical)
        per_kelvin = abs(buffer_ph(s.standard, 30.0).ph - buffer_ph(s.standard, 20.0).ph) / 10.0
        known = math.isfinite(s.temperature_degc)
        spread = per_kelvin * (TEMPERATURE_DEGC if known else TEMPERATURE_UNKNOWN_DEGC)
        remark = buffer.remark if "no published" in buffer.remark or not known else ""
        return buffer.ph, math.hypot(assumed.standard, spread), remark
    if unit in _SHARES_OF_GAS:
        temp = s.temperature_degc if math.isfinite(s.temperature_degc) else models.ROOM_DEGC
        moist = HPA_PER_KPA * (air_pressure_kpa - water_vapour_kpa(temp))
        spread = assumed.standard_relative / math.log(10.0)
        return models.inner_ph("co2_pressure", s.standard / 100.0 * moist), spread, ""
    pressure = to_canonical("co2_pressure", unit) if unit else None
    as_key = "co2_pressure" if pressure else measurand
    factor, _ = pressure or to_canonical(measurand, unit) or (1.0, 0.0)
    return models.inner_ph(as_key, factor * s.standard), assumed.standard_relative / math.log(10.0), ""


def _oxygen_hpa(measurand: str, s: StandardReading, unit: str, water: Water) -> float:
    """Partial pressure of oxygen in a standard [hPa]; air is taken as saturated with water (cp)."""
    temp = s.temperature_degc if math.isfinite(s.temperature_degc) else models.ROOM_DEGC
    in_air = air_oxygen_hpa(temp, pressure_kpa=water.air_pressure_kpa)
    if s.label.lower() == "air":
        return in_air
    if unit in _HPA:
        return s.standard * _HPA[unit]
    if unit in ("% o2", "%o2", "vol%", "vol-%"):
        return s.standard / 100.0 / OXYGEN_IN_DRY_AIR * in_air
    if "sat" in unit or unit.startswith("%") or (not unit and measurand == "oxygen_saturation"):
        return s.standard / 100.0 * in_air
    return s.standard / water.saturation_mg_l(temp) * in_air


def understood(measurand: str, unit: str) -> bool:
    """Whether a raw value's unit is one of this measurand: of its raw signals or of its reading; none given is."""
    family = MEASURANDS[measurand].family
    if family == "linear" or not unit.strip() or to_canonical(measurand, unit) is not None:
        return True
    kinds = {"offset": "platinum" if measurand == "temperature" else ""}
    return unit.strip().lower() in RAW.get(kinds.get(family, family), {})


def _as_written(form: models.Form, kind: str, unit: str, value: float) -> float:
    """A raw signal in the unit of its form."""
    if kind == "offset":
        return (
            RAW["platinum"][unit](value)
            if form.measurand == "temperature" and unit in RAW["platinum"]
            else _scaled(form.measurand, unit, value)
        )
    convert = RAW.get(kind, {}).get(unit)
    return convert(value) if convert else value


def _scaled(measurand: str, unit: str, value: float) -> float:
    return converted(value, to_canonical(measurand, unit) or (1.0, 0.0))


def _raw_value(
    form: models.Form, s: StandardReading, used: models.Known | None, water: Water
) -> tuple[float, float]:
    """Raw signal and its repeatability; `used` when the value is a reading."""
    assumed = MEASURANDS[form.measurand].assumed
    unit = s.raw_unit.strip().lower()
    if used is None:
        kind = "current" if form.units.get("zero") == "nA" else form.kind
        raw = _as_written(form, kind, unit, s.raw)
        if form.kind == "stern":
            return raw, OPTICAL_RAW_DEG
        if form.kind == "cell":
            raw *= s.standard / standard_conductivity(s.standard, s.temperature_degc)
        return raw, math.hypot(assumed.raw, assumed.raw_relative * raw)
    reading = _scaled(form.measurand, unit, s.raw)
    if form.measurand == "oxygen" and water.salinity:
        reading *= water.as_fresh(s.temperature_degc)
    spread = math.hypot(assumed.reading, assumed.reading_relative * reading)
    state = models.filled(form, used.values)
    at_hand = models.current_factor(form, s.temperature_degc)  # currents of a log are stated for 25 degC
    raw, more = (
        models.raw_of_reading(form, r, state, s.temperature_degc) / at_hand
        for r in (reading, reading + spread)
    )
    return raw, abs(more - raw)
