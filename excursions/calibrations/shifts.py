"""What changed between two calibrations of the same probe, and whether that is more than their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.conclusions import Levels
from excursions.plant import Plant
from excursions.records import SHOWN, Calibration, Decision, Parameter, Shift

# Each parameter of each pair is tested by itself, two-sided.  One in a hundred of unchanged parameters is then
# called changed by chance; `chance_remark` says how many that is in the record at hand.
SIGNIFICANCE = 0.01
_AS_ASSUMED = 15.0  # the assumed uncertainty counts as this many shifts (cp)
_LEAST_FACTOR = 0.5  # of the assumed uncertainty (cp)
_MEDIAN_CHI2 = 0.4549  # median of a squared normal number
# Relative standard error of a variance taken from the median of n such squares, times the root of n: 0.5 / (median x density there).
_MEDIAN_ERROR = 2.33


@dataclass(frozen=True, slots=True)
class _State:
    """A parameter as last determined: when, its value, and the occasion's measurand."""

    time: int
    parameter: Parameter


def shifts(
    calibrations: Sequence[Calibration], plant: Plant, levels: Mapping[str, Levels]
) -> tuple[Shift, ...]:
    """Compare as found now with as left before, parameter by parameter, for each probe (or nameless point).

    A verification changes nothing, so what it found is what the next calibration is compared with.  A parameter
    that a one-point calibration kept is compared with the last time it was determined.  An entry that repeats the
    one before it to the last digit measured nothing and is passed over.

    Returns
    -------
    tuple of Shift, in the order of the later calibration
        p_value is two-sided under "nothing changed"; significant at `SIGNIFICANCE`.  reading_error is what the
        shift alone does to the reading at the level the process sat at before the later calibration.
    """
    made: list[Shift] = []
    for history in histories(calibrations, plant):
        known: dict[str, _State] = {}
        for calibration in (c for c in history if not c.copied):
            probe = plant.probe_of(calibration)
            made += _shifts_at(replace(calibration, probe=probe), known, levels, plant)
            left = calibration.as_left or calibration.as_found
            known |= {n: _State(calibration.time, p) for n, p in left.items() if p.basis != "kept"}
    return tuple(sorted(_as_repeated(made), key=lambda s: (s.end, s.point, s.probe, s.parameter)))


def _as_repeated(found: Sequence[Shift]) -> list[Shift]:
    """Shifts with uncertainties no larger than their own scatter allows.

    What was assumed of standards and hands may be too much for this plant.  Shifts scatter by their uncertainty and by all
    that truly happened besides; where they scatter by less than the uncertainty alone, it was less.  Taken from the median of
    the squared shifts of a kind, which damage hardly moves, at the upper end of what that median says (it only ever makes an
    uncertainty smaller, so that its own error would call too many shifts changed), and drawn to what was assumed while shifts
    are few.  Never more than assumed: then something happened.
    """
    kinds: dict[tuple[str, str, str], list[float]] = {}
    for s in found:
        if s.uncertainty > 0 and s.change != 0 and not s.chosen:  # written down twice is no repetition
            kinds.setdefault((s.measurand, s.parameter, s.unit), []).append((s.change / s.uncertainty) ** 2)
    factors = {key: _factor(squared) for key, squared in kinds.items()}
    return [_scaled(s, factors.get((s.measurand, s.parameter, s.unit), 1.0)) for s in found]


def _factor(squared: Sequence[float]) -> float:
    """Scatter of shifts over their assumed uncertainty, from their squares over its square."""
    count = len(squared)
    found = median(squared) / _MEDIAN_CHI2 * (1.0 + _MEDIAN_ERROR / math.sqrt(count))
    return math.sqrt((_AS_ASSUMED + count * found) / (_AS_ASSUMED + count))


def _scaled(s: Shift, factor: float) -> Shift:
    if factor >= 1.0 or s.uncertainty <= 0:
        return s
    spread = max(factor, _LEAST_FACTOR) * s.uncertainty
    p_value = math.erfc(abs(s.change) / spread / math.sqrt(2.0))
    return replace(
        s,
        uncertainty=spread,
        p_value=p_value,
        significant=p_value < SIGNIFICANCE,
        reading_error_uncertainty=s.reading_error_uncertainty * spread / s.uncertainty,
    )


def histories(calibrations: Iterable[Calibration], plant: Plant | None = None) -> list[list[Calibration]]:
    """Calibrations of each probe in time order; without a serial number, of the probe that sat at the point, or the point."""
    groups: dict[tuple[str, str], list[Calibration]] = {}
    for calibration in sorted(calibrations, key=lambda c: (c.time, c.point, c.probe)):
        probe = plant.probe_of(calibration) if plant else calibration.probe
        owner = ("probe", probe) if probe else ("point", calibration.point)
        groups.setdefault(owner, []).append(calibration)
    return list(groups.values())


def _shifts_at(
    calibration: Calibration, known: Mapping[str, _State], levels: Mapping[str, Levels], plant: Plant
) -> list[Shift]:
    pairs = {
        name: (known[name], parameter)
        for name, parameter in calibration.as_found.items()
        if name in known
        and comparable(known[name].parameter, parameter)
        and known[name].time < calibration.time
    }
    return [
        _shift(calibration, name, before, after, levels, _stood(calibration, before.time, plant))
        for name, (before, after) in pairs.items()
    ]


def _stood(calibration: Calibration, since: int, plant: Plant) -> str:
    """The point at which the probe stood last before a calibration: not where it is entered, if it was moved then."""
    stays = plant.stays_of(calibration.probe, since, calibration.time)
    return stays[-1].point if stays else calibration.point


def comparable(before: Parameter, after: Parameter) -> bool:
    """Whether two determinations speak of the same thing: same unit, and both absolute or both relative."""
    finite = math.isfinite(before.value) and math.isfinite(after.value)
    relative = (before.basis == "relative") == (after.basis == "relative")
    return finite and relative and before.unit == after.unit and after.basis != "kept"


def _shift(
    calibration: Calibration,
    name: str,
    before: _State,
    after: Parameter,
    levels: Mapping[str, Levels],
    stood: str,
) -> Shift:
    spread = math.hypot(before.parameter.uncertainty, after.uncertainty)
    change = after.value - before.parameter.value
    p_value = math.erfc(abs(change) / spread / math.sqrt(2.0)) if spread > 0 else float(change == 0)
    level, temp = level_before(levels, stood, calibration.time, since=before.time)
    error, error_spread = _effect(calibration, name, before.parameter, after, spread, level, temp)
    clean = calibration.found_clean.get(name)
    return Shift(
        probe=calibration.probe,
        point=calibration.point,
        measurand=calibration.measurand,
        parameter=name,
        unit=after.unit,
        start=before.time,
        end=calibration.time,
        before=before.parameter.value,
        after=after.value,
        uncertainty=spread,
        p_value=p_value,
        significant=p_value < SIGNIFICANCE,
        reading_error=error,
        reading_error_uncertainty=error_spread,
        chosen=after.basis == SHOWN,
        taken_off=after.value - clean.value if clean and comparable(clean, after) else math.nan,
    )


def _effect(
    calibration: Calibration,
    name: str,
    before: Parameter,
    after: Parameter,
    spread: float,
    level: float,
    temp: float,
) -> tuple[float, float]:
    """Reading error this one parameter's shift makes at a level, with the other parameters as found."""
    if not math.isfinite(level):
        return math.nan, math.nan
    units = {n: p.unit for n, p in calibration.as_found.items()}
    shape = models.form(calibration.measurand, units)
    if name not in shape.units:
        return math.nan, math.nan
    others = {n: p.value for n, p in calibration.as_found.items()}

    def error(value: float) -> float:
        return models.reading_error(
            shape, level, used=others | {name: before.value}, real=others | {name: value}, temp_degc=temp
        )

    return error(after.value), abs(error(after.value + 0.5 * spread) - error(after.value - 0.5 * spread))


def chance_remark(found: Sequence[Shift]) -> Decision | None:
    """Say how many shifts were tested and how many would pass for changed by chance alone."""
    if not found:
        return None
    called = sum(shift.significant for shift in found)
    return Decision(
        subject="calibration shifts",
        what=f"{called} of {len(found)} shifts are called significant at the {SIGNIFICANCE:.0%} level, each tested by itself",
        why=f"chance alone would call about {SIGNIFICANCE * len(found):.1f} of {len(found)} unchanged parameters changed",
    )
