"""TOML in, :class:`Plant` out; every fault is collected before anything is raised."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from excursions.clock import to_ns, zone
from excursions.errors import RegisterError, UsageError, did_you_mean
from excursions.measurands import MEASURANDS, to_canonical
from excursions.plant import Installation, Plant, Point, Probe
from excursions.read.text.units import pretty
from excursions.register import _fields
from excursions.register._cross import cross_check
from excursions.register._fields import NOT_STATED, STATED_NONE, Field, Wrong
from excursions.register._lines import Path as KeyPath
from excursions.register._lines import key_lines
from excursions.register._problems import collect
from excursions.register._reader import Reader, decode, parse, shown

Tunable = Mapping[str, Mapping[str, float]]
SECTIONS = {
    "plant": "plant",
    "points": "points",
    "point": "points",
    "probes": "probes",
    "probe": "probes",
    "installations": "installations",
    "installation": "installations",
    "quality_words": "quality_words",
    "detectors": "detectors",
}
ROLES = ("value", "temperature", "hold", "wash", "pressure", "status")
_NAMED = {"points": "name", "probes": "serial"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterReading:
    """A usable plant, and what to tell the user about the register although the scan can go on."""

    plant: Plant
    problems: tuple[RegisterError, ...] = ()


def load_register(
    path: Path, tags: Collection[str] = (), tunable: Callable[[], Tunable] | None = None
) -> RegisterReading:
    """Read and check a plant register.

    Parameters
    ----------
    path : Path
        TOML file, UTF-8.
    tags : collection of str
        Tags of the export; when given, tags that the register names and the export lacks are remarked.
    tunable : callable that gives a mapping of detector to setting to default, optional
        What may stand under ``[detectors.NAME]``, asked for where one stands there; without it, such a section is
        refused as unknown.

    Returns
    -------
    RegisterReading
        The plant, and remarks that do not stop a scan (unknown tags, probes that were not listed,
        installations that overlap), each with its line.

    Raises
    ------
    RegisterProblems
        If any statement cannot be used as it stands: all faults at once, each with line, key, what was
        found, what was expected and the nearest right word.
    """
    text = decode(path)
    raw, faults = parse(text, str(path))
    reader = Reader(str(path), key_lines(text), faults)
    plant = _plant(reader, raw, tunable or dict)
    cross_check(reader, plant, tags)
    if reader.faults:
        raise collect(str(path), reader.faults + reader.remarks)
    return RegisterReading(plant=plant, problems=collect(str(path), reader.remarks).problems)


def _plant(reader: Reader, raw: Mapping[str, Any], tunable: Callable[[], Tunable]) -> Plant:
    sections = _sections(reader, raw)
    stated = reader.read(sections["plant"], _fields.PLANT, ("plant",))
    tz = _zone(reader, stated.get("zone", "UTC"))
    points = tuple(found for at, row in sections["points"] if (found := _point(reader, row, at)))
    probes = tuple(p for at, row in sections["probes"] if (p := _probe(reader, row, at, tz)))
    installed = tuple(i for at, row in sections["installations"] if (i := _installation(reader, row, at, tz)))
    return Plant(
        **{**stated, "zone": tz.key},
        points=points,
        probes=probes + _unlisted(points, probes, installed),
        installations=installed,
        quality_words=_quality_words(reader, sections["quality_words"]),
        detectors=_tuning(reader, tuned, tunable()) if (tuned := sections["detectors"]) else {},
    )


def _sections(reader: Reader, raw: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "plant": {},
        "points": [],
        "probes": [],
        "installations": [],
        "quality_words": {},
        "detectors": {},
    }
    for key, value in raw.items():
        section = SECTIONS.get(key)
        if section is None:
            mend = did_you_mean(key, SECTIONS, "take it out, or put a # before each of its lines")
            reader.fault((key,), f'the section "{key}"', "one of " + ", ".join(found), mend)
        elif section in ("plant", "quality_words", "detectors"):
            found[section] = _table(reader, key, value)
        else:
            found[section] += _rows(reader, key, section, value)
    return found


def _table(reader: Reader, key: str, value: Any) -> Mapping[str, Any]:
    if isinstance(value, dict):
        return value
    reader.fault((key,), shown(value), f"a section [{key}]", f"write [{key}] on a line of its own")
    return {}


def _rows(reader: Reader, key: str, section: str, value: Any) -> list[tuple[KeyPath, Mapping[str, Any]]]:
    """Rows of a section written as ``[[points]]`` or as ``[points."AT-2103"]``."""
    if isinstance(value, list) and all(isinstance(row, dict) for row in value):
        return [((key, index), row) for index, row in enumerate(value)]
    named = _NAMED.get(section)
    if named and isinstance(value, dict) and all(isinstance(row, dict) for row in value.values()):
        return [((key, name), {named: name} | row) for name, row in value.items()]
    reader.fault((key,), shown(value), f"sections [[{section}]]", f"begin each of them with [[{section}]]")
    return []


def _zone(reader: Reader, name: str) -> ZoneInfo:
    try:
        return zone(name)
    except UsageError as error:
        reader.fault(("plant", "zone"), f'"{name}"', error.expected, error.mend)
        return zone("UTC")


def _point(reader: Reader, row: Mapping[str, Any], at: KeyPath) -> Point | None:
    stated = reader.read(row, _fields.POINT, at)
    if "name" not in stated:
        stated["name"] = stated.get("value", "")
    if not stated["name"]:
        if "name" not in row:
            reader.fault(at, "a point without a name", 'name = "..."', "give it a name of its own")
        return None
    key = stated.get("measurand", "") or _meant(row)
    if stated.get("temperature_unit") and to_canonical("temperature", stated["temperature_unit"]) is None:
        reader.fault((*at, "temperature_unit"), shown(stated["temperature_unit"]), "degC or degF")
    reader.keep("points", at, stated)
    silent = {role: STATED_NONE for role in ROLES if stated.get(role) == ""}
    if "measurand" not in stated:
        silent["measurand"] = NOT_STATED
    return Point(**_in_canonical_unit(reader, dict(stated), key, at), inferred=silent)


def _meant(row: Mapping[str, Any]) -> str:
    """The measurand that a point states, or all but states: a misspelt one must not hide what is wrong with its unit."""
    said = next((str(row[key]) for key in ("measurand", *_fields.POINT["measurand"].also) if key in row), "")
    return _fields.nearest_measurand(said) or "other"


def _in_canonical_unit(reader: Reader, stated: dict[str, Any], key: str, at: KeyPath) -> dict[str, Any]:
    """Take range and tolerance from the stated unit to the canonical one."""
    unit = stated.get("unit", "")
    scale = to_canonical(key, unit) if unit else (1.0, 0.0)
    if scale is None and unit.casefold() != "ma":
        row = MEASURANDS[key]
        spelt = list(dict.fromkeys(pretty(word) for word in (row.unit, *row.aliases) if word))
        mend = did_you_mean(unit, spelt, "give the unit that the export uses")
        reader.fault((*at, "unit"), shown(unit), f"a unit of {row.label}: " + ", ".join(spelt), mend)
    factor, offset = scale or (1.0, 0.0)
    if "range" in stated:
        low, high = stated["range"]
        stated["range"] = (factor * low + offset, factor * high + offset)
    if "tolerance" in stated:
        stated["tolerance"] *= factor
    return stated


def _probe(reader: Reader, row: Mapping[str, Any], at: KeyPath, tz: ZoneInfo) -> Probe | None:
    stated = reader.read(row, _fields.PROBE, at)
    if "serial" not in stated:
        if "serial" not in row:
            reader.fault(at, "a probe without a serial number", 'serial = "..."', "give its serial number")
        return None
    reader.keep("probes", at, stated)
    if "in_service_since" in stated:
        stated["in_service_since"] = _instant(stated["in_service_since"], tz)
    return Probe(**stated)


def _installation(reader: Reader, row: Mapping[str, Any], at: KeyPath, tz: ZoneInfo) -> Installation | None:
    stated = reader.read(row, _fields.INSTALLATION, at)
    for key in ("probe", "point"):
        if key not in stated and key not in row:
            reader.fault(at, f"an installation without a {key}", f'{key} = "..."', f"say which {key}")
    if not {"probe", "point"} <= set(stated):
        return None
    for key in ("start", "end"):
        if key in stated:
            stated[key] = _instant(stated[key], tz)
    if "start" in stated and "end" in stated and stated["end"] <= stated["start"]:
        reader.fault(
            at, "an installation that ends before it starts", "end after start", "swap the two dates"
        )
        return None
    reader.keep("installations", at, stated)
    return Installation(**stated)


def _instant(moment: datetime, tz: ZoneInfo) -> int:
    return to_ns(moment if moment.tzinfo else moment.replace(tzinfo=tz))


def _unlisted(
    points: tuple[Point, ...], probes: tuple[Probe, ...], installed: tuple[Installation, ...]
) -> tuple[Probe, ...]:
    """Probes that only an installation names; they measure what their point measures."""
    listed = {probe.serial for probe in probes}
    kinds = {point.name: point.measurand for point in points}
    found: dict[str, Probe] = {}
    for row in installed:
        if row.probe not in listed:
            kind = kinds.get(row.point, "other")
            found.setdefault(row.probe, Probe(serial=row.probe, measurand=kind))
    return tuple(found.values())


def _tuning(reader: Reader, table: Mapping[str, Any], tunable: Tunable) -> dict[str, dict[str, float]]:
    """Settings by detector, each checked against its default: whole where that is whole, and not below zero."""
    found: dict[str, dict[str, float]] = {}
    for detector, rows in table.items():
        at = ("detectors", detector)
        if detector not in tunable:
            mend = did_you_mean(detector, tunable, "take it out, or put a # before each of its lines")
            reader.fault(at, f'the detector "{detector}"', "one of " + ", ".join(tunable), mend)
        elif not isinstance(rows, dict):
            reader.fault(
                at, shown(rows), f"a section [detectors.{detector}]", "write it on a line of its own"
            )
        else:
            known = {name: Field(_fields.like(default)) for name, default in tunable[detector].items()}
            found[detector] = reader.read(rows, known, at)
    return found


def _quality_words(reader: Reader, table: Mapping[str, Any]) -> dict[str, str]:
    words: dict[str, str] = {}
    for word, value in table.items():
        try:
            words[word] = _fields.QUALITY(value)
        except Wrong as wrong:
            reader.fault(("quality_words", word), shown(value), wrong.expected, wrong.mend)
    return words
