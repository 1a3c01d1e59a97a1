"""A plant as a commented TOML register; what the user wrote, comments included, stays as it is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields as fields_of
from typing import Any
from zoneinfo import ZoneInfo

import tomlkit
from tomlkit.container import Container
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Item, Table

from excursions.clock import to_datetime, zone
from excursions.errors import RegisterError
from excursions.measurands import to_canonical
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import Decision
from excursions.register import _fields
from excursions.register._fields import Field
from excursions.register._keep import kept

_HEAD = """Plant register.  Correct what is wrong, fill in what is missing, keep the rest.
Everything marked "inferred" was worked out from the export and nobody has stated it yet.
A line that starts with # is not read.  A tag of "" says: there is no such signal."""
_LEFT_OUT = "Tags that belong to no point:"
_FIELDS: dict[str, dict[str, Field]] = {
    "points": _fields.POINT,
    "probes": _fields.PROBE,
    "installations": _fields.INSTALLATION,
}
_KEYS = {"points": "name", "probes": "serial"}


def write_register(plant: Plant, decisions: Iterable[Decision] = (), existing_text: str = "") -> str:
    """Write a register as TOML.

    Parameters
    ----------
    plant : Plant
        What to write; fields in `Point.inferred` get their reason as a comment.
    decisions : iterable of Decision
        Those about tags that belong to no point are listed as comments at the end.
    existing_text : str
        The register as it stands; its statements, order and comments are kept, and only what it does
        not state is added.

    Returns
    -------
    str
        TOML that :func:`load_register` reads back to the same points, probes and installations.

    Raises
    ------
    RegisterError
        If `existing_text` is not TOML.
    """
    document = _document(existing_text)
    _plant_table(document, plant)
    points = {point.name: (_point_values(point), _reasons(point)) for point in plant.points}
    probes: dict[str, tuple[dict[str, Any], dict[str, str]]] = {
        probe.serial: (_probe_values(probe, plant.zone), {}) for probe in plant.probes
    }
    _write_rows(document, "points", points)
    _write_rows(document, "probes", probes)
    _installations(document, plant)
    _quality_words(document, plant)
    _left_out(document, plant, decisions)
    return kept(existing_text, document)


def _document(existing_text: str) -> tomlkit.TOMLDocument:
    if existing_text.strip():
        try:
            return tomlkit.parse(existing_text.removeprefix("\ufeff"))
        except TOMLKitError as error:
            raise RegisterError(
                found=f"a register that is not TOML ({error})",
                expected="the register as it was read",
                mend="mend it first, or write to a new file",
            ) from error
    document = tomlkit.document()
    for line in _HEAD.splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    for section, fields in _FIELDS.items():
        document.add(tomlkit.comment(f"Keys of [[{section}]]:"))
        for key, field in fields.items():
            document.add(tomlkit.comment(f"  {key}: {field.says}"))
    document.add(
        tomlkit.comment(
            "Settings of a detector stand under [detectors.NAME]; excursions handbook NAME lists them."
        )
    )
    document.add(tomlkit.nl())
    return document


def _plant_table(document: tomlkit.TOMLDocument, plant: Plant) -> None:
    values = {
        "name": plant.name,
        "zone": plant.zone,
        "air_pressure_kpa": plant.air_pressure_kpa,
        "ignore": list(plant.ignore),
    }
    table = document.get("plant")
    new = table is None
    if table is None:
        table = tomlkit.table()
        document["plant"] = table
    elif not isinstance(table, Table | Container):
        return
    spelt = _spelt(table, _fields.PLANT)
    for key, value in values.items():
        if key not in spelt and (value not in ("", []) or (new and key == "name")):
            default = getattr(Plant(), key) == value
            if new or not default:
                _add(table, key, value, _fields.PLANT[key].says)


def _point_values(point: Point) -> dict[str, Any]:
    """Stated and inferred fields of a point by register key, range and tolerance in the stated unit."""
    values = {key: getattr(point, key) for key in _fields.POINT}
    scale = to_canonical(point.measurand, point.unit) if point.unit else None
    factor, offset = scale or (1.0, 0.0)
    if point.range:
        values["range"] = [_tidy((end - offset) / factor) for end in point.range]
    if point.tolerance is not None:
        values["tolerance"] = _tidy(point.tolerance / factor)
    if not point.unit and "unit" in point.inferred:
        values["unit"] = point.quantity.unit
    if not point.temperature_unit and "temperature_unit" in point.inferred:
        values["temperature_unit"] = "degC"
    values["neighbours"] = list(point.neighbours)
    if not point.pressure:
        values.pop("pressure_unit")
    return {key: value for key, value in values.items() if value not in ("", None, [])}


def _tidy(value: float) -> float:
    """Undo the last digits that a change of unit leaves behind."""
    return float(f"{value:.12g}")


def _probe_values(probe: Probe, tz: str) -> dict[str, Any]:
    values = {field.name: getattr(probe, field.name) for field in fields_of(probe)}
    if probe.in_service_since is not None:
        values["in_service_since"] = to_datetime(probe.in_service_since, zone(tz))
    return {key: value for key, value in values.items() if value not in ("", None)}


def _reasons(point: Point) -> dict[str, str]:
    return {
        key: why if why in (_fields.STATED_NONE, _fields.NOT_STATED) else f"inferred: {why}"
        for key, why in point.inferred.items()
    }


def _write_rows(
    document: tomlkit.TOMLDocument,
    section: str,
    rows: Mapping[str, tuple[Mapping[str, Any], Mapping[str, str]]],
) -> None:
    """Add rows (values and reasons by name), or what is missing in those that stand there already."""
    fields = _FIELDS[section]
    existing = _existing(document, section)
    for name, (values, reasons) in rows.items():
        row = existing.get(name)
        if row is None:
            _append(document, section, name, _new_row(values, reasons))
            continue
        spelt = _spelt(row, fields)
        for field, value in values.items():
            if field not in spelt and field in reasons and field != _KEYS[section]:
                _add(row, field, value, reasons[field])


def _new_row(values: Mapping[str, Any], reasons: Mapping[str, str]) -> Table:
    row = tomlkit.table()
    for field, value in values.items():
        _add(row, field, value, reasons.get(field, ""))
    row.add(tomlkit.nl())
    return row


def _sections(document: tomlkit.TOMLDocument, section: str) -> list[Any]:
    return [document[name] for name in (section, section[:-1]) if name in document]


def _existing(document: tomlkit.TOMLDocument, section: str) -> dict[str, Any]:
    """Rows of a section by the name they state, or by the value tag that stands for it."""
    key = _KEYS[section]
    found: dict[str, Any] = {}
    for rows in _sections(document, section):
        if not isinstance(rows, AoT | list):
            found |= {str(name): row for name, row in rows.items()}
            continue
        for row in rows:
            spelt = _spelt(row, _FIELDS[section])
            name = row[spelt[key]] if key in spelt else row.get(spelt.get("value", "value"), "")
            found[str(name).strip()] = row
    return found


def _append(document: tomlkit.TOMLDocument, section: str, name: str, row: Table) -> None:
    for rows in _sections(document, section):
        if isinstance(rows, AoT):
            rows.append(row)
            return
        if not isinstance(rows, list):
            rows[name] = row
            return
    array = tomlkit.aot()
    array.append(row)
    document[section] = array


def _spelt(row: Any, fields: Mapping[str, Field]) -> dict[str, str]:
    """Keys of a row by the field they stand for."""
    known = {also: key for key, field in fields.items() for also in (key, *field.also)}
    return {known[key]: key for key in row if key in known}


def _add(table: Any, key: str, value: Any, why: str) -> None:
    item: Item = tomlkit.item(value)
    if why:
        item.comment(_one_line(why))
    table.add(key, item)


def _one_line(text: str) -> str:
    """Text that is safe behind a # sign: no line ends and no control characters."""
    return "".join(char if char.isprintable() else " " for char in text)


def _installations(document: tomlkit.TOMLDocument, plant: Plant) -> None:
    """Add installations that the register does not hold yet."""
    tz = zone(plant.zone)
    stated = {_identity(row, tz) for rows in _sections(document, "installations") for row in rows}
    for installation in plant.installations:
        row = tomlkit.table()
        row.add("probe", installation.probe)
        row.add("point", installation.point)
        for key, instant in (("from", installation.start), ("to", installation.end)):
            if instant is not None:
                row.add(key, to_datetime(instant, tz))
        if _identity_of(installation, plant) not in stated:
            row.add(tomlkit.nl())
            _append(document, "installations", "", row)


def _identity(row: Any, tz: ZoneInfo) -> tuple[str, str, str]:
    spelt = _spelt(row, _fields.INSTALLATION)
    said = {key: row[there] for key, there in spelt.items()}
    start = said.get("start")
    return (
        str(said.get("probe", "")),
        str(said.get("point", "")),
        _wall(start, tz) if start is not None else "",
    )


def _identity_of(row: Installation, plant: Plant) -> tuple[str, str, str]:
    start = (
        to_datetime(row.start, zone(plant.zone)).replace(tzinfo=None).isoformat()
        if row.start is not None
        else ""
    )
    return row.probe, row.point, start


def _wall(value: Any, tz: ZoneInfo) -> str:
    """A stated moment on the plant's clock, whatever zone it was written in."""
    moment = _fields.moment(value)
    return (moment.astimezone(tz) if moment.tzinfo else moment).replace(tzinfo=None).isoformat()


def _quality_words(document: tomlkit.TOMLDocument, plant: Plant) -> None:
    if not plant.quality_words:
        return
    table = document.setdefault("quality_words", tomlkit.table())
    for word, quality in plant.quality_words.items():
        if word not in table:
            table.add(word, quality)


def _left_out(document: tomlkit.TOMLDocument, plant: Plant, decisions: Iterable[Decision]) -> None:
    """List tags that belong to no point, as comments behind everything else."""
    points = {point.name for point in plant.points}
    lines = [
        f"{_one_line(d.subject)}: {_one_line(d.why)}"
        for d in decisions
        if d.subject not in points and d.what == "left out"
    ]
    known = set(document.as_string().splitlines())
    lines = [line for line in lines if f"# {line}" not in known]
    if lines and f"# {_LEFT_OUT}" not in known:
        document.add(tomlkit.comment(_LEFT_OUT))
    for line in lines:
        document.add(tomlkit.comment(line))
