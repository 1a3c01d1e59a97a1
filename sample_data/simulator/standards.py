"""What a calibration uses and what it makes of it: standards at their temperature, parameters from raw values."""

from __future__ import annotations

import numpy as np

from sample_data.simulator.physics import (
    FloatArray,
    ProbeModel,
    buffer_ph,
    carbon_dioxide_solubility,
    nernst,
    oxygen_solubility,
)


def standard_value(measurand: str, nominal: float, temperature: FloatArray) -> FloatArray:
    """Value a perfect probe of this measurand shows in the standard: buffers in pH, air in %, gas in hPa, else as named."""
    if measurand == "ph":
        return buffer_ph(nominal, temperature)
    if measurand == "oxygen":
        return oxygen_solubility(temperature) * nominal / 100.0
    if measurand == "co2":
        return nominal * carbon_dioxide_solubility(temperature)
    return np.full(np.shape(temperature), nominal)


def in_air(measurand: str, last: FloatArray, temperature: FloatArray) -> FloatArray:
    """What a probe out of the medium sees: air for oxygen and CO2, nothing to conduct, else about what it saw last."""
    if measurand in ("oxygen", "oxygen_saturation"):
        return standard_value(measurand, 100.0, temperature)
    if measurand == "co2":
        return standard_value(measurand, 0.42, temperature)
    if measurand in ("conductivity", "turbidity"):
        return np.zeros(last.shape)
    return last[:1].repeat(last.size)


def solve(
    measurand: str, model: ProbeModel, x: FloatArray, t: FloatArray, raw: FloatArray, old: tuple[float, float]
) -> tuple[float, float]:
    """Parameters (a, b) from raw values `raw` in standards `x` (the reading's unit) at `t`; `old` where one is not found."""
    a, _b = old
    if measurand == "ph":
        k = nernst(t)
        if x.size > 1:
            a = float((raw[0] / k[0] - raw[1] / k[1]) / (x[1] - x[0]))
        return a, float(np.mean(x + raw / (a * k)))
    if measurand == "co2":
        decades, k = np.log10(x / carbon_dioxide_solubility(t)), nernst(t)
        if x.size > 1:
            a = float((raw[0] / k[0] - raw[1] / k[1]) / (decades[0] - decades[1]))
        return a, float(np.mean(decades - raw / (a * k)))
    if measurand == "redox":
        return a, float(np.mean(raw - x))
    if measurand == "turbidity":
        if x.size > 1:
            a = float((raw[1] - raw[0]) / (x[1] - x[0]))
        return a, float(raw[0] - a * x[0])
    return _solve_air(model, x, t, raw, old)


def _solve_air(
    model: ProbeModel, x: FloatArray, t: FloatArray, raw: FloatArray, old: tuple[float, float]
) -> tuple[float, float]:
    """Oxygen and conductivity: the zero standard (if any) gives b, the other one a."""
    a, b = old
    zero = np.flatnonzero(x == 0)
    if zero.size:
        b = float(raw[zero[0]])
    full = int(np.flatnonzero(x != 0)[0])
    shown = float(model.inverse(raw[full : full + 1], t[full : full + 1], np.array([a]), np.array([b]))[0])
    target = float(x[full])
    # The reading goes with 1/a for oxygen and with a for conductivity.
    return (a * target / shown, b) if model.raw_unit == "uS" else (a * shown / target, b)


def figures(measurand: str, a: float, b: float) -> dict[str, float]:
    """Parameters as a calibration log names them."""
    if measurand == "ph":
        return {"slope": 100 * a, "zero_point": b}
    if measurand == "co2":
        return {"slope": 100 * a, "zero_point": b}
    if measurand == "redox":
        return {"offset": b}
    if measurand == "conductivity":
        return {"cell_constant": a}
    if measurand == "turbidity":
        return {"gain": a, "zero": b}
    return {"slope": 100 * a, "zero": b}
