"""What tags are called, and in what unit: from headers, rows above them, lines above the table, or the file's name."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.common import is_counter, same_unit, split_unit, unit_behind
from excursions.read.exports.layouts.plan import Stream
from excursions.read.text.units import is_unit
from excursions.read.text.words import ROLES, fold
from excursions.records import Decision

# "AT-101.Value", "AI1Value", "(Wert)"; "Mittelwert" and "Sollwert" say more.
_VALUE_END = re.compile(
    r"(?i)(?:(?:^|[\s._\-:/|\[(]+)(?:value|val|wert|messwert|valor|valeur)|(?<=\w)(?-i:Value|Val|Messwert|Wert))[\])]?$"
)
_TAG_KEYS = (
    "tag|tag name|tagname|point|point name|signal|name|item|messstelle|kks|sensor|channel|parameter|series|tag id|point id|"
    "variable|kanal|signal name|measuring point|loop"
)
BLOCK = "block of the file"  # what stands above one of several tables in a file, and goes before its tags
_UNIT_KEYS = "unit|units|eu|uom|engineering unit|engineering units|einheit|unidad|unite"
_DESCRIPTION_KEYS = "description|descriptor|desc|beschreibung|descripcion|long name|bezeichnung"


def stated(sheet: Sheet, keys: str) -> str:
    """What a line above the table says under one of these keys."""
    return next((sheet.preamble[key] for key in keys.split("|") if sheet.preamble.get(key)), "")


def stated_tag(preamble: dict[str, str]) -> str:
    """The tag that lines above a table name, or empty."""
    return next((preamble[key] for key in _TAG_KEYS.split("|") if preamble.get(key)), "")


_KEY = re.compile(r"(?i)(?:tag|tag ?name|signal|point|item|messstelle|channel|kanal)\s*[:=]\s*(?=\S)")


def keyless(text: str) -> str:
    """A name without the word that says it is one: ``Tag: AT-101``."""
    match = _KEY.match(text)
    return text[match.end() :] if match else text


def header_of(column: Column) -> str:
    """The cell that names the tag; a unit is not it where another header row has a name."""
    above = next((keyless(cell) for cell in column.above if cell and not is_unit(cell)), "")
    if above and column.roles & {"average", "other_figure"} and "value" not in column.roles:
        return f"{above} {column.header}"
    nameless = not column.header or is_unit(column.header) or "value" in column.roles
    return above if above and nameless else column.header


def bare(header: str) -> str:
    """A header without words for "value" and without a known unit."""
    name = split_unit(header)[0]
    return _VALUE_END.sub("", name).strip() or name


def names_of(sheet: Sheet, values: Sequence[Column]) -> list[str]:
    """Tag names of the value columns; where taking units off would make two alike, the headers as they stand."""
    if len(values) == 1:
        return [_single_name(sheet, values[0])]
    full = [header_of(c) for c in values]
    full = [
        _with_row_below(c, name) if full.count(name) > 1 else name
        for c, name in zip(values, full, strict=True)
    ]
    short = [bare(name) for name in full]
    block = sheet.preamble.get(BLOCK, "")
    names = [b if b and short.count(b) == 1 else f for b, f in zip(short, full, strict=True)]
    nameless = [i for i, c in enumerate(values) if "value" in c.roles and fold(names[i]) in ROLES["value"]]
    if len(nameless) == 1:  # "Reading" beside others names no signal: two files of it would become one
        names[nameless[0]] = stated_tag(sheet.preamble) or sheet.stem
    named = [name or f"{sheet.stem} column {c.index + 1}" for name, c in zip(names, values, strict=True)]
    return unique([f"{block} {name}".strip() for name in named])


def _with_row_below(column: Column, name: str) -> str:
    """A title that stands over several columns, with what another row of the header says of this one."""
    other = next((cell for cell in (*column.above, column.header) if cell and cell != name), "")
    return f"{name} {other}".strip()


def unique(names: Sequence[str], taken: Collection[str] = ()) -> list[str]:
    """The names, numbered from 2 on where they were there before or are `taken`; no two are alike."""
    given = set(taken)
    counts: dict[str, int] = {}
    found = []
    for name in names:
        called = name
        while called in given:
            counts[name] = counts.get(name, 1) + 1
            called = f"{name} ({counts[name]})"
        given.add(called)
        found.append(called)
    return found


def _single_name(sheet: Sheet, column: Column) -> str:
    """The tag of a file that holds one: its header, a line above the table, or the file's name."""
    header = header_of(column)
    generic = column.roles & {"value", "average", "other_figure", "tag"} or not fold(header)
    named = stated_tag(sheet.preamble)
    above = next((cell for cell in column.above if cell and not is_unit(cell)), "")
    if generic or (named and is_unit(header)):
        return named or above or sheet.stem
    return bare(header)


def unit_of(sheet: Sheet, column: Column, *, alone: bool) -> str:
    """The unit of a value column, empty when nothing states it."""
    found = split_unit(column.header)[1]
    if not found:
        cells = [cell.strip("[]() ") for cell in (*column.above, column.header)]
        found = next((cell for cell in cells if is_unit(cell)), "") or next(
            filter(None, (split_unit(cell)[1] for cell in column.above)), ""
        )
    return (
        found
        or unit_behind(column.header)
        or ((stated(sheet, _UNIT_KEYS) or _unit_of_name(sheet.stem)) if alone else "")
    )


def names_other_units(cells: Sequence[str], streams: Sequence[Stream]) -> bool:
    """Whether a row without a time says units, and another one for a signal than its table has so far."""
    said = [(cells[stream.value].strip(), stream.unit) for stream in streams if stream.value < len(cells)]
    return any(is_unit(new) and old and not same_unit(new.strip("[]() "), old) for new, old in said)


def _unit_of_name(stem: str) -> str:
    """The unit at the end of the name of a file or a sheet, where a slash cannot stand: ``QT71 uS_cm``."""
    name, _, last = stem.rpartition(" ")
    unit = last.replace("_", "/")
    return unit if name and is_unit(unit) else ""


def description_of(sheet: Sheet, column: Column, name: str, *, alone: bool) -> str:
    """The description of a value column, empty when there is none."""
    others = [cell for cell in (column.header, *column.above) if cell and cell != name and not is_unit(cell)]
    found = next((cell for cell in others if bare(cell) != name and not column.roles), "")
    return found or (stated(sheet, _DESCRIPTION_KEYS) if alone else "")


def left_out(sheet: Sheet, used: Collection[int], why: str) -> tuple[Decision, ...]:
    """Say which filled columns are not used."""
    columns = [c for c in sheet.columns if c.index not in used and c.filled and not is_counter(c)]
    if not columns:
        return ()
    names = [c.header or f"column {c.index + 1}" for c in columns]
    what = f"columns left out: {', '.join(names[:10])}" + (" and more" if len(names) > 10 else "")
    left = Decision(subject=sheet.stem, what=what, why=why, option="rename a column that holds readings")
    several = [Decision(subject=sheet.stem, what=f'column "{c.header or c.index + 1}" is not read: {said}', why="which is which nobody says", option="export each reading in a column of its own") for c in columns if (said := several_in(c))]  # fmt: skip
    return (left, *several, *(_perhaps_quality(sheet, c) for c in columns if _says_little(c)))


_SEVERAL = re.compile(
    r"[+-]?\d+(?:[.,]\d+)?\s*[^\s\d]{0,5}\s*(?:[/|@]|\bat\b|\bbei\b)\s*[+-]?\d+(?:[.,]\d+)?\s*\S{0,5}"
)


def several_in(column: Column) -> str:
    """What is said of a column whose cells mostly hold two readings, ``7.02/25.1`` or ``7.02 pH @ 25.1 °C``; empty of others."""
    found = [cell for cell in column.cells if _SEVERAL.fullmatch(cell)] if column.is_text else []
    return f'several readings in one cell, such as "{found[0]}"' if 2 * len(found) > column.filled else ""


_FEW_WORDS = 6


def _says_little(column: Column) -> bool:
    """Whether a column repeats a few words that nobody here knows, as a quality does."""
    return (
        column.is_text
        and not column.roles
        and 1 < column.distinct <= min(_FEW_WORDS, column.filled // 3)
        and not any(char.isdigit() for cell in column.cells for char in cell)
    )


def _perhaps_quality(sheet: Sheet, column: Column) -> Decision:
    said = ", ".join(f'"{word}"' for word in sorted(set(filter(None, column.cells))))
    return Decision(
        subject=sheet.stem, what=f'column "{column.header or column.index + 1}" is not used as a quality',
        why=f"nobody here knows what its words mean: {said}",
        option="state them under [quality_words] in the register",
    )  # fmt: skip
