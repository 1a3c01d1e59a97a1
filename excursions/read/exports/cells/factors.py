"""What the header of a table says its numbers are to be multiplied by, and what is then to be added: rows of it, or words behind a unit."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import Column
from excursions.read.text.units import is_unit
from excursions.read.text.words import fold
from excursions.records import Decision

_FACTORS = frozenset(
    [
        "factor",
        "factors",
        "scale",
        "scale factor",
        "scaling",
        "scaling factor",
        "multiplier",
        "resolution factor",
        "faktor",
        "skalierung",
        "skalierungsfaktor",
        "multiplikator",
        "facteur",
        "facteur d echelle",
        "echelle",
        "escala",
        "factor de escala",
        "multiplicador",
        "fator",
        "fator de escala",
        "fattore",
        "fattore di scala",
        "schaalfactor",
        "schaal",
        "skala",
        "wspolczynnik",
    ]
)
_OFFSETS = frozenset(
    [
        "offset",
        "offsets",
        "versatz",
        "decalage",
        "desplazamiento",
        "deslocamento",
        "scostamento",
        "przesuniecie",
    ]
)
_SIGNED = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*")
_FACTOR = re.compile(r"\s*[x*×]?\s*(\d+(?:[.,]\d+)?(?:[eE]-?\d{1,2})?)\s*")
_PART = r"(?P<factor>0[.,]\d{1,6}|1/10+|10\^?-\d|1[eE]-?0?\d)"
_TIMES = r"(?:\s*[*×]|(?:^|(?<=[\s\[(\])]))\s*x)\s?"  # the letter x only apart from the word before it: "Max.1" is no factor
_BEHIND = re.compile(
    rf"^(?P<said>.*?)\s*{_TIMES}{_PART}(?P<end>\s*[\])]?)$"
)  # "mS/cm x0.1", "Cond (mS/cm x 0.1)"
_BEFORE = re.compile(
    r"^(?P<start>(?:.*[\[(])?)\s*(?P<factor>0[.,]0{0,5}1|1/10+|10\^-\d)\s*[x*×]?\s*(?P<said>\D.*)$"
)  # "0.1 mS/cm", "1/10 °C", "Cond [0.1 mS/cm]"
_LOOSE = re.compile(
    rf"(?:{_TIMES}|÷\s?)(?P<factor>10+)(?=\s*(?:$|[\[(\])]))"
)  # "pH*100", "Cond x10 [uS/cm]", "T (÷10)"

Row = Sequence[str]


def is_scale(row: Row) -> bool:
    """Whether a row of the header holds factors or offsets: ``Factor;0.01;0.1``."""
    return _is_factors(row) or _is_offsets(row)


def _is_factors(row: Row) -> bool:
    return _is_row_of(row, _FACTORS, _FACTOR)


def _is_offsets(row: Row) -> bool:
    return _is_row_of(row, _OFFSETS, _SIGNED)


def _is_row_of(row: Row, names: frozenset[str], form: re.Pattern[str]) -> bool:
    others = [cell for cell in row[1:] if cell.strip()]
    return bool(row) and fold(row[0]) in names and bool(others) and all(map(form.fullmatch, others))


def scale_rows(extra: Sequence[tuple[str, ...]]) -> tuple[tuple[Row, Row], list[tuple[str, ...]]]:
    """The row of factors and, beside one, the row of offsets, each empty where there is none; and the other rows of a header."""
    factors = next((row for row in extra if _is_factors(row)), ())
    offsets = next((row for row in extra if factors and _is_offsets(row)), ())
    return (factors, offsets), [row for row in extra if row is not factors and row is not offsets]


def factors_within(
    rows: Sequence[Row], *, units_only: bool
) -> tuple[list[tuple[str, ...]], list[dict[int, float]]]:
    """Rows of a header without the factors that stand beside units in them, and those factors by their column.

    units_only : of rows other than the header itself, a factor counts beside a unit or alone
    """
    bare, found = [], []
    for row in rows:
        cells = [_split(cell, units_only=units_only) for cell in row]
        bare.append(tuple(text for text, _ in cells))
        found.append({at: factor for at, (_, factor) in enumerate(cells) if factor != 1.0})
    return bare, found


def _split(text: str, *, units_only: bool) -> tuple[str, float]:
    """A cell without the factor in it, and the factor; one above one stays in the cell, for it may belong to the name."""
    if loose := _LOOSE.search(text):
        return text, float(loose["factor"])
    for match in (_BEHIND.match(text), _BEFORE.match(text)):
        if match is None:
            continue
        parts = match.groupdict("")
        said = f"{parts.get('start', '')}{parts['said']}{parts.get('end', '')}".strip()
        unit = is_unit(said) or is_unit(re.sub(r"^.*[\[(]", "", said))
        if unit or (match.re is _BEHIND and (not units_only or not said)):
            return said, _number(parts["factor"])
    return text, 1.0


def _number(text: str) -> float:
    if text.startswith("1/"):
        return 1.0 / float(text[2:])
    if match := re.fullmatch(r"10\^?-(\d)", text):
        return float(f"1e-{match[1]}")
    return float(text.replace(",", "."))


def with_scale(column: Column, rows: tuple[Row, Row], within: Sequence[Mapping[int, float]]) -> Column:
    """A column with the factor and the offset that the header states for it."""
    factors, offsets = rows
    at = column.index
    factor = _FACTOR.fullmatch(factors[at]) if 0 < at < len(factors) else None
    offset = _SIGNED.fullmatch(offsets[at]) if 0 < at < len(offsets) else None
    beside = next((found[at] for found in within if at in found), 1.0)
    return replace(
        column,
        factor=_number(factor[1]) if factor else beside,
        offset=_number(offset[1]) if offset else 0.0,
        loose=factor is None and beside > 1.0,
    )


def scale_of(column: Column) -> tuple[float, float]:
    """Factor and offset that its numbers still need: whole ones, as counts of a recorder are, under a factor that says one thing."""
    return (column.factor, column.offset) if _are_whole(column) and not column.loose else (1.0, 0.0)


def _are_whole(column: Column) -> bool:
    return not any(re.search(r"\d[.,]\d", cell) for cell in column.cells)


def scale_decisions(subject: str, named: Sequence[tuple[str, Column]]) -> tuple[Decision, ...]:
    """What factors in the header did to columns of these names, told apart by whether their numbers still need them."""
    stated = [(name, c) for name, c in named if c.factor != 1.0 or c.offset]
    groups = (
        ("whole numbers were multiplied by their factor", "the header states it", lambda c: _are_whole(c) and not c.loose),
        ("numbers were not multiplied by the factor the header states", "they have digits behind the decimal mark already",
         lambda c: not _are_whole(c) and not c.loose),
        ("numbers were neither multiplied nor divided by the factor the header states",
         "it may say that they were multiplied by it, or that they are to be", lambda c: c.loose),
    )  # fmt: skip
    found = []
    for what, why, belongs in groups:
        names = ", ".join(
            f"{name} {c.factor:g}" + (f" {c.offset:+g}" if c.offset else "")
            for name, c in stated
            if belongs(c)
        )
        if names:
            found.append(
                Decision(subject=subject, what=f"{what}: {names}", why=why, option="take the factors out of the header, or export readings in their unit")
            )  # fmt: skip
    return tuple(found)


def parted_factors(columns: Sequence[Column]) -> tuple[list[Column], list[Column]]:
    """The columns that are named as factors and hold nothing else, and the others."""
    factors = [
        c
        for c in columns
        if fold(c.header) in _FACTORS and all(map(_FACTOR.fullmatch, filter(None, c.cells)))
    ]
    return factors, [c for c in columns if c not in factors]


def refuse_factors_a_row(factors: Sequence[Column], value: Column, line: int) -> None:
    """Refuse counts beside a factor in each row, which are no readings before they are multiplied.

    Raises
    ------
    InputFileError
        If a column of factors is not one throughout, and the values beside it are whole numbers.
    """
    for column in factors:
        if {cell for cell in column.cells if cell} - {"1", "1.0", "1,0"} and _are_whole(value):
            raise InputFileError(
                found=f'whole numbers in "{value.header}" beside a factor for each row in "{column.header}"', expected="readings in their unit",
                mend="multiply them first, or export the scaled readings", line=line or None, column=value.header,
            )  # fmt: skip
