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
from collections.abc import Collection, Mapping, Sequence

from excursions.calibrations import models
from excursions.calibrations.parameters import Determined, apart
from excursions.calibrations.standards import Resolved, is_signal, understood
from excursions.calibrations.uncertainty import entered_uncertainty
from excursions.digits import written
from excursions.measurands import MEASURANDS
from excursions.measurands.ph import USP_OFFSET_MV, USP_SLOPE_PERCENT
from excursions.physics.buffers import buffer_ph, is_technical
from excursions.physics.nernst import nernst_slope_mv
from excursions.records import CalibrationEntry, Parameter, StandardReading

USGS_SLOPE_PERCENT = (95.0, 102.0)
EPA_BUFFER_PH = 0.05
_SELDOM = 0.001  # chance of a repetition below which nobody measured twice (cp)
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
# Another table of buffers: a hundredth of a pH in each of two, three pH apart (cp).
_LEAST = {"slope": 0.7, "zero_point": 0.01, "offset": 1.0, "gain": 0.01, "zero": 0.02}


def check_units(measurand: str, standards: Sequence[StandardReading], phase: str) -> list[str]:
    """Say which raw values were left out because nobody knows their unit for this measurand."""
    strange = dict.fromkeys(
        s.raw_unit.strip()
        for s in standards
        if math.isfinite(s.raw) and not understood(measurand, s.raw_unit)
    )
    return [
        f'{phase}: raw values in "{unit}" are left out: not a unit in which {MEASURANDS[measurand].label} is calibrated'
        for unit in strange
    ]


def check_left(measurand: str, standards: Sequence[StandardReading]) -> list[str]:
    """Buffers that the transmitter reads wrongly by more than [3]_ allows, after it was adjusted to them."""
    if measurand != "ph":
        return []
    off = [s for s in standards if s.raw_unit.strip().lower() == "ph" and s.label != "sample"]
    technical = is_technical(s.standard for s in off)
    return [
        f"as left: pH {s.raw:g} read in buffer {s.standard:g}, {EPA_BUFFER_PH:g} pH allowed (EPA 9040C)"
        for s in off
        if abs(s.raw - buffer_ph(s.standard, s.temperature_degc, technical=technical).ph)
        > EPA_BUFFER_PH + 0.5 * _ROUNDING["zero"]
    ]


def check_entered(
    computed: Mapping[str, Parameter],
    figures: Mapping[str, float],
    phase: str,
    nominal: Mapping[str, Parameter] | None = None,
) -> list[str]:
    """Compare figures as entered with those computed from the raw values of the same phase.

    nominal : computed with the buffers' values as written on them; who reckons so makes no mistake of entry
    """
    notes = []
    for name, parameter in computed.items():
        entered = figures.get(name)
        if entered is None or not math.isfinite(entered):
            continue
        allowed = _allowed(name, parameter.value)
        plain = (nominal or {}).get(name, parameter)
        if not agrees(name, entered, parameter.value) and not agrees(name, entered, plain.value):
            notes.append(
                f"{phase}: {_words(name)} entered {written(entered, 4)}, raw values give {written(parameter.value, 4)} {parameter.unit}".rstrip()
                + (" (the sign may be turned round)" if _turned(entered, parameter.value, allowed) else "")
            )
    return notes


def agrees(name: str, entered: float, computed: float) -> bool:
    """Whether an entered figure equals a computed one up to rounding and another table of buffers."""
    return abs(entered - computed) <= _allowed(name, computed)


def _allowed(name: str, computed: float) -> float:
    return max(_AGREE * _ROUNDING.get(name, 0.0), _LEAST.get(name, 0.01 * abs(computed)))


def check_band(measurand: str, parameters: Mapping[str, Parameter], phase: str) -> list[str]:
    """Say which parameters lie outside the acceptance bands, and whose bands they are."""
    notes = []
    slope, zero = parameters.get("slope"), parameters.get("zero_point")
    if measurand == "ph" and slope:
        bands = (("USP <791>", USP_SLOPE_PERCENT), ("USGS field manual", USGS_SLOPE_PERCENT))
        told: dict[bool, list[str]] = {True: [], False: []}
        for name, (low, high) in bands:
            told[low <= slope.value <= high].append(f"{low:g} to {high:g} % ({name})")
        if told[False]:
            inside = f", inside {' and '.join(told[True])}" if told[True] else ""
            notes.append(f"{phase}: slope {slope.value:.1f} % outside {' and '.join(told[False])}{inside}")
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
        notes.append(f"{phase}: a standard at {temp:.0f} °C is hard to believe")
    if math.isfinite(found.misfit) and found.misfit > _AGREE:
        notes.append(
            f"{phase}: the standards do not agree with one another (worst one off by {found.misfit:.1f} uncertainties)"
        )
    return notes


def is_copy(measurand: str, rows: Sequence[CalibrationEntry], earlier: Sequence[CalibrationEntry]) -> bool:
    """Whether an occasion repeats one of the rows of the occasion before, to the last digit.

    One standard alone may give the same figure twice by chance, so its temperature must repeat too; readings that
    equal their standards are what an adjustment aims at and prove nothing.  Figures follow from raw signals: where
    they differ though these repeat with their temperatures, both cannot have been measured; nor where readings repeat
    that are written so finely that they never do by themselves.  Figures alone, of a steady probe and written to a
    tenth, do repeat by themselves: all of them together must be as unlikely to.
    """
    here = {_fingerprint(measurand, row) for row in rows}
    if None in here or not here or not here <= {_fingerprint(measurand, row) for row in earlier}:
        return False
    alone = {tuple(sorted(row.figures.items())) for row in rows if not row.standards}
    return len(alone) < len(here) or _figures_by_chance(measurand, alone) < _SELDOM


def _figures_by_chance(measurand: str, rows: Collection[tuple[tuple[str, float], ...]]) -> float:
    """Chance that every figure of some rows repeats to its last digit though all were determined anew."""
    chance = 1.0
    for name, value in (figure for row in rows for figure in row):
        plain, _, unit = name.partition(" [")
        unit = unit.rstrip("]") or models.form(measurand, {}).units.get(plain, "")
        chance *= _repeats(value, entered_uncertainty(measurand, plain, value, unit))
    return chance


def _fingerprint(measurand: str, entry: CalibrationEntry) -> tuple[float, ...] | None:
    """Raw values with temperatures, and the figures; None when they could repeat by chance."""
    # A spreadsheet's own arithmetic leaves its traces in the sixteenth digit, which nobody wrote.
    figures = tuple(float(f"{value:.10g}") for _, value in sorted(entry.figures.items()))
    if not entry.standards:
        return figures if len(figures) >= 2 else None
    temps = [s.temperature_degc for s in entry.standards if math.isfinite(s.temperature_degc)]
    raws = [s.raw for s in entry.standards]
    telling = len(raws) + len(temps) >= 2 and any(s.raw != s.standard for s in entry.standards)
    whole = len(temps) == len(raws) and (
        all(is_signal(measurand, s) for s in entry.standards) or _by_chance(measurand, raws) < _SELDOM
    )
    return (*sorted(raws), *sorted(temps), *(() if whole else figures)) if telling else None


def _by_chance(measurand: str, raws: Sequence[float]) -> float:
    """Chance that readings repeat to the last digit though both were taken: that digit against their scatter."""
    assumed = MEASURANDS[measurand].assumed
    decimals = max(map(_decimals, raws))
    chance = 1.0
    for raw in raws:
        chance *= _repeats(raw, assumed.reading + assumed.reading_relative * abs(raw), decimals)
    return chance


def _repeats(value: float, scatter: float, decimals: int | None = None) -> float:
    """Chance that two draws of one normal law are the same to the last digit: they lie in one cell of this width with width / (2 sqrt(pi) sd)."""
    width = 10.0 ** -(_decimals(value) if decimals is None else decimals)
    return min(width / (2.0 * math.sqrt(math.pi) * max(scatter, 1e-12)), 1.0)


def _decimals(value: float) -> int:
    return len(f"{value:.10g}".partition(".")[2])


def _turned(entered: float, computed: float, allowed: float) -> bool:
    return abs(entered) > allowed and abs(entered + computed) <= allowed


def _words(name: str) -> str:
    return name.replace("_", " ")
