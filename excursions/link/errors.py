"""Reading errors for many parameter sets at once: the array twin of :func:`excursions.calibrations.models.reading_error`."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from excursions.calibrations import models
from excursions.measurands import MEASURANDS
from excursions.physics.nernst import nernst_slope_mv
from excursions.records import FloatArray


def reading_errors(
    shape: models.Form,
    level: FloatArray,
    *,
    used: models.State,
    real: Mapping[str, FloatArray],
    temp_degc: float = math.nan,
) -> FloatArray:
    """Return reading minus truth where the transmitter shows `level`, for arrays of real parameters.

    Parameters
    ----------
    level : ndarray, any shape that broadcasts with the parameters, canonical unit
    used : mapping of parameter to value
        In the transmitter; what is missing is taken from the first set of real parameters.
    real : mapping of parameter to ndarray, any common shape
    """
    some = {name: float(values.flat[0]) for name, values in real.items()}
    then = models.filled(shape, used, some)
    now = {name: real.get(name, np.asarray(then[name])) for name in shape.units}
    temp = temp_degc if math.isfinite(temp_degc) else models.ROOM_DEGC
    with np.errstate(divide="ignore", invalid="ignore"):
        true = _readings(shape, _raw(shape, np.asarray(level, dtype=np.float64), then, temp), now, temp)
    low, high = MEASURANDS[
        shape.measurand
    ].physical  # nothing truly lies outside, whatever an electrode's exponent says
    return np.asarray(level - np.clip(true, low, high), dtype=np.float64)


def _raw(shape: models.Form, level: FloatArray, state: models.State, temp: float) -> FloatArray:
    """Raw signal behind readings."""
    if shape.kind == "electrode":
        return (
            -state["slope"] / 100.0 * nernst_slope_mv(temp) * (_inner_ph(shape, level) - state["zero_point"])
        )
    if shape.kind == "offset":
        return level + state["offset"]
    if shape.kind == "cell":
        return level / state["cell_constant"]
    scaled = level * models.unit_scale(shape, temp)
    if shape.kind == "stern":
        quenched = 1.0 + state["slope"] * scaled
        return np.asarray(np.degrees(np.arctan2(math.tan(math.radians(state["zero"])), quenched)))
    return np.asarray(state[shape.gain] * scaled + state["zero"])


def _readings(
    shape: models.Form, raw: FloatArray, state: Mapping[str, FloatArray], temp: float
) -> FloatArray:
    """What transmitters with these parameters show for raw signals."""
    if shape.kind == "electrode":
        ph = state["zero_point"] - raw / (state["slope"] / 100.0 * nernst_slope_mv(temp))
        if shape.measurand == "ph":
            return ph
        return np.asarray(models.outer_value(shape.measurand, 0.0) * 10.0 ** -np.clip(ph, -5.0, 30.0))
    if shape.kind == "offset":
        return raw - state["offset"]
    if shape.kind == "cell":
        return raw * state["cell_constant"]
    scale = models.unit_scale(shape, temp)
    if shape.kind == "stern":
        quenched = np.tan(np.radians(state["zero"])) / np.tan(np.radians(raw))
        return np.asarray((quenched - 1.0) / state["slope"] / scale)
    return (raw - state["zero"]) / state[shape.gain] / scale


def _inner_ph(shape: models.Form, level: FloatArray) -> FloatArray:
    """pH that the electrode sees; NaN for CO2 at or below zero."""
    if shape.measurand == "ph":
        return level
    return np.asarray(models.inner_ph(shape.measurand, 1.0) - np.log10(np.where(level > 0, level, np.nan)))
