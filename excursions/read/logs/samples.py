"""Laboratory (grab) samples: value, time and the point they were drawn at; a row a sample, or a column a point."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.exports.times.timeshapes import shape_of
from excursions.read.logs import samplewords as w
from excursions.read.logs.cells import Row, Sheet, read_cells
from excursions.read.logs.gathered import Gathered
from excursions.read.logs.headers import Meaning, fold, meaning_of, unit_in
from excursions.read.logs.table import (
    LogTable,
    cell_at,
    column_decision,
    find_table,
    is_date,
    is_point_like,
)
from excursions.read.model import REFUSED_SCHEMA, ReadOptions
from excursions.read.text.fold import plain
from excursions.read.text.numbers import is_nothing, number_of
from excursions.read.text.units import is_quantity, pretty
from excursions.read.text.vocabulary import VESSELS
from excursions.records import Decision, LabSample


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleReading:
    """Samples as read, in the order of the file: rows == used + refused rows.

    `LabSample.point` is the point or tag as written, `LabSample.unit` the unit as written or empty.
    """

    path: Path
    sha256: str = ""
    samples: tuple[LabSample, ...] = ()
    refused: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=REFUSED_SCHEMA))
    decisions: tuple[Decision, ...] = ()
    problems: tuple[ExcursionsError, ...] = ()
    rows: int = 0
    used: int = 0
    headers: tuple[str, ...] = ()


_SAMPLED = re.compile(
    r"sampl|probe?nahme|entnahme|gezogen|prelev|muestre|amostrag|drawn|taken|provtag|provetag|monstername|campionament|pobor"
)


def sample_meanings(headers: Sequence[str]) -> list[Meaning]:
    """Read the headers of a list of samples; what no word explains is a column of values for a point of that name."""
    found = _means([_meaning(header) for header in headers], headers)
    pure = [m.kind == "value" and _only_value(header) for header, m in zip(headers, found, strict=True)]
    if sum(pure) > 1:  # "Analysis" beside "Result" says which, not how much
        asked = [only and _is_analysis(header) for header, only in zip(headers, pure, strict=True)]
        if sum(asked) < sum(pure):
            found = [Meaning(kind="measurand") if here else m for m, here in zip(found, asked, strict=True)]
            pure = [only and not here for only, here in zip(pure, asked, strict=True)]
    found = _of_the_sampling(found, headers)
    several = sum(m.kind == "value" or (m.kind == "wide" and bool(m.unit)) for m in found)
    if not any(pure) and several > 1:
        return [replace(m, kind="wide") if m.kind == "value" else m for m in found]
    if any(pure):
        found = [
            Meaning() if m.kind == "value" and not only else m for m, only in zip(found, pure, strict=True)
        ]
    if any(meaning.kind == "value" for meaning in found):
        return [Meaning() if m.kind == "wide" else m for m in found]
    return found if any(m.kind == "wide" for m in found) else _of_samples(found, headers)


def _of_samples(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """The one column called "sample" of a list without any other value: what was found in it, not which it was."""
    read = [unit_in(fold(header)) for header in headers]
    words = [set(re.findall(r"[a-z]+", rest)) for rest, _ in read]
    called = [at for at, of in enumerate(words) if of and of <= w.SAMPLES]
    if len(called) != 1:
        return found
    return [Meaning(kind="value", unit=read[at][1]) if at == called[0] else m for at, m in enumerate(found)]


def _of_the_sampling(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """Of several dates, and of several clocks, the one that the sample was drawn at; the others are of its way through the laboratory."""
    kept = list(found)
    for kind in ("time", "clock"):
        places = [at for at, meaning in enumerate(found) if meaning.kind == kind]
        drawn = [at for at in places if _SAMPLED.search(fold(headers[at]))]
        if (
            kind == "time"
            and len(drawn) > 1
            and _DAY.search(fold(headers[drawn[0]]))
            and not _DAY.search(fold(headers[drawn[1]]))
        ):
            kept[drawn[1]] = Meaning(kind="clock")  # "Provtagningsdatum", "Provtagningstid"
            places.remove(drawn[1])
        if drawn and len(places) > 1:
            kept = [
                Meaning(kind="ignored") if at in places and at != drawn[0] else m for at, m in enumerate(kept)
            ]
    return kept


_DAY = re.compile(r"dat(?:um|e|o|a)|fecha|\bjour|dag\b|tag\b")
_SINGLE = re.compile(
    r"\b(?:rep|repl|replicate|run|det|determination|single|messung|bestimmung|einzelwert|wdh|wiederholung|essai|prueba|prova|meting)\w* ?[.#-]? ?(?:\d+|[a-d])$"
)


def _means(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """A mean beside the single determinations it is of is the value; those are none."""
    folded = [unit_in(fold(header))[0] for header in headers]
    single = {at: _SINGLE.sub("", text).strip() for at, text in enumerate(folded) if _SINGLE.search(text)}
    mean = {
        at: text.rpartition(" ")[0] for at, text in enumerate(folded) if text.rpartition(" ")[2] in w.MEANS
    }
    changed = list(found)
    for at, of in mean.items():
        own = [other for other, name in single.items() if name == of]
        if not own or list(mean.values()).count(of) > 1:
            continue
        changed[at] = replace(found[at], kind="wide" if of else "value")
        for other in own:
            changed[other] = Meaning(kind="ignored")
    return changed


def _only_value(header: str) -> bool:
    """Whether a header says "value" and nothing of what is measured."""
    return not set(re.findall(r"[a-z]+", unit_in(fold(header))[0])) - w.VALUES - w.MEANS - {"the", "of", "in"}


_ANALYSES = frozenset(["analysis", "analyse", "analisi", "analisis", "analiza"])


def _is_analysis(header: str) -> bool:
    return set(re.findall(r"[a-z]+", unit_in(fold(header))[0])) <= _ANALYSES


_NOT_THE_LABORATORY = frozenset(
    ["online", "inline", "on", "display", "anzeige", "transmitter", "process", "prozess", "dcs", "sensor"]
)
_NUMBERS = frozenset(["no", "nr", "id", "number", "nummer", "num"])
_COUNTS = re.compile(rf"(?:^|[\s_./-])(?:{'|'.join(sorted(_NUMBERS))})\.?$")  # "LIMS-Nr"; "NO3" is none


def _meaning(header: str) -> Meaning:
    rest, unit = unit_in(fold(header))
    words = set(re.findall(r"[a-z]+", rest))
    if not words:
        return Meaning()
    if words & (_NUMBERS | {"code", "lfd"}) and words & (w.VALUES | {"sample", "probe", "proben"}):
        return Meaning(kind="ignored")
    if _COUNTS.search(rest):
        return Meaning(kind="ignored")
    if words & w.VALUES and words & _NOT_THE_LABORATORY:
        return Meaning(kind="ignored")
    if rest.replace(" ", "") == "u.m.":
        return Meaning(kind="value_unit")
    if words == {"um"}:
        return Meaning(kind="clock")
    if words <= VESSELS:
        return Meaning(kind="point", unit=unit)
    if words <= w.TESTS:
        return Meaning(kind="measurand")
    if words & w.UNITS:
        return Meaning(kind="value_unit")
    read = meaning_of(header)
    if _SAMPLED.search(rest) and read.kind in ("", "time", "clock", "point", "probe"):
        return _of_sampling(words, read)
    if read.kind in (
        "time",
        "clock",
        "point",
        "comment",
        "ignored",
        "result",
        "temperature",
        "measurand",
    ) and not (read.kind == "result" and words & w.VALUES):
        return read
    if words & w.VALUES:
        return Meaning(kind="value", unit=unit)
    return Meaning(kind="wide", unit=unit)


def _of_sampling(words: set[str], read: Meaning) -> Meaning:
    """``sample time`` and ``sampled at`` are times, ``sample point`` is a point, ``sample no`` is neither."""
    if read.kind in ("time", "clock", "point"):
        return read
    if words & (_NUMBERS | {"type"}):
        return Meaning(kind="ignored")
    if any(word.endswith("zeit") for word in words):
        return Meaning(kind="clock")  # "Probenahmezeit"
    alone = not words - {
        "sampled",
        "entnahme",
        "probenahme",
        "probennahme",
        "gezogen",
        "muestreo",
        "amostragem",
        "prelevement",
    }
    timed = alone or words & {"at", "am", "taken", "drawn", "gezogen", "on", "le"}
    return Meaning(kind="time") if timed else Meaning(kind="ignored")


@dataclass(kw_only=True)
class _List(Gathered):
    """What has been gathered from one file so far."""

    samples: list[LabSample] = field(default_factory=list)
    mark: str = ""
    tests: bool = False
    lost: dict[int, list[tuple[int, str]]] = field(default_factory=dict)

    def commented(self, comment: str) -> str:
        """A comment with the mark of the row's time behind it."""
        return "; ".join(text for text in (comment, self.mark) if text)


def read_samples(
    path: Path, *, options: ReadOptions | None = None, columns: Mapping[str, str] | None = None
) -> SampleReading:
    """Read a list of laboratory samples.

    Parameters
    ----------
    path : Path
        A row a sample (time, point or tag, value, and if given unit and comment), or a column a point.
    options : ReadOptions
        Zone, order of dates, decimal mark, separator and encoding where the user states them.
    columns : mapping of meaning to header
        Overrules what is guessed: ``{"value": "Result", "point": "Station"}``.

    Returns
    -------
    SampleReading
        Every row is used or refused with a reason; values below a limit (``<0.1``) are refused, because
        nobody knows them.
    """
    chosen = options or ReadOptions()
    try:
        content = read_cells(path, chosen)
    except InputFileError as error:
        return SampleReading(path=path, problems=(error.at(file=str(path)),))
    gathered = _List(file=str(path), options=chosen)
    tables = [t for sheet in content.sheets if (t := sample_table(sheet, columns or {}))]
    for table in tables:
        _read_table(gathered, table)
    if not tables:
        gathered.problems.append(_no_table(str(path), content.sheets))
    return SampleReading(
        path=path,
        sha256=content.sha256,
        samples=tuple(gathered.samples),
        refused=pl.DataFrame(gathered.refused, schema=REFUSED_SCHEMA),
        decisions=tuple(gathered.decisions),
        problems=tuple(gathered.problems),
        rows=gathered.rows,
        used=gathered.rows - len(gathered.refused),
        headers=tuple(header for table in tables for header in table.headers),
    )


def sample_table(sheet: Sheet, columns: Mapping[str, str]) -> LogTable | None:
    """The list in a sheet; where no header names the time, the first column is it if dates stand below its header."""
    table = find_table(sheet, columns, read=sample_meanings)
    if table is not None or "time" in columns:
        return table
    header = _over_dates(sheet.rows[:_HEAD_ROWS])
    return find_table(sheet, {**columns, "time": header}, read=sample_meanings) if header else None


_HEAD_ROWS = 12


def _over_dates(rows: Sequence[Row]) -> str:
    """The first header of a row of names with a date below it, or empty."""
    for row, below in pairwise(rows):
        names = [cell for cell in row.cells if cell]
        lettered = all(re.search(r"[^\W\d_]", cell) and not is_date(cell) for cell in names)
        if row.cells[:1] == tuple(names[:1]) and len(names) > 1 and lettered and is_date(below.cells[0]):
            return names[0]
    return ""


def _no_table(file: str, sheets: Sequence[Sheet]) -> InputFileError:
    rows = [row for sheet in sheets for row in sheet.rows[:_HEAD_ROWS]]
    across = next((row for row in rows if sum(shape_of(cell) is not None for cell in row.cells) > 1), None)
    if across is not None:
        return InputFileError(
            found="dates side by side in one row", expected="a row a sample, with its date",
            mend="swap rows and columns (transpose) and save again", file=file, line=across.line,
        )  # fmt: skip
    return InputFileError(
        found="no row that looks like the header of a list of samples",
        expected="a header with time, point (or tag) and value",
        mend="name the columns with --columns, for example --columns value=Result",
        file=file,
        line=1,
    )


def _read_table(gathered: _List, table: LogTable) -> None:
    gathered.decisions.append(column_decision(gathered.file, table))
    comma, moments = gathered.begin(table)
    wide = table.columns("wide") if not table.columns("value") else []
    gathered.tests = _several_tests(table)
    for at, (row, time) in enumerate(zip(table.rows, moments.time, strict=True)):
        gathered.mark = moments.marks.get(at, "")
        if time is None:
            gathered.refuse(row, _dateless(table, row), "time")
        elif taken_back := _taken_back(table, row):
            gathered.refuse(row, f'the list says "{taken_back}" of it: not used')
        elif wide:
            _take_wide(gathered, table, row, time, wide, comma)
        else:
            _take_long(gathered, table, row, time, comma)
    _tell_lost(gathered, table)


def _dateless(table: LogTable, row: Row) -> str:
    empty = not table.cell(row, "time") and not table.cell(row, "clock")
    return "no date: fill it in on every row" if empty else "no date that can be read"


def _taken_back(table: LogTable, row: Row) -> str:
    """The word in a column of states by which the laboratory takes a result back, or empty."""
    for at, meaning in enumerate(table.meanings):
        cell = cell_at(row, at)
        if meaning.kind in ("", "ignored", "result", "phase") and plain(cell).casefold() in w.WITHDRAWN:
            return cell
    return ""


def _tell_lost(gathered: _List, table: LogTable) -> None:
    """What stood in cells where numbers belong, a sentence for each column."""
    for at, cells in sorted(gathered.lost.items()):
        words = list(dict.fromkeys(cell for _, cell in cells))
        said = ", ".join(f'"{word[:40]}"' for word in words[:3]) + (
            " and other texts" if len(words) > 3 else ""
        )
        left = "this cell is" if len(cells) == 1 else f"these {len(cells)} cells are"
        gathered.problems.append(
            InputFileError(
                found=said, expected="a number; of a limit nobody knows the value", mend=f"{left} left out; the rest of {'the row' if len(cells) == 1 else 'their rows'} is used",
                file=gathered.file, line=cells[0][0], column=table.headers[at],
            )
        )  # fmt: skip
    gathered.lost.clear()


def _several_tests(table: LogTable) -> bool:
    """Whether one place has results of more than one test: then a place alone is no point."""
    seen: dict[str, set[str]] = {}
    if not table.columns("measurand"):
        return False
    for row in table.rows:
        seen.setdefault(table.cell(row, "point"), set()).add(table.cell(row, "measurand"))
    return any(len(tests) > 1 for tests in seen.values())


_NOWHERE = "no point and no tag; name their column with --columns point=HEADER"


def _take_long(gathered: _List, table: LogTable, row: Row, time: int, comma: bool) -> None:
    point = table.cell(row, "point") or (table.name if is_point_like(table.name) else "")
    if gathered.tests:
        point = f"{point} {table.cell(row, 'measurand')}".strip()
    cell = table.cell(row, "value")
    number = None if is_nothing(cell) else number_of(cell, comma=comma)
    if not point:
        gathered.refuse(row, _NOWHERE, "point")
    elif number is None:
        gathered.refuse(row, f'no number: "{cell[:40]}"' if cell else "no value", "value")
    elif cell.lstrip()[:1] in "<>":
        gathered.refuse(row, f'only a limit is known: "{cell[:40]}"', "value")
    else:
        header_unit = next((m.unit for m in table.meanings if m.kind == "value"), "")
        stated = table.cell(row, "value_unit")
        unit = ("" if is_nothing(stated) else stated) or pretty(number[1] or header_unit)
        comment = gathered.commented(table.cell(row, "comment"))
        gathered.samples.append(
            LabSample(point=point, time=time, value=number[0], unit=unit, comment=comment, line=row.line)
        )


def _take_wide(
    gathered: _List, table: LogTable, row: Row, time: int, wide: Sequence[int], comma: bool
) -> None:
    comment = gathered.commented(table.cell(row, "comment"))
    found = 0
    lost: list[tuple[int, str]] = []
    for at in wide:
        cell = cell_at(row, at)
        number = None if is_nothing(cell) or cell.lstrip()[:1] in "<>" else number_of(cell, comma=comma)
        if number:
            name, unit = _name_of(table.headers[at])
            if place := table.cell(row, "point") or (
                table.name if is_point_like(table.name) and is_quantity(name) else ""
            ):
                name = f"{place} {name}" if len(wide) > 1 else place
            sample = LabSample(
                point=name,
                time=time,
                value=number[0],
                unit=pretty(number[1]) or unit or pretty(table.meanings[at].unit),
                comment=comment,
                line=row.line,
            )
            gathered.samples.append(sample)
            found += 1
        elif not is_nothing(cell):
            lost.append((at, cell))
    if not found:
        gathered.refuse(row, "no number in any column of values")
        return
    for at, cell in lost:
        gathered.lost.setdefault(at, []).append((row.line, cell))


def _name_of(header: str) -> tuple[str, str]:
    """Name of the point and unit in a header such as ``QT101 [pH]``."""
    match = re.match(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$", header)
    if match and match[1] and unit_in(fold(header))[1]:
        return match[1].strip(), match[2].strip()
    return header.strip(), ""
