"""Does an entry agree with itself, and do its parameters lie where a working probe's lie?

Checks are sentences for people; nothing is dropped because of them.

References
----------
.. [1] USP <791> (from USP 39, first supplement): slope 90.0 to 105.0 % of theory, offset at pH 7 within 30 mV.
.. [2] USGS National Field Manual, chapter A6.4: slope 95 to 102 % (from memory).
.. [3] EPA SW-846 method 9040C: readings within 0.05 pH of the buffers (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from excursions.calibrations.parameters import Determined, apart
from excursions.calibrations.standards import Resolved
from excursions.physics.nernst import nernst_slope_mv
from excursions.records import CalibrationEntry, Parameter

USP_SLOPE_PERCENT = (90.0, 105.0)
USP_OFFSET_MV = 30.0
USGS_SLOPE_PERCENT = (95.0, 102.0)
_TEMPERATURE_DEGC = (0.0, 60.0)  # (cp) a standard outside was hardly measured by hand
_GAIN_RATIO = (0.7, 1.3)  # (cp)
_AGREE = 3.0  # standard uncertainties between an entered and a computed figure
# Rounding of an entered figure: half a unit of the last place people usually write (cp).
_ROUNDING = {
    "slope": 0.05,
    "zero_point": 0.005,
    "offset": 0.5,
    "cell_constant": 0.0005,
    "gain": 0.005,
    "zero": 0.005,
}
_LEAST = {"slope": 0.3, "zero_point": 0.01, "offset": 1.0, "gain": 0.01, "zero": 0.02}


def check_entered(computed: Mapping[str, Parameter], figures: Mapping[str, float], phase: str) -> list[str]:
    """Compare figures as entered with those computed from the raw values of the same phase."""
    notes = []
    for name, parameter in computed.items():
        entered = figures.get(name)
        if entered is None or not math.isfinite(entered):
            continue
        allowed = max(_AGREE * _ROUNDING.get(name, 0.0), _LEAST.get(name, 0.01 * abs(parameter.value)))
        if abs(entered - parameter.value) > allowed:
            notes.append(
                f"{phase}: {_words(name)} entered {entered:g}, raw values give {parameter.value:.4g} {parameter.unit}".rstrip()
                + (" (the sign may be turned round)" if _turned(entered, parameter.value, allowed) else "")
            )
    return notes


def check_band(measurand: str, parameters: Mapping[str, Parameter], phase: str) -> list[str]:
    """Say which parameters lie outside the acceptance bands, and whose bands they are."""
    notes = []
    slope, zero = parameters.get("slope"), parameters.get("zero_point")
    if measurand == "ph" and slope:
        for name, (low, high) in (
            ("USP <791>", USP_SLOPE_PERCENT),
            ("USGS field manual", USGS_SLOPE_PERCENT),
        ):
            if not low <= slope.value <= high:
                notes.append(f"{phase}: slope {slope.value:.1f} % outside {low:g} to {high:g} % ({name})")
    if measurand == "ph" and zero:
        offset = nernst_slope_mv(25.0) * (slope.value if slope else 100.0) / 100.0 * (zero.value - 7.0)
        if abs(offset) > USP_OFFSET_MV:
            notes.append(f"{phase}: {offset:+.0f} mV at pH 7, beyond {USP_OFFSET_MV:g} mV (USP <791>)")
    gain = parameters.get("gain") or (slope if slope and slope.unit == "%" and measurand != "ph" else None)
    if gain is not None:
        ratio = gain.value / (100.0 if gain.unit == "%" else 1.0)
        if gain.unit in ("%", "") and not _GAIN_RATIO[0] <= ratio <= _GAIN_RATIO[1]:
            notes.append(
                f"{phase}: gain {ratio:.2f} far from 1 (common practice: {_GAIN_RATIO[0]:g} to {_GAIN_RATIO[1]:g})"
            )
    return notes


def check_standards(seen: Resolved, found: Determined, phase: str) -> list[str]:
    """Standards far enough apart, sane temperatures, raw values in order, and agreeing with one another."""
    notes = [f"{phase}: {remark}" for remark in found.remarks]
    if seen.true.size > 1 and not apart(seen) and seen.form.kind in ("electrode", "stern", "linear"):
        notes.append(f"{phase}: standards too close together to give a slope; taken as one point")
    for temp in seen.temp[(seen.temp < _TEMPERATURE_DEGC[0]) | (seen.temp > _TEMPERATURE_DEGC[1])]:
        notes.append(f"{phase}: a standard at {temp:.0f} degC is hard to believe")
    slope = found.parameters.get("slope")
    if seen.form.kind == "electrode" and slope and slope.value < 0:
        notes.append(f"{phase}: raw values run the wrong way, two standards may be exchanged")
    if math.isfinite(found.misfit) and found.misfit > _AGREE:
        notes.append(
            f"{phase}: the standards do not agree with one another (worst one off by {found.misfit:.1f} uncertainties)"
        )
    return notes


def check_copied(entry: CalibrationEntry, earlier: CalibrationEntry | None) -> list[str]:
    """Say so when an entry repeats the raw values or figures of the one before it."""
    if earlier is None:
        return []
    raws, before = _raws(entry), _raws(earlier)
    if raws and raws == before and len(set(raws)) == len(raws) and any(abs(r) > 0 for r in raws):
        return ["raw values are the same as in the entry before, to the last digit"]
    shared = set(entry.figures) & set(earlier.figures)
    if not raws and len(shared) >= 2 and all(entry.figures[name] == earlier.figures[name] for name in shared):
        return ["figures are the same as in the entry before, to the last digit"]
    return []


def _raws(entry: CalibrationEntry) -> Sequence[float]:
    return tuple(sorted(s.raw for s in entry.standards))


def _turned(entered: float, computed: float, allowed: float) -> bool:
    return abs(entered) > allowed and abs(entered + computed) <= allowed


def _words(name: str) -> str:
    return name.replace("_", " ")
