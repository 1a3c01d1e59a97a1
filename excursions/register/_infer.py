"""Complete a register from the export alone: which tags form a point, what it measures, in which units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from excursions.digits import written
from excursions.measurands import MEASURANDS, converted, to_canonical
from excursions.plant import Plant, Point, Probe
from excursions.read.text.aggregates import noted
from excursions.read.text.units import quantities, table_unit
from excursions.records import Decision, TagSeries
from excursions.register._aggregates import AGGREGATE, set_apart, split_names
from excursions.register._fields import NOT_STATED, STATED_NONE
from excursions.register._look import Look, looks_of
from excursions.register._measurand import (
    Guess,
    guess_temperature_unit,
    guess_value,
    meant_by_unit,
    pressure_unit,
)
from excursions.register._names import point_names
from excursions.register._pair import Pairs, pair_flags, pair_up, redundant, valves
from excursions.register._tags import Tag, understand
from excursions.register._traits import Traits

TRACES_PASS = (
    10.0  # times the bound of traces that readings among them hardly ever pass, as after a backwash (cp)
)
OPTION = "correct it in the register (excursions register writes one)"


@dataclass(frozen=True, slots=True)
class _Export:
    """The tags of an export by role, and what belongs to what."""

    tags: dict[str, Tag]
    values: list[Tag]
    pairs: dict[str, Pairs]
    fahrenheit: bool


def infer_plant(
    series: Mapping[str, TagSeries | Look], known: Plant | None = None
) -> tuple[Plant, tuple[Decision, ...]]:
    """Complete `known` (or an empty plant) with what the export shows.

    Parameters
    ----------
    series : mapping of tag to TagSeries, or to what was seen of it
        In the order of the export, which is used where names carry no loop.
    known : Plant or None
        The register; what it states stays as it is.

    Returns
    -------
    Plant
        Points of the register first, completed, then those found in the export in its order.
        `Point.inferred` names every field that was worked out, with the reason.
    tuple of Decision
        One for every inference and for every tag that was left out.
    """
    plant = known or Plant()
    export = _sort_out(series, plant)
    stated = [_complete(point, export) for point in plant.points]
    taken = {tag for point in stated for tag in point.tags.values()}
    found = _new_points(export, taken, plant)
    points = _with_neighbours([*stated, *found], export)
    decisions = [decision for point in points for decision in _decisions(point)]
    used = {tag for point in points for tag in point.tags.values()}
    decisions += [_left_out(tag) for tag in export.tags.values() if tag.name not in used]
    probes = tuple(_probe_like_its_point(probe, plant, points) for probe in plant.probes)
    return replace(plant, points=tuple(points), probes=probes), tuple(decisions)


def _probe_like_its_point(probe: Probe, plant: Plant, points: Sequence[Point]) -> Probe:
    """A probe of which nobody said what it measures does what its first point does."""
    at = next((row.point for row in plant.installations if row.probe == probe.serial), None)
    point = (
        next((point for point in points if point.name == at), None) if probe.measurand == "other" else None
    )
    return replace(probe, measurand=point.measurand) if point else probe


def _sort_out(series: Mapping[str, TagSeries | Look], plant: Plant) -> _Export:
    looks = looks_of(series).values()
    named = split_names(series)
    tags = {
        name: understand(order, one, named[name][0] if name in named else "")
        for order, (name, one) in enumerate(zip(series, looks, strict=True))
    }
    tags |= set_apart(tags, named, {signal for point in plant.points for signal in point.tags.values()})
    by_role: dict[str, list[Tag]] = {}
    for tag in tags.values():
        by_role.setdefault(tag.role, []).append(tag)
    stated = {p.value for p in plant.points}
    values = [tag for tag in tags.values() if tag.role == "value" or tag.name in stated]
    pairs = {
        "temperature": pair_up(values, by_role.get("temperature", []), by_order=True),
        "pressure": pair_up(values, by_role.get("pressure", []), by_order=False),
        "status": pair_up(values, by_role.get("status", []), by_order=False),
    }
    for role in ("hold", "wash"):
        pairs[role] = pair_flags(values, by_role.get(role, []))
    pairs["wash"] = valves(values, by_role.get("flag", [])) | pairs["wash"]
    temperatures = by_role.get("temperature", [])
    fahrenheit = [_is_fahrenheit(tag) for tag in temperatures if tag.unit]
    return _Export(tags, values, pairs, bool(fahrenheit) and all(fahrenheit))


def _is_fahrenheit(tag: Tag) -> bool:
    return "f" in tag.unit.casefold() and "temperature" in quantities(tag.unit)


def _complete(point: Point, export: _Export) -> Point:
    """Fill what the register leaves open for one of its own points."""
    none = {role for role, reason in point.inferred.items() if reason == STATED_NONE}
    open_measurand = point.inferred.get("measurand") == NOT_STATED
    point = replace(point, inferred={})
    if not point.value and "value" not in none and (tag := _named_like(point.name, export)):
        point = _set(point, "value", tag.name, "its name is the point's name")
    tag = export.tags.get(point.value)
    if tag is None:
        return _temperature_unit(point, export)
    return _fill(point, tag, export, none, measurand=open_measurand)


def _named_like(name: str, export: _Export) -> Tag | None:
    """The one reading that is called like the point, or whose name begins or ends with it."""
    if name in export.tags:
        return export.tags[name]
    folded = name.casefold()
    near = [tag for tag in export.values if _is_part(folded, tag.name.casefold())]
    return near[0] if len(near) == 1 else None


def _is_part(name: str, tag: str) -> bool:
    at = tag.find(name)
    if at < 0:
        return False
    before, after = tag[:at], tag[at + len(name) :]
    return not (before and before[-1].isalnum()) and not (after and after[0].isalnum())


def _set(point: Point, field: str, value: object, why: str) -> Point:
    return replace(point, **{field: value}, inferred={**point.inferred, field: why})  # type: ignore[arg-type]


def _fill(point: Point, tag: Tag, export: _Export, none: set[str], *, measurand: bool) -> Point:
    """Fill measurand, unit, range and partner signals around the value tag."""
    guess = guess_value(tag)
    if measurand:
        point = _set(point, "measurand", guess.measurand, guess.why)
    elif not point.unit and (meant := meant_by_unit(tag, point.measurand)) != point.measurand:
        why = (
            f"the register says {MEASURANDS[point.measurand].label}, and the unit of the export is {tag.unit}"
        )
        point = _set(point, "measurand", meant, why)
    if point.measurand == guess.measurand:
        point = _units_and_range(point, guess, tag)
    if not point.description and (description := noted(tag.look.description)[0]):
        point = replace(point, description=description)
    for role, pairs in export.pairs.items():
        pair = pairs.get(tag.name)
        if pair and not getattr(point, role) and role not in none:
            point = _attach(point, role, pair.tag, pair.why)
    return _temperature_unit(point, export)


def _units_and_range(point: Point, guess: Guess, tag: Tag) -> Point:
    if not point.unit and guess.unit:
        point = _set(point, "unit", guess.unit, guess.unit_why)
    elif not point.unit and guess.unit_why:
        point = replace(point, inferred={**point.inferred, "unit": guess.unit_why})
    traces = _traces(point, table_unit(point.unit or tag.unit), tag.traits)
    if point.tolerance is None and traces:
        point = _set(point, "tolerance", point.quantity.trace_tolerance, traces)
    if point.range is None and guess.range:
        point = _set(point, "range", guess.range, guess.range_why)
    return point


def _traces(point: Point, unit: str, seen: Traits) -> str:
    """Why only traces are measured here, by the unit or by the readings in it; empty where more is."""
    row, scale = point.quantity, to_canonical(point.measurand, unit)
    if scale is None:
        return ""
    usual, high = converted(seen.q50, scale), converted(seen.q99, scale)
    if unit.casefold() in row.trace_units and not usual >= row.trace_most:
        return f"in {unit} traces are measured"
    if not (0.0 < usual < row.trace_below and high < TRACES_PASS * row.trace_below):
        return ""
    return f"the usual reading is {written(usual, 2)} {row.unit}: traces are measured"


def _attach(point: Point, role: str, tag: Tag, why: str) -> Point:
    if role != "pressure":
        return _set(point, role, tag.name, why)
    unit, unit_why = pressure_unit(tag)
    if not unit:
        return point
    return _set(_set(point, role, tag.name, why), "pressure_unit", unit, unit_why)


def _temperature_unit(point: Point, export: _Export) -> Point:
    tag = export.tags.get(point.temperature)
    if tag is None or point.temperature_unit:
        return point
    unit, why, _ = guess_temperature_unit(tag, others_fahrenheit=export.fahrenheit)
    if unit:
        return _set(point, "temperature_unit", unit, why)
    return replace(point, inferred={**point.inferred, "temperature_unit": why}) if why else point


def _new_points(export: _Export, taken: set[str], plant: Plant) -> list[Point]:
    """Points for the readings and temperatures that no point of the register speaks for."""
    values = [tag for tag in export.values if tag.name not in taken and not _ignored(tag, plant)]
    pairs = export.pairs["temperature"]
    paired = {pairs[tag.name].tag.name for tag in values if tag.name in pairs} | taken
    lone = [
        tag
        for tag in export.tags.values()
        if tag.role == "temperature" and tag.name not in paired and not _ignored(tag, plant)
    ]
    process = [
        tag for tag in export.tags.values() if tag.role in ("process", "pressure") and tag.name not in taken
    ]
    if not values and not lone and not plant.points:
        values = [tag for tag in process if not _ignored(tag, plant)]
    base = sorted([*values, *lone], key=lambda tag: tag.order)
    names = point_names(base, pairs, {point.name for point in plant.points})
    return [_new_point(tag, names[tag.name], export) for tag in base]


def _ignored(tag: Tag, plant: Plant) -> bool:
    return any(fnmatchcase(tag.name, pattern) for pattern in plant.ignore)


def _new_point(tag: Tag, name: str, export: _Export) -> Point:
    point = Point(name=name, inferred={"name": f"from the tag {tag.name}"})
    if tag.role == "temperature":
        point = _set(point, "value", tag.name, f"{tag.why}; no reading belongs to it")
        point = _set(point, "measurand", "temperature", tag.why)
        unit, why, _ = guess_temperature_unit(tag, others_fahrenheit=export.fahrenheit)
        point = _set(point, "unit", unit, why) if unit else point
        point = replace(point, description=noted(tag.look.description)[0])
        return replace(point, inferred={**point.inferred, "unit": why}) if why else point
    point = _set(point, "value", tag.name, tag.why)
    return _fill(point, tag, export, set(), measurand=True)


def _with_neighbours(points: Sequence[Point], export: _Export) -> list[Point]:
    names = {point.value: point.name for point in points if point.value}
    related = redundant([export.tags[value] for value in names if value in export.tags])
    found: list[Point] = []
    for point in points:
        near = tuple(names[tag.name] for tag in related.get(point.value, []))
        open_field = near and not point.neighbours
        found.append(
            _set(point, "neighbours", near, "same loop or place, a lane beside, or one of few such readings")
            if open_field
            else point
        )
    return found


def _decisions(point: Point) -> list[Decision]:
    """One decision for each inferred field of a point."""
    found: list[Decision] = []
    for field, why in point.inferred.items():
        if field == "name":
            continue
        value = getattr(point, field)
        shown = (
            MEASURANDS[value].label
            if field == "measurand"
            else ", ".join(value)
            if isinstance(value, tuple) and field == "neighbours"
            else value
        )
        what = f"{field}: {shown if shown not in ('', None) else MEASURANDS[point.measurand].unit or 'as in the file'}"
        if field == "temperature_unit" and not value:
            what = "temperature_unit: degC"
        if field == "tolerance":
            what += f" {point.quantity.unit}"
        found.append(Decision(subject=point.name, what=what, why=why, option=OPTION))
    return found


_WHY_OUT = {
    "setting": "it is a set point or an output",
    "limit": "it is a limit or an alarm",
    "flag": "it is a switch and nothing says whether it means hold or wash",
    "hold": "it is a hold switch and no reading belongs to it",
    "wash": "it is a wash switch and no reading belongs to it",
    "status": "it is a status and no reading belongs to it",
    "process": "it is a quantity of the process, not of an analytical probe",
    "pressure": "it is a pressure and no reading belongs to it, or its unit is not known",
    "unclear": "it is called a switch but takes other values than 0 and 1",
}


def _left_out(tag: Tag) -> Decision:
    why = tag.why if tag.role == AGGREGATE else _WHY_OUT.get(tag.role, "the register says to ignore it")
    return Decision(
        subject=tag.name, what="left out", why=why, option="name it as a signal of a point in the register"
    )
