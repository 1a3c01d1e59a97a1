"""Reading errors for many parameter sets at once: the array twin of :func:`excursions.calibrations.models.reading_error`."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from excursions.calibrations import models
from excursions.records import FloatArray


def reading_errors(
    shape: models.Form,
    level: float,
    *,
    used: models.State,
    real: Mapping[str, FloatArray],
    temp_degc: float = math.nan,
) -> FloatArray:
    """Return reading minus truth where the transmitter shows `level`, for arrays of real parameters.

    Parameters
    ----------
    used : mapping of parameter to value
        In the transmitter; what is missing is taken from the first set of real parameters.
    real : mapping of parameter to ndarray, any common shape
    """
    some = {name: float(values.flat[0]) for name, values in real.items()}
    then = models.filled(shape, used, some)
    size = next(iter(real.values())).shape
    now = {name: real.get(name, np.full(size, then[name])) for name in shape.units}
    raw = models.raw_of_reading(shape, level, then, temp_degc)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(level - _readings(shape, raw, now, temp_degc), dtype=np.float64)


def _readings(
    shape: models.Form, raw: float, state: Mapping[str, FloatArray], temp_degc: float
) -> FloatArray:
    """What transmitters with these parameters show for one raw signal."""
    temp = temp_degc if math.isfinite(temp_degc) else models.ROOM_DEGC
    if shape.kind == "electrode":
        per_ph = models.reading_of_raw(replace_ph(shape), 1.0, {"slope": 100.0, "zero_point": 0.0}, temp)
        ph = state["zero_point"] + raw * per_ph / (state["slope"] / 100.0)
        return (
            ph
            if shape.measurand == "ph"
            else models.outer_value(shape.measurand, 0.0) * 10.0 ** -np.clip(ph, -5.0, 30.0)
        )
    if shape.kind == "offset":
        return raw - state["offset"]
    if shape.kind == "cell":
        return raw * state["cell_constant"]
    scale = models.unit_scale(shape, temp)
    if shape.kind == "stern":
        quenched = np.tan(np.radians(state["zero"])) / math.tan(math.radians(raw))
        return (quenched - 1.0) / state["slope"] / scale
    return (raw - state["zero"]) / state[shape.gain] / scale


def replace_ph(shape: models.Form) -> models.Form:
    """The same electrode, read as pH."""
    return models.Form(measurand="ph", kind=shape.kind, units=dict(shape.units))
