"""Tables of a log in the shape the rest of the house reads: what no header says is found by the cells, or by the other headers."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from excursions.read.logs.actions import action_of
from excursions.read.logs.cells import Row
from excursions.read.logs.headers import FOUND, LEFT, Meaning, fold, meaning_of, phase_word
from excursions.read.logs.standards import standard_of
from excursions.read.logs.table import LogTable, cell_at
from excursions.read.text.fold import plain
from excursions.read.text.numbers import number_of
from excursions.read.text.vocabulary import DEVIATIONS, SERIALS, STANDARDS, VESSELS
from excursions.read.text.words import STATE_WORDS

_DEVIATIONS = re.compile(rf"\b(?:{'|'.join(sorted(DEVIATIONS))})\b")
_READ = ("raw", "value", "figure")
_MEASURED = (*_READ, "standard", "temperature")
_NAME = re.compile(r"(?=\S*\d)[A-Za-z][\w./-]*")


def with_deviations(table: LogTable) -> LogTable:
    """Columns of deviations, where nothing else in the table says what was read; a standard may be called by its unit there."""
    deviations = {
        at
        for at, meaning in enumerate(table.meanings)
        if meaning.kind in ("ignored", "") and _DEVIATIONS.search(fold(table.headers[at]))
    }
    named = {
        at
        for at, meaning in enumerate(table.meanings)
        if meaning.kind == "raw" and not meaning.phase and set(fold(table.headers[at]).split()) & STANDARDS
    }
    read = {at for at, meaning in enumerate(table.meanings) if meaning.kind in _READ}
    if not deviations or read - named:
        return table
    meanings = [
        replace(meaning, kind="deviation", phase=meaning_phase(table.headers[at])) if at in deviations
        else replace(meaning, kind="standard") if at in named else meaning
        for at, meaning in enumerate(table.meanings)
    ]  # fmt: skip
    return replace(table, meanings=tuple(meanings))


def meaning_phase(header: str) -> str:
    """The phase that the words of a header say, whatever else they say."""
    words = re.sub(_DEVIATIONS, " value ", fold(header))
    return meaning_of(words).phase


def with_standards(table: LogTable) -> LogTable:
    """Find the column of standards by its cells, ``air`` and ``zero`` or buffers, where no header names it."""
    if any(m.kind == "standard" for m in table.meanings) or not any(
        m.kind in ("raw", "value") and not m.fixed for m in table.meanings
    ):
        return table
    for at, meaning in enumerate(table.meanings):
        cells = [cell for row in table.rows if (cell := cell_at(row, at))]
        if meaning.kind in ("", "model", "measurand") and cells and all(map(_is_word_of_standard, cells)):
            changed = [Meaning(kind="standard") if i == at else m for i, m in enumerate(table.meanings)]
            return replace(table, meanings=tuple(changed))
    return table


def without_counts(table: LogTable) -> LogTable:
    """Of two columns of standards the one that counts them, ``Buffer`` 1 and 2 beside ``Nominal`` 7.00 and 4.01, is none."""
    places = [at for at in table.columns("standard") if not table.meanings[at].index]
    if len(places) < 2:
        return table
    counting = [at for at in places if _counts([cell_at(row, at) for row in table.rows])]
    if not counting or len(counting) == len(places):
        return table
    meanings = [Meaning(kind="ignored") if at in counting else m for at, m in enumerate(table.meanings)]
    return replace(table, meanings=tuple(meanings))


def _counts(cells: Sequence[str]) -> bool:
    """Whether the numbers among the first cells are 1, 2, ... and begin anew at the most."""
    numbers = [int(cell) for cell in cells if cell.isdecimal()]
    steps = [b - a == 1 or b == 1 for a, b in pairwise(numbers)]
    return len(numbers) > 1 and numbers[0] == 1 and all(steps) and max(numbers) > 1


def _is_word_of_standard(text: str) -> bool:
    found = standard_of(text)
    return found is not None and found.label in ("air", "zero", "zobell", "light", "quinhydrone")


def named_by_letters(table: LogTable) -> LogTable:
    """Of two columns that name points, the one with names goes before the one with numbers of an inventory."""
    points = table.columns("point")
    lettered = [at for at in points if any(char.isalpha() for row in table.rows for char in cell_at(row, at))]
    if len(points) < 2 or not lettered or points[0] in lettered:
        return table
    meanings = [
        Meaning() if at in points and at not in lettered else m for at, m in enumerate(table.meanings)
    ]
    return replace(table, meanings=tuple(meanings))


_SERIAL = re.compile(rf"\b(?:{'|'.join(sorted(SERIALS))}|s\s?[/.]\s?n|ser|nr|no|id)\b")


def by_serials(table: LogTable) -> LogTable:
    """Of several columns about the probe, ``Probe pos`` beside ``Probe serial``, the one that says serial number is it."""
    probes = table.columns("probe")
    serials = [at for at in probes if _SERIAL.search(fold(table.headers[at]))]
    if not serials:
        return table
    meanings = [Meaning() if at in probes and at not in serials else m for at, m in enumerate(table.meanings)]
    return replace(table, meanings=tuple(meanings))


def _is_a_name(cell: str) -> bool:
    return bool(_LIKE_A_TAG.fullmatch(cell)) and number_of(cell, comma=False) is None


def with_cells(table: LogTable) -> LogTable:
    """A column called ``Cell`` that holds names, ``Z8``, and no constants names the probe."""
    if table.columns("probe"):
        return table
    for at, meaning in enumerate(table.meanings):
        cells = [cell for row in table.rows if (cell := cell_at(row, at))]
        if meaning.figure == "cell_constant" and cells and all(map(_is_a_name, cells)):
            changed = [Meaning(kind="probe") if i == at else m for i, m in enumerate(table.meanings)]
            return replace(table, meanings=tuple(changed))
    return table


_PART = r"[<>~]?[+-]?\d[\d.,]*\s*[^\d\s>/]{0,6}"
_ARROW = re.compile(rf"({_PART})\s*(?:[-=–]*>+|→|»)\s*({_PART})")
_SLASH = re.compile(rf"({_PART})\s*[/|]\s*({_PART})")
_MOSTLY = 0.5  # of the cells of a column; one arrow among figures is a slip or a remark


def with_pairs(table: LogTable) -> LogTable:
    """Columns of cells such as ``95.1 -> 98.7``, or ``95.1 / 98.7`` under words for both, as one found and one left.

    A figure alone in such a column was found; nothing says that it was left.
    """
    for at in reversed(range(len(table.headers))):
        meaning, cells = table.meanings[at], [cell_at(row, at) for row in table.rows]
        if meaning.kind not in _READ:
            continue
        both = {phase_word(word) for word in re.findall(r"[a-z]+", fold(table.headers[at]))} >= {FOUND, LEFT}
        pairs = [_ARROW.fullmatch(cell) or (both and _SLASH.fullmatch(cell)) or None for cell in cells]
        if sum(map(bool, pairs)) <= _MOSTLY * sum(map(bool, cells)):
            continue
        parts = [(pair[1], pair[2]) if pair else (cell, "") for pair, cell in zip(pairs, cells, strict=True)]
        table = replace(
            table,
            headers=(*table.headers, f"{table.headers[at]} (left)"),
            meanings=(
                *table.meanings[:at], replace(meaning, phase=FOUND), *table.meanings[at + 1 :], replace(meaning, phase=LEFT)
            ),
            rows=tuple(_with_pair(row, at, pair, len(table.headers)) for row, pair in zip(table.rows, parts, strict=True)),
        )  # fmt: skip
    return table


def _with_pair(row: Row, at: int, pair: tuple[str, str], width: int) -> Row:
    cells = [cell_at(row, place) for place in range(width)]
    cells[at] = pair[0].strip()
    return Row(row.line, (*cells, pair[1].strip()))


# A cross drawn beside ticks says no; one in a box of a form, or a letter x, says that it was done.
_TICKED, _BLANK = frozenset("x✓✔☑☒") | {"xx", "j", "1"}, frozenset("☐□✗✘-0")
_FIGURES = ("figure", "standard", "raw", "temperature")


def _ticks(cell: str) -> bool | None:
    """Whether a box is ticked, or answered by yes; None where the cell holds something else."""
    said = plain(cell).strip("[]() ").casefold()
    if said in _TICKED or said in _BLANK or not said:
        return said in _TICKED
    return bool(STATE_WORDS[said]) if said in STATE_WORDS else None


def with_ticks(table: LogTable) -> LogTable:
    """Columns named after work, ``Verified``, ``Adjusted (Y/N)``, with a tick where it was done, as one column of actions.

    Where a log says that nothing was adjusted, and nothing else that was done, the figures are those of a verification.
    """
    if table.columns("action"):
        return table
    boxes = []
    for at, header in enumerate(table.headers):
        if table.meanings[at].kind in _FIGURES or table.meanings[at].unit:
            continue  # "Zero calibration [mV]": a figure of 0 or 1 is no box
        ticks = {cell: _ticks(cell) for row in table.rows if (cell := cell_at(row, at))}
        if ticks and None not in ticks.values() and action_of(header):
            boxes.append(at)
    if not boxes:
        return table
    rows = []
    for row in table.rows:
        done = [table.headers[at] for at in boxes if _ticks(cell_at(row, at))]
        denied = any(cell_at(row, at) and action_of(table.headers[at]) == "calibration" for at in boxes)
        cells = [cell_at(row, at) for at in range(len(table.headers))]
        rows.append(Row(row.line, (*cells, ", ".join(done) or ("verification" if denied else ""))))
    meanings = [Meaning(kind="ignored") if at in boxes else m for at, m in enumerate(table.meanings)]
    action = "/".join(table.headers[at] for at in boxes)
    return replace(
        table,
        headers=(*table.headers, action),
        meanings=(*meanings, Meaning(kind="action")),
        rows=tuple(rows),
    )


_LIKE_A_TAG = re.compile(r"(?=.*\d)(?=.*[^\W\d_])[\w./-]{2,24}")
_OFTEN = 2  # calibrations of a point, on average, from which a column of names repeats itself as no number of a form does


def with_points(table: LogTable) -> LogTable:
    """Find the column of points where no header says so: one called after vessels, or names such as ``QT-101`` on several rows."""
    if table.columns("point") or "point" in table.above:
        return table
    found = [at for at, m in enumerate(table.meanings) if not m.kind and _names_vessels(table.headers[at])]
    if not found and not table.columns("probe") and "probe" not in table.above:
        found = _named_again(table)
    if len(found) != 1:
        return table
    meanings = [Meaning(kind="point") if at in found else m for at, m in enumerate(table.meanings)]
    return replace(table, meanings=tuple(meanings))


def _names_vessels(header: str) -> bool:
    said = set(fold(header).split())
    return bool(said) and said <= VESSELS


def _named_again(table: LogTable) -> list[int]:
    """Columns of names, most of them on several rows, as no number of a form is."""
    found = []
    for at, meaning in enumerate(table.meanings):
        cells = [cell_at(row, at) for row in table.rows]
        named = bool(cells) and all(map(_LIKE_A_TAG.fullmatch, cells))
        if not meaning.kind and named and len(cells) >= _OFTEN * len(set(cells)):
            found.append(at)
    return found


def by_points(table: LogTable) -> LogTable:
    """A table whose headers begin with the names of points, ``F1-PH slope``, ``F2-PH slope``: a row each.

    Only where no column names the point, and the same columns stand there for each of several names.
    """
    if table.columns("point") or table.columns("probe"):
        return table
    split = [_name_and_rest(header) for header in table.headers]
    found = [
        (at, *parts) for at, parts in enumerate(split) if parts and meaning_of(parts[1]).kind in _MEASURED
    ]
    names = list(dict.fromkeys(name for _, name, _ in found))
    rests = list(dict.fromkeys(rest for _, _, rest in found))
    counts = Counter(rest for _, _, rest in found)
    others = [at for at, meaning in enumerate(table.meanings) if split[at] is None]
    loose = [
        at for at, meaning in enumerate(table.meanings) if meaning.kind in _MEASURED and split[at] is None
    ]
    if len(names) < 2 or min(counts.values()) < 2 or loose:
        return table
    place = {(name, rest): at for at, name, rest in found}
    rows = []
    for row in table.rows:
        for name in names:
            cells = [cell_at(row, place[name, rest]) if (name, rest) in place else "" for rest in rests]
            if any(cells):
                rows.append(Row(row.line, (*(cell_at(row, at) for at in others), name, *cells)))
    return replace(
        table,
        headers=(*(table.headers[at] for at in others), "Point", *rests),
        meanings=(*(table.meanings[at] for at in others), Meaning(kind="point"), *map(meaning_of, rests)),
        rows=tuple(rows),
    )


_TAG = re.compile(r"([A-Z]{1,5})[-_.]\d{2,5}[A-Z]?|([A-Z]{2,5})\d{2,5}[A-Z]?")
_NO_NAMES = frozenset(("ph", "mv", "ntu", "fnu", "std", "buf", "na", "us", "ms", "co", "pt"))


def _name_and_rest(header: str) -> tuple[str, str] | None:
    """``F1-PH slope [mV/pH]`` as the name of a point and what is said of it; None where it begins otherwise."""
    first, _, rest = plain(header).strip().partition(" ")
    if not rest.strip() or not _NAME.fullmatch(first):
        return None
    tag = _TAG.fullmatch(first)  # "QT101" has a number in it, but is no standard of 101
    if meaning_of(first).kind and (tag is None or (tag[1] or tag[2]).casefold() in _NO_NAMES):
        return None
    return first, rest.strip()
