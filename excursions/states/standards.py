"""Where a reading sits while its probe is calibrated: buffers, standards, air, zero.

The windows are wide enough for a worn probe.  A window in which the process itself spends time says
nothing and is left out for that record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.records import BoolArray, FloatArray
from excursions.states.trace import Trace, quantiles

VISITED = 0.04  # share of the time in a window from which on it belongs to the process


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A window [low, high] of readings (canonical unit) in which a standard would be read."""

    label: str
    low: float
    high: float

    def holds(self, value: FloatArray) -> BoolArray:
        """Whether each reading lies in the window."""
        return np.asarray((value >= self.low) & (value <= self.high))


def _around(label: str, at: float, away: float) -> Standard:
    return Standard(label=label, low=at - away, high=at + away)


# pH: primary and technical buffers, 25 degC (IUPAC 2002, Table 2; DIN 19267 nominal values from memory).
# Redox: solutions in common use, against Ag/AgCl.  Conductivity: KCl 0.0005 to 1 mol/L, 25 degC, rounded.
# Oxygen: water-saturated air at 5 to 35 degC near sea level (Benson and Krause 1984), 8 % for worn probes.
# Turbidity: formazin dilutions in common use.  Widths are common practice, no source.
STANDARDS: dict[str, tuple[Standard, ...]] = {
    "ph": (
        _around("pH 1.68", 1.68, 0.2),
        _around("pH 4", 4.01, 0.3),
        Standard(label="pH 7", low=6.6, high=7.3),
        _around("pH 9.2", 9.2, 0.25),
        _around("pH 10", 10.0, 0.3),
    ),
    "redox": (
        _around("220 mV", 222.0, 20.0),
        _around("470 mV", 470.0, 25.0),
        _around("650 mV", 650.0, 30.0),
    ),
    "conductivity": tuple(
        _around(f"{at:g} uS/cm", at, 0.06 * at) for at in (84.0, 147.0, 1413.0, 12_880.0, 111_800.0)
    ),
    "oxygen": (Standard(label="air", low=6.4, high=13.8), _around("zero", 0.0, 0.15)),
    "oxygen_saturation": (_around("air", 100.0, 8.0), _around("zero", 0.0, 2.0)),
    "turbidity": (
        _around("zero", 0.0, 0.15),
        *(_around(f"{at:g} NTU", at, 0.06 * at) for at in (20.0, 100.0, 200.0, 400.0, 800.0, 1000.0, 4000.0)),
    ),
}


def label_of(measurand: str, value: float, label: str = "") -> str:
    """Label of the window in which a standard of this value (canonical unit) would be read; empty when none is known."""
    windows = STANDARDS.get(measurand, ())
    named = next((w.label for w in windows if label and w.label == label), "")
    return named or next((w.label for w in windows if w.low <= value <= w.high), "")


def telling_standards(measurand: str, trace: Trace) -> tuple[Standard, ...]:
    """Standards of this quantity that the process of this record does not visit by itself."""
    known = STANDARDS.get(measurand, ())
    if not known:
        return ()
    at = quantiles(
        trace, tuple(np.linspace(0.0025, 0.9975, 200))
    )  # tells shares of the time to half a percent
    return tuple(standard for standard in known if np.mean(standard.holds(at)) <= VISITED)
