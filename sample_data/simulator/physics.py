"""What each probe gives for what it sees: raw = forward(x, T, a, b), and the transmitter's inverse.

Written on its own, without the tool's physics, so that the two can disagree.  `a` is the gain-like
parameter (1 = nominal), `b` the zero-like one in the unit the class names.  Temperatures are in degC,
gas pressures in hPa.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# ln(10) R / F from the exact SI constants (CODATA 2018) [mV/K].
NERNST_MV_PER_K = np.log(10.0) * 8.31446261815324 / 96485.33212331 * 1e3
AIR_HPA = 1013.25
OXYGEN_SHARE = 0.2095


def nernst(temperature: FloatArray) -> FloatArray:
    """Nernst factor k(T) [mV per decade]."""
    return np.asarray(NERNST_MV_PER_K * (temperature + 273.15))


def water_vapour(temperature: FloatArray) -> FloatArray:
    """Saturation vapour pressure of water [hPa]: Benson and Krause 1984, ln u[atm] = 11.8571 - 3840.70/T - 216961/T^2."""
    kelvin = np.clip(temperature, 0.0, 150.0) + 273.15
    return AIR_HPA * np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)


def air_oxygen(temperature: FloatArray) -> FloatArray:
    """Partial pressure of oxygen over water saturated with air [hPa], never below 5 hPa (boiling)."""
    return OXYGEN_SHARE * np.maximum(AIR_HPA - water_vapour(temperature), 25.0)


def oxygen_solubility(temperature: FloatArray) -> FloatArray:
    """Oxygen in fresh water saturated with air at 1013.25 hPa [mg/L]: Benson and Krause 1984, volumetric form."""
    kelvin = np.clip(temperature, 0.0, 60.0) + 273.15
    return np.exp(
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.2438e10 / kelvin**3
        - 8.621949e11 / kelvin**4
    )


def carbon_dioxide_solubility(temperature: FloatArray) -> FloatArray:
    """CO2 dissolved per partial pressure [mg/L per hPa]: 0.034 mol/(L atm) at 25 degC, -dH/R = 2400 K (from memory)."""
    kelvin = np.clip(temperature, 0.0, 100.0) + 273.15
    return 0.034 * np.exp(2400.0 * (1 / kelvin - 1 / 298.15)) * 44009.5 / AIR_HPA


# Standard buffers over temperature [degC, pH]: IUPAC 1985/2002 phosphate, phthalate and borax values (also DIN 19266).
_BUFFER_T = np.array([0.0, 5, 10, 15, 20, 25, 30, 35, 40, 50])
_BUFFERS = {
    6.86: np.array([6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.833]),
    4.01: np.array([4.000, 3.998, 3.997, 3.998, 4.001, 4.005, 4.011, 4.018, 4.027, 4.050]),
    9.18: np.array([9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.011]),
}


def buffer_ph(nominal: float, temperature: FloatArray) -> FloatArray:
    """The pH of a buffer at its temperature; others than the standard ones follow the nearest one, shifted."""
    nearest = min(_BUFFERS, key=lambda key: abs(key - nominal))
    table = _BUFFERS[nearest]
    shift = 0.0 if abs(nearest - nominal) < 0.005 else nominal - float(table[5])
    return np.asarray(np.interp(temperature, _BUFFER_T, table) + shift)


class ProbeModel(Protocol):
    """Forward and inverse of one measuring principle; `offset_move` is the parameter move that shifts a reading by d."""

    @property
    def raw_unit(self) -> str: ...

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray: ...
    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray: ...
    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]: ...


@dataclass(frozen=True)
class Ph:
    """E = -a k(T) (pH - b); a slope over theory, b zero point [pH]."""

    raw_unit: str = "mV"

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return -a * nernst(t) * (x - b)

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return b - raw / (a * nernst(t))

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        return 0.0, -d


@dataclass(frozen=True)
class Redox:
    """E = x + b; b offset [mV]; a is not used."""

    raw_unit: str = "mV"

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return x + b

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return raw - b

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        return 0.0, d


@dataclass(frozen=True)
class Conductivity:
    """G = kappa25 (1 + alpha (T - 25)) / (a K); a cell constant over nominal K [1/cm]; b zero conductance [uS]."""

    cell_constant: float = 1.0
    alpha: float = 0.020
    raw_unit: str = "uS"

    def _factor(self, t: FloatArray) -> FloatArray:
        return np.maximum(1.0 + self.alpha * (t - 25.0), 0.2)

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return x * self._factor(t) / (a * self.cell_constant) + b

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return (raw - b) * a * self.cell_constant / self._factor(t)

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        return a * (x / max(x + d, 0.05 * x) - 1.0), 0.0


@dataclass(frozen=True)
class MembraneOxygen:
    """I = a S p(O2) exp(beta (T - 25)) + b; reading in mg/L; b zero current [nA]."""

    sensitivity: float = 0.30  # nA per hPa: 60 nA in air
    beta: float = 0.03
    raw_unit: str = "nA"

    def _current_per_unit(self, t: FloatArray) -> FloatArray:
        pressure = air_oxygen(t) / oxygen_solubility(t)
        return self.sensitivity * pressure * np.exp(self.beta * (np.clip(t, 0.0, 60.0) - 25.0))

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return a * self._current_per_unit(t) * x + b

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return (raw - b) / (a * self._current_per_unit(t))

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        # A puncture lets extra current through; whatever reads low loses sensitivity.
        if d > 0:
            return 0.0, float(a * self._current_per_unit(np.asarray(t)) * d)
        return a * max(d / x, -0.9), 0.0


@dataclass(frozen=True)
class OpticalOxygen:
    """tan(phi0)/tan(phi) = 1 + a K p(O2); reading in % saturation; b = phi0 [deg]."""

    quench: float = 0.0075  # per hPa at 25 degC
    raw_unit: str = "deg"

    def _quench(self, t: FloatArray, a: FloatArray) -> FloatArray:
        return a * self.quench * (1.0 + 0.008 * (np.clip(t, 0.0, 100.0) - 25.0))

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        pressure = np.maximum(x, 0.0) / 100.0 * air_oxygen(t)
        return np.degrees(np.arctan(np.tan(np.radians(b)) / (1.0 + self._quench(t, a) * pressure)))

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        ratio = np.tan(np.radians(b)) / np.tan(np.radians(np.clip(raw, 2.0, 85.0)))
        return 100.0 * (ratio - 1.0) / (self._quench(t, a) * air_oxygen(t))

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        air = float(air_oxygen(np.asarray(t))) / 100.0
        quench = float(self._quench(np.asarray(t), np.asarray(a))) * air
        tangent = np.tan(np.radians(b)) * (1 + quench * x) / max(1 + quench * (x + d), 0.05)
        return 0.0, float(np.degrees(np.arctan(tangent))) - b


@dataclass(frozen=True)
class CarbonDioxide:
    """E = a k(T) (log10 p(CO2) - b); reading in mg/L; b zero point [log10 hPa]."""

    raw_unit: str = "mV"

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        pressure = np.maximum(x, 0.5) / carbon_dioxide_solubility(t)
        return a * nernst(t) * (np.log10(pressure) - b)

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        decades = np.clip(raw / (a * nernst(t)) + b, -3.0, 6.0)
        return 10.0**decades * carbon_dioxide_solubility(t)

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        return 0.0, -float(np.log10(max(x + d, 0.05 * x) / x))


@dataclass(frozen=True)
class Turbidity:
    """raw = a x + b; a gain, b zero [NTU]."""

    raw_unit: str = "NTU"

    def forward(self, x: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return a * x + b

    def inverse(self, raw: FloatArray, t: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
        return (raw - b) / a

    def offset_move(self, d: float, x: float, t: float, a: float, b: float) -> tuple[float, float]:
        return 0.0, a * d


MODELS: dict[str, ProbeModel] = {
    "ph": Ph(),
    "redox": Redox(),
    "conductivity": Conductivity(),
    "oxygen": MembraneOxygen(),
    "oxygen_saturation": OpticalOxygen(),
    "co2": CarbonDioxide(),
    "turbidity": Turbidity(),
}

# Transmitters show the current of a membrane probe as it would be at 25 degC; so do calibration logs.
LOGGED: dict[str, ProbeModel] = MODELS | {"oxygen": MembraneOxygen(beta=0.0)}
