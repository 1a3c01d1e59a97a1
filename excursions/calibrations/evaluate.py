"""From the rows of calibration logs to one :class:`Calibration` an occasion, parameters before and after.

Parameters describe the probe.  Raw signals give them directly.  Readings in standards are relative to what the
transmitter had in it: they are worked back through the parameters left by the calibration before, or through
nominal ones when there was none; in that case values are good for comparing, not as absolute figures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from excursions.calibrations import checks, models
from excursions.calibrations.entries import Occasion, air_pressure, occasions
from excursions.calibrations.habits import Habits, habits, owner_name
from excursions.calibrations.parameters import determine, misfit
from excursions.calibrations.standards import Repeat, Resolved, resolve
from excursions.calibrations.turned import set_right
from excursions.calibrations.uncertainty import entered_uncertainty
from excursions.digits import number, written
from excursions.measurands import MEASURANDS
from excursions.physics.nernst import nernst_slope_mv
from excursions.plant import Plant, Point
from excursions.read.logs.figures import SECOND_SLOPE
from excursions.records import FIGURE_UNITS, Calibration, CalibrationEntry, Parameter

_NEAR = 2.0  # standard uncertainties
_COPIED = "values are the same as in the entry before, to the last digit"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """What is carried from one occasion of a probe to the next."""

    left: dict[str, Parameter] = field(default_factory=dict)
    absolute: bool = False  # `left` comes from raw signals or entered figures, not from readings
    rows: tuple[CalibrationEntry, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Phase:
    """One phase worked out."""

    parameters: dict[str, Parameter]
    notes: tuple[str, ...] = ()
    from_reading: bool = False
    at_standard: bool = False  # nothing tells a raw signal from a reading that was adjusted to its standard


@dataclass(frozen=True, slots=True, kw_only=True)
class _Log:
    """How one occasion's values are to be taken."""

    air_pressure_kpa: float
    salinity: float
    raw_like: bool
    repeat: Repeat
    zero_share: float = 1.0  # of the assumed uncertainty of an entered zero, where traces are measured


def evaluate(entries: Sequence[CalibrationEntry], plant: Plant) -> tuple[Calibration, ...]:
    """Pair rows as found and as left, compute parameters from raw values, and check each entry.

    Returns
    -------
    tuple of Calibration, in time order
        as_found, as_left : what was determined then; a parameter that a one-point calibration kept stands in
        as_left with basis ``kept``.  Without a row as found, raw signals (which no adjustment changes) stand for both,
        and so do figures of a row that says of no phase whose they are; figures entered as left say nothing of what
        was found.  A verification has no as_left.  Parameters from readings without known
        transmitter settings have basis ``relative``.
    """
    carried: dict[str, _Before] = {}
    made = []
    at_point: dict[
        str, tuple[CalibrationEntry, ...]
    ] = {}  # a form carried on beyond an exchange copies the other probe's
    every = occasions(entries, plant)
    kept = habits(every)
    for occasion in every:
        owner = owner_name(occasion)
        calibration, carried[owner] = _evaluate_one(occasion, carried.get(owner, _Before()), plant, kept)
        if not calibration.copied and checks.is_copy(
            occasion.measurand, occasion.rows, at_point.get(occasion.point, ())
        ):
            calibration = replace(calibration, copied=True, checks=(*calibration.checks, _COPIED))
        if occasion.point:
            at_point[occasion.point] = occasion.rows
        made.append(calibration)
    return tuple(made)


def _evaluate_one(
    occasion: Occasion, before: _Before, plant: Plant, kept: Habits
) -> tuple[Calibration, _Before]:
    log = _Log(
        air_pressure_kpa=air_pressure(occasion.rows, plant),
        salinity=max(row.salinity for row in occasion.rows),
        raw_like=owner_name(occasion) in kept.raw_like,
        repeat=kept.repeat.get(occasion.measurand, Repeat()),
        zero_share=_zero_share(plant.point(occasion.point)),
    )
    frame = _known(before.left) if before.absolute else models.Known()
    found = _phase(occasion, occasion.found, frame, before, log)
    cleaned = _phase(occasion, occasion.cleaned, frame, before, log)
    left = _phase(occasion, occasion.left, _left_frame(occasion), before, log)
    adjusted = occasion.action == "calibration"
    said = occasion.left is not None and occasion.left.phase_said
    as_found, as_left = _settle(found, cleaned, left, before, adjusted=adjusted, said=said and adjusted)
    copied = checks.is_copy(occasion.measurand, occasion.rows, before.rows)
    notes = [
        *found.notes,
        *_cleaning_note(found, cleaned),
        *left.notes,
        *([] if cleaned.parameters else _changed_note(found, left, before)),
        *([_COPIED] if copied else []),
    ]
    calibration = Calibration(
        time=occasion.time,
        point=occasion.point,
        probe=occasion.probe,
        measurand=occasion.measurand,
        action=occasion.action,
        as_found=as_found,
        as_left=as_left if adjusted else {},
        found_clean=cleaned.parameters,
        checks=tuple(dict.fromkeys(notes)),
        comment="; ".join(dict.fromkeys(row.comment for row in occasion.rows if row.comment)),
        copied=copied,
        standards=next((row.standards for row in occasion.rows if row.standards), ()),
    )
    absolute = not (left.from_reading or (not left.parameters and found.from_reading))
    return calibration, _Before(
        left=as_left if adjusted else before.left,
        absolute=absolute if adjusted else before.absolute,
        rows=occasion.rows,
    )


def _left_frame(occasion: Occasion) -> models.Known:
    """Readings as left were shown with the new parameters: those entered, if any; else only comparable ones."""
    row = occasion.left
    entered = _entered(occasion.measurand, row.figures) if row else {}
    return _known(entered) if entered else models.Known()


def _settle(
    found: _Phase, cleaned: _Phase, left: _Phase, before: _Before, *, adjusted: bool, said: bool
) -> tuple[dict[str, Parameter], dict[str, Parameter]]:
    """Parameters as found and as left, each completed from the other where that is sound."""
    as_found = found.parameters
    if not as_found and not left.from_reading and not (said and left.at_standard):
        as_found = {n: p for n, p in left.parameters.items() if not (said and p.basis == "entered")}
    if not adjusted:
        return as_found, {}
    seen = cleaned.parameters or found.parameters
    as_left = left.parameters or seen
    if (
        not left.parameters
        and (cleaned if cleaned.parameters else found).from_reading
        and not before.absolute
    ):
        # Found by readings and adjusted to the standards: left without error, as well as the readings tell.
        as_left = {name: replace(p, value=_nominal(name, p.unit)) for name, p in seen.items()}
    kept = {name: replace(p, basis="kept") for name, p in before.left.items() if name not in as_left}
    return as_found, {**kept, **as_left}


def _nominal(name: str, unit: str) -> float:
    return (
        100.0
        if name == "slope" and unit == "%"
        else {"zero_point": 7.0, "cell_constant": 1.0, "gain": 1.0}.get(name, 0.0)
    )


def _known(parameters: Mapping[str, Parameter]) -> models.Known:
    return models.Known(
        values={name: p.value for name, p in parameters.items()},
        units={name: p.unit for name, p in parameters.items()},
    )


def _phase(
    occasion: Occasion, row: CalibrationEntry | None, frame: models.Known, before: _Before, log: _Log
) -> _Phase:
    """Parameters of one row: computed from its standards, completed by figures entered, checked."""
    if row is None:
        return _Phase(parameters={})
    phase = row.phase.replace("_", " ")
    entered = _entered(occasion.measurand, row.figures, zero_share=log.zero_share)
    seen = resolve(
        occasion.measurand,
        row.standards,
        used=frame,
        air_pressure_kpa=log.air_pressure_kpa,
        salinity=log.salinity,
        raw_like=log.raw_like,
        repeat=log.repeat,
    )
    strange = checks.check_units(occasion.measurand, row.standards, phase)
    if seen is None:
        notes = [*strange, *checks.check_band(occasion.measurand, entered, phase)]
        return _Phase(parameters=entered, notes=tuple(notes))
    kept, figures = _in_units_of(seen, before.left), _in_units_of(seen, entered)
    kept |= figures
    split = seen.from_reading and _accounted_for(seen, figures)
    if seen.from_reading and not split:
        kept = dict(frame.values)
    found, turned = set_right(seen, determine(seen, kept), kept, phase)
    nominal = (
        {}
        if seen.nominal is None or not entered or turned
        else determine(replace(seen, true=seen.nominal), kept).parameters
    )
    extra = {
        name: p for name, p in entered.items() if name not in found.parameters and name in seen.form.units
    }
    relative = seen.from_reading and not frame.values
    computed = {n: replace(p, basis="relative") if relative else p for n, p in found.parameters.items()}
    parameters = {**computed, **(extra if split or not seen.from_reading else {})}
    notes = [
        *strange,
        *turned,
        *checks.check_standards(seen, found, phase),
        *(checks.check_left(occasion.measurand, row.standards) if row.phase == "as_left" else []),
        *([] if seen.from_reading else checks.check_entered(found.parameters, figures, phase, nominal)),
        *([] if relative else checks.check_band(occasion.measurand, parameters, phase)),
    ]
    return _Phase(
        parameters=parameters, notes=tuple(notes), from_reading=relative, at_standard=_at_standard(seen)
    )


def _at_standard(seen: Resolved) -> bool:
    """Whether raw values of an offset, whose signal and reading have one unit, lie at their standards: an adjustment aims there."""
    near = np.abs(seen.raw - seen.true) <= _NEAR * np.hypot(seen.u_raw, seen.u_true)
    return seen.form.kind == "offset" and bool(near.all())


def _in_units_of(seen: Resolved, parameters: Mapping[str, Parameter]) -> dict[str, float]:
    """The values of those parameters that stand in the units of the form."""
    return {name: p.value for name, p in parameters.items() if p.unit == seen.form.units.get(name)}


def _accounted_for(seen: Resolved, figures: dict[str, float]) -> bool:
    """Whether figures entered for every parameter give the readings in the standards: then they say how an error is split.

    One standard leaves open what of it is the zero's and what the gain's.
    """
    return figures.keys() == seen.form.units.keys() and misfit(seen, figures, 0) <= _NEAR


def _zero_share(point: Point | None) -> float:
    """Where traces are measured, a zero is known as much better as the error that matters is smaller there: else it could not be met (cp)."""
    if point is None or point.tolerance is None or not point.tolerance <= point.quantity.trace_tolerance:
        return 1.0
    return point.tolerance / point.quantity.tolerance


def _entered(
    measurand: str, figures: Mapping[str, float], *, zero_share: float = 1.0
) -> dict[str, Parameter]:
    """Figures as entered, in the house's parameters, with the stated larger uncertainty.

    zero_share : of that of a zero in the unit of the reading
    """
    made: dict[str, Parameter] = {}
    for name, value in figures.items():
        if not math.isfinite(value) or name == SECOND_SLOPE:
            continue  # one slope describes the probe here; the other stays in the entry
        plain, _, given = name.partition(" [")
        unit = given.rstrip("]").replace("na", "nA") if given else _unit_of(measurand, plain)
        share = zero_share if plain == "zero" and unit == MEASURANDS[measurand].unit else 1.0
        made[plain] = Parameter(
            value=value,
            uncertainty=share * entered_uncertainty(measurand, plain, value, unit),
            unit=unit,
            basis="entered",
        )
    return _electrode_offset(made) if models.form(measurand, {}).kind == "electrode" else made


def _unit_of(measurand: str, name: str) -> str:
    units = models.form(measurand, {}).units
    if name in units:
        return units[name]
    reading = models.form(measurand, {}).unit
    return FIGURE_UNITS.get(name, "mV" if name == "offset" and measurand != "temperature" else reading)


def _electrode_offset(made: dict[str, Parameter]) -> dict[str, Parameter]:
    """Take an offset in mV at pH 7 to a zero point: pH0 = 7 + offset / (s k(25 degC))."""
    offset = made.pop("offset", None)
    if offset is None or "zero_point" in made:
        return made
    slope = made["slope"].value / 100.0 if "slope" in made else 1.0
    step = nernst_slope_mv(25.0) * slope
    if not step:
        return made
    return made | {
        "zero_point": Parameter(
            value=7.0 + offset.value / step, uncertainty=abs(2.0 / step), unit="pH", basis="entered"
        )
    }


_OWN = ("slope", "zero_point")  # figures that are the probe's, however the transmitter is set
_OTHER_PROBE = 4.0  # uncertainties between what was found and what was left (cp)


def _changed_note(found: _Phase, left: _Phase, before: _Before) -> list[str]:
    """That the probe itself was changed at the work: an adjustment tells the transmitter what the probe is, and leaves the probe.

    Figures found that are those left the last time are what the transmitter was set to, and no finding.
    """
    if found.from_reading or left.from_reading or not before.left:
        return []
    pairs = {n: (found.parameters[n], p) for n, p in left.parameters.items() if n in found.parameters}
    pairs = {n: (a, b) for n, (a, b) in pairs.items() if n in _OWN and a.unit == b.unit and a.basis != "kept"}
    if all(n in before.left and a.value == before.left[n].value for n, (a, _) in pairs.items()):
        return []
    apart = {n: (a, b, math.hypot(a.uncertainty, b.uncertainty)) for n, (a, b) in pairs.items()}
    moved = [
        f"{n.replace('_', ' ')} {number(b.value - a.value, u, signed=True)} {b.unit}".rstrip()
        for n, (a, b, u) in apart.items()
        if abs(b.value - a.value) > _OTHER_PROBE * u
    ]
    if not moved:
        return []
    return [
        f"as left differs from as found by {', '.join(moved)}: an adjustment does not change a probe, so it was cleaned, renewed or "
        "exchanged at this work"
    ]


def _cleaning_note(found: _Phase, cleaned: _Phase) -> list[str]:
    """What cleaning gave back, when the log has rows found dirty and found clean."""
    return [
        f"cleaning moved {name.replace('_', ' ')} from {written(found.parameters[name].value, 4)} to {written(p.value, 4)} {p.unit}".rstrip()
        for name, p in cleaned.parameters.items()
        if name in found.parameters
    ]
