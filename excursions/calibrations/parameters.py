"""From the standards of one phase to the probe's parameters and their uncertainties.

Two or more standards determine every parameter (least squares beyond the needed number); one standard moves the
zero (or, far from zero on a linear probe, the gain) and keeps the rest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.propagate import propagate
from excursions.calibrations.standards import Resolved
from excursions.physics.nernst import nernst_slope_mv
from excursions.records import FloatArray, Parameter

Solver = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]  # (true, raw, temp) -> parameters


@dataclass(frozen=True, slots=True, kw_only=True)
class Determined:
    """Parameters worked out from one phase.

    parameters : by name; misfit : largest residual over its uncertainty, NaN without a standard to spare
    """

    parameters: dict[str, Parameter]
    misfit: float = math.nan
    remarks: tuple[str, ...] = ()


def determine(seen: Resolved, known: models.State) -> Determined:
    """Work out parameters from resolved standards.

    Parameters
    ----------
    known : mapping
        Parameters from before, kept where the standards do not determine them; nominal where missing too.
    """
    kept = models.filled(seen.form, known)
    names, solve = _solver(seen, kept)
    size = seen.true.size
    with np.errstate(all="ignore"):  # absurd raw values give NaN, which is left out below
        value, covariance = propagate(
            lambda x: solve(x[:size], x[size : 2 * size], x[2 * size :]),
            np.concatenate([seen.true, seen.raw, seen.temp]),
            np.concatenate([seen.u_true, seen.u_raw, seen.u_temp]),
        )
        spread = np.sqrt(np.diag(covariance))
    parameters = {
        name: Parameter(
            value=float(value[i]), uncertainty=float(spread[i]), unit=seen.form.units[name], basis="computed"
        )
        for i, name in enumerate(names)
        if math.isfinite(value[i])
    }
    return Determined(
        parameters=parameters,
        misfit=misfit(seen, kept | dict(zip(names, value.tolist(), strict=True)), len(names)),
        remarks=seen.remarks,
    )


def apart(seen: Resolved) -> bool:
    """Whether the standards lie far enough apart to determine a slope."""
    width = float(np.ptp(seen.true))
    if seen.form.kind == "electrode":
        return width >= (0.5 if seen.form.measurand == "ph" else 0.15)  # (cp); CO2: a factor of 1.4
    return width > 0.05 * float(np.max(np.abs(seen.true)))


def _solver(seen: Resolved, kept: dict[str, float]) -> tuple[tuple[str, ...], Solver]:
    """Names of the parameters these standards determine, and the function that does it."""
    kind, two = seen.form.kind, seen.true.size > 1 and apart(seen)
    if kind == "offset":
        return ("offset",), lambda true, raw, temp: np.array([float(np.mean(raw - true))])
    if kind == "cell":
        return ("cell_constant",), lambda true, raw, temp: np.array(
            [float(np.exp(np.mean(np.log(_positive(true) / _positive(raw)))))]
        )
    if kind == "electrode":
        return (
            (("slope", "zero_point"), _electrode_two)
            if two
            else (("zero_point",), _electrode_one(kept["slope"]))
        )
    if kind == "stern":
        return (("slope", "zero"), _stern_two) if two else (("zero",), _stern_one(kept["slope"]))
    return _linear_solver(seen, kept, two=two)


def _positive(values: FloatArray) -> FloatArray:
    return np.where(values > 0, values, np.nan)


def _electrode_two(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
    """E = -s k pH + s k pH0, linear in s and s pH0."""
    factor = np.asarray(nernst_slope_mv(temp))
    share, product = np.linalg.lstsq(np.column_stack([-factor * true, factor]), raw, rcond=None)[0]
    return np.array([100.0 * share, product / share if share else np.nan])


def _electrode_one(slope: float) -> Solver:
    def solve(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
        return np.array([float(np.mean(true + raw / (slope / 100.0 * np.asarray(nernst_slope_mv(temp)))))])

    return solve


def _stern_two(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
    """1/tan(phi) = (1 + K p) / tan(phi0), linear in 1/tan(phi0) and K/tan(phi0)."""
    ones = np.ones_like(true)
    base, rise = np.linalg.lstsq(np.column_stack([ones, true]), 1.0 / np.tan(np.radians(raw)), rcond=None)[0]
    return np.array([rise / base, math.degrees(math.atan2(1.0, base))])


def _stern_one(slope: float) -> Solver:
    def solve(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
        zero = np.degrees(np.arctan(np.tan(np.radians(raw)) * (1.0 + slope * true)))
        return np.array([float(np.mean(zero))])

    return solve


def _linear_solver(seen: Resolved, kept: dict[str, float], *, two: bool) -> tuple[tuple[str, ...], Solver]:
    gain = seen.form.gain
    scale = 0.01 if seen.form.units.get(gain) == "%" else 1.0

    def line(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
        rise, zero = np.linalg.lstsq(np.column_stack([scale * true, np.ones_like(true)]), raw, rcond=None)[0]
        return np.array([rise, zero])

    def only_zero(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
        return np.array([float(np.mean(raw - scale * kept[gain] * true))])

    def only_gain(true: FloatArray, raw: FloatArray, temp: FloatArray) -> FloatArray:
        return np.array([float(np.sum(true * (raw - kept["zero"])) / np.sum(scale * true**2))])

    if two:
        return (gain, "zero"), line
    # One standard says more about the gain the further it lies from zero against its own uncertainty.
    near_zero = bool(np.all(np.abs(seen.true) <= 3.0 * seen.u_true + 1e-12))
    return (("zero",), only_zero) if near_zero else ((gain,), only_gain)


def misfit(seen: Resolved, state: dict[str, float], determined: int) -> float:
    """Largest residual of the raw signal over its uncertainty; NaN when no more standards than parameters `determined` by them."""
    if seen.true.size <= determined or seen.form.kind == "stern":
        return math.nan
    if seen.form.kind == "electrode":
        factor = state["slope"] / 100.0 * np.asarray(nernst_slope_mv(seen.temp))
        fitted, spread = (
            -factor * (seen.true - state["zero_point"]),
            np.hypot(seen.u_raw, factor * seen.u_true),
        )
    elif seen.form.kind == "cell":
        fitted, spread = (
            seen.true / state["cell_constant"],
            np.hypot(seen.u_raw, seen.u_true / state["cell_constant"]),
        )
    elif seen.form.kind == "offset":
        fitted, spread = seen.true + state["offset"], np.hypot(seen.u_raw, seen.u_true)
    else:
        scale = state[seen.form.gain] * (0.01 if seen.form.units.get(seen.form.gain) == "%" else 1.0)
        fitted, spread = scale * seen.true + state["zero"], np.hypot(seen.u_raw, scale * seen.u_true)
    return float(np.max(np.abs(seen.raw - fitted) / np.maximum(spread, 1e-12)))
