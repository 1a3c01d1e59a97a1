"""Times that are counted: since a start that stands above the table or in the header, or by a step from row to row.

Such a table is held in memory and written out with whole times; it is then read like any other.  Without a start, or
without a unit, nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, TimeArray
from excursions.read.exports.cells.headerrows import trimmed
from excursions.read.exports.cells.sheet import Sheet, key_values
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.layouts.plan import NoReadingsError
from excursions.read.exports.times.numbertimes import as_number_time, parse_numbers
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeplan import TimePlan
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.read.text.fold import plain
from excursions.read.text.words import fold
from excursions.records import Decision

ELAPSED = re.compile(
    r"(?:elapsed|run ?time|uptime|time since|seconds since|since start|laufzeit|dauer|temps ecoule|duree|tiempo transcurrido|duration|"
    r"relative time|rel time|time rel|process time|batch time|batch age|age|culture time|fermentation time|prozesszeit|versuchszeit|"
    r"kulturzeit|fermentationszeit|relativzeit|tempo decorrido|tempo trascorso|verstreken tijd|forfluten tid|経過時間|培養時間|运行时间)\b.*"
)
_SINCE = re.compile(r"(?i)\b(?:since|after|seit|depuis|desde|dal|ab|from)\b:?\s+(\d.*?)[\])]?$")
START = re.compile(
    r"(?:(?:recording|acquisition|batch|run|test|measurement|log|data|process|export)? ?(?:start|started|begin|began|beginning)(?: (?:time|date|at|on|datetime|date time|timestamp|"
    r"date and time|of (?:recording|run|batch|test|acquisition|measurement)))*|t0|t 0|time zero|starttime|from|first(?: time)?|inoculation(?: time)?|first sample|startzeit|startzeitpunkt|startdatum|beginn|"
    r"anfang|beginn der (?:aufzeichnung|messung)|start der (?:aufzeichnung|messung)|debut|heure de debut|date de debut|inicio|hora de inicio|fecha de inicio|hora inicio|inizio|ora inizio|"
    r"data inizio|starttijd|begintijd|starttid|poczatek|start rejestracji|開始|開始時刻|開始日時|开始时间)"
)
STEP = re.compile(
    r"(?:(?:sampling|sample|scan|log|logging|recording|time|data|update)? ?(?:interval|step|period|resolution)|dt|delta t|time between samples|intervall|abtastintervall|"
    r"abtastzeit|abtastrate|messintervall|schrittweite|zeitschritt|zeitraster|takt|intervalle|pas de temps|periode|intervalo|paso|passo|intervallo|passo temporale|"
    r"intervaltijd|krok|odstep|サンプリング間隔|間隔|采样间隔|间隔)(?: [a-z]+)?"
)
# A unit by its spellings, in ns.
_UNITS: dict[str, int] = {
    word: size
    for size, words in (
        (1_000_000, "ms msec milliseconds millisecond millisekunden"),
        (NS_PER_S, "s sec secs second seconds sek sekunden sekunde seconde secondes segundo segundos secondi secondo seconden sekund 秒"),
        (60 * NS_PER_S, "min mins minute minutes minuten minuto minutos minuti minuut minuter minut 分 分钟"),
        (NS_PER_HOUR, "h hr hrs hour hours std stunde stunden heure heures hora horas ora ore uur uren timme timmar godz 時間 小时"),
        (NS_PER_DAY, "d day days tag tage jour jours dia dias giorno giorni dag dagen dni 日 天"),
    )
    for word in words.split()
}  # fmt: skip
_CLOCK = re.compile(r"(\d+):([0-5]?\d)(?::([0-5]?\d)(?:[.,](\d{1,9}))?)?")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_ISO_STEP = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")
_HEAD_ROWS = 60
_FEWEST = 3
_DIGITS, _DIGITS_OF_ONE = 15, 10**15  # of a fraction
_SECONDS = 3  # parts of a clock with seconds


@dataclass(frozen=True, slots=True)
class Start:
    """Where the count begins: ns, whether that is UTC, and the text that says so."""

    time: int
    zoned: bool
    text: str


def counted(table: Table, sheet: Sheet | None, name: str, order: str) -> tuple[BlockTable, Decision] | None:
    """The table with a time in each row, and what was done; None where no times are counted or nothing says from when.

    Parameters
    ----------
    order : how the user says that dates are written, or empty

    Raises
    ------
    InputFileError
        If the start can be read in two ways, or rows of a table counted by a step are missing.
    """
    found = _since(table, sheet, name, order)
    return found if found is not None or sheet is not None else _stepped(table, name, order)


def are_counted(rows: Sequence[Row]) -> bool:
    """Whether the first rows promise counted times: a column named so among others, or a start and a step."""
    if any(
        trimmed(row.cells) > 1 and any(ELAPSED.fullmatch(fold(cell)) for cell in row.cells) for row in rows
    ):
        return True
    said = key_values(rows)
    return bool(_step_of(said)) and _start_of(said) is not None


def _since(table: Table, sheet: Sheet | None, name: str, order: str) -> tuple[BlockTable, Decision] | None:
    """A column of times counted from a start."""
    rows = table.preview.rows[:_HEAD_ROWS]
    above = rows if sheet is None else [row for row in rows if row.line < sheet.first_line]
    at, column = next(
        (
            (at, column)
            for at, row in enumerate(above)
            for column, cell in enumerate(row.cells)
            if trimmed(row.cells) > 1 and (ELAPSED.fullmatch(fold(cell)) or _stated(cell) is not None)
        ),
        (-1, -1),
    )
    if table.preview.header or at < 0 or at + 1 >= len(rows):
        return None
    if sheet is not None and any(c.is_time for c in sheet.columns):
        return None  # beside written times a duration is a signal, or nothing
    header, text = rows[at], rows[at].cells[column]
    start = _stated(text) or _start_of(key_values(rows[:at]))
    cells = [row.cells[column].strip() for row in rows[at + 1 :] if column < len(row.cells)]
    if start is None or not _are_counts(cells, text):
        return None
    begin = start_in(start, order, header.line)
    kept = held(table, max(trimmed(row.cells) for row in table.preview.rows)).since(header.line + 1)
    key = str(column)
    frame = kept.frame.with_columns(_written(kept.frame[key], begin, text).alias(key))
    # The lines that give the start have said what they had to; beside the header they would pass for one.
    head = [row for row in rows[:at] if not any(text in start for text in key_values([row]).values())]
    head.append(
        Row(header.line, tuple("time" if i == column else cell for i, cell in enumerate(header.cells)))
    )
    block = rewritten(table, head, replace(kept, frame=frame))
    return block, _decision(name, f'column "{text.strip()}" is counted from {begin.text}', "the file says so")


def _stepped(table: Table, name: str, order: str) -> tuple[BlockTable, Decision] | None:
    """Readings a row, without times, under a start and a step."""
    rows = [row for row in table.preview.rows if any(cell.strip() for cell in row.cells)]
    first = next(
        (at for at in range(len(rows)) if all(map(_is_readings, rows[at : at + _FEWEST]))), len(rows)
    )
    said = key_values(rows[:first])
    start, step = _start_of(said), _step_of(said)
    if len(rows) - first < _FEWEST or start is None or not step:
        return None
    begin = start_in(start, order, rows[0].line)
    top = rows[first - 1]
    keys = key_values([top])
    named = (
        _start_of(keys) is None
        and not _step_of(keys)
        and not any(re.search("[:=]", cell) for cell in top.cells)
    )
    kept = held(table, max(trimmed(row.cells) for row in rows[first:])).since(rows[first].line)
    lines = kept.lines
    readings = np.array(
        [_is_readings(Row(0, tuple(cell or "" for cell in row))) for row in kept.frame.iter_rows()]
    )
    count = int(
        readings.size - np.argmax(readings[::-1])
    )  # up to the last reading: what follows it is a footer
    if any(b != a + 1 for a, b in pairwise(lines[:count].tolist())) or not readings[:count].all():
        raise NoReadingsError(
            found="readings counted by a step, with lines between them that hold none", expected="a reading in each line, or a time",
            mend="export with a time in each row", line=rows[first].line,
        )  # fmt: skip
    texts = [text if i < count else None for i, text in enumerate(steps_from(begin, step, lines.size))]
    frame = kept.frame.insert_column(0, pl.Series("time", texts, pl.String))
    titles = top.cells if named else ["value"]
    head = [row for row in rows[:first] if row is not top or not named]
    head.append(Row(rows[first].line - 1, ("time", *titles)))
    block = rewritten(table, head, replace(kept, frame=frame))
    block = replace(block, separator=block.separator or ",")
    seconds = step / NS_PER_S
    return block, _decision(
        name,
        f"a row every {seconds:g} s from {begin.text}",
        "the start and the step stand above the readings",
    )


def _decision(name: str, what: str, why: str) -> Decision:
    return Decision(subject=name, what=what, why=why, option="export date and time in each row")


def _is_readings(row: Row) -> bool:
    filled = [cell for cell in row.cells if cell.strip()]
    return bool(filled) and all(looks_numeric(cell) for cell in filled)


def _stated(header: str) -> str | None:
    """The start in a header, ``seconds since 2001-01-01``; seconds since 1970 are known by their size."""
    match = _SINCE.search(header)
    if not match or shape_of(match[1].strip()) is None or match[1].startswith("1970"):
        return None
    return match[1].strip() if _unit_in(header[: match.start()]) else None


def _start_of(said: Mapping[str, str]) -> str | None:
    """The start that lines above a table state, date and time of day perhaps in lines of their own."""
    folded = {fold(key): text.strip() for key, text in said.items()}
    starts = [text for key, text in folded.items() if START.fullmatch(key)]
    for text in starts:
        shape = shape_of(text)
        if shape is not None and shape.has_clock:
            return text
    days = [*starts, *(text for key, text in folded.items() if key in ("date", "datum", "fecha", "data"))]
    day = next((text for text in days if shape_of(text) is not None), None)
    clocks = [
        *starts,
        *(text for key, text in folded.items() if key in ("time", "uhrzeit", "zeit", "heure", "hora", "ora")),
    ]
    clock = next((text for text in clocks if shape_of(text) is None and clock_shape_of(text)), None)
    return f"{day} {clock}" if day and clock else None


def start_in(text: str, order: str, line: int) -> Start:
    """The start as an instant; epochs count too.

    Raises
    ------
    NoReadingsError
        If it is no time, or can be read in two ways.
    """
    if kind := as_number_time(text):
        epoch = parse_numbers(pl.Series([text]), TimePlan(kind=kind))
        return Start(int(epoch.time[0]), bool(epoch.zoned[0]), text)
    shape = shape_of(text)
    orders = (order,) if order else ("day-first", "month-first")
    if shape is None or shape.date != "abc":
        orders = ("",)
    elif not order and re.match(r"\D*\d{1,2}\.", text):
        orders = ("day-first",)  # dates with points are written day first (common practice)
    found = [parse_distinct(pl.Series([text]), each) for each in orders]
    moments = {int(each.time[0]) for each in found if each.ok[0]}
    if len(moments) != 1:
        raise NoReadingsError(
            found=f'a start "{text}" that can be read day-first or month-first' if moments else f'a start "{text}" that is no time',
            expected="one that says which number is the day", mend="pass --date-order day-first or --date-order month-first", line=line or None,
        )  # fmt: skip
    zoned = next(bool(each.zoned[0]) for each in found if each.ok[0])
    return Start(moments.pop(), zoned, text)


def _unit_in(text: str) -> int:
    """The unit a header or a key names, in ns; 0 without one."""
    words = re.findall(r"[^\W\d_]+", plain(text).casefold())
    return next((_UNITS[word] for word in reversed(words) if word in _UNITS), 0)


def _are_counts(cells: Sequence[str], header: str) -> bool:
    """Whether most cells are clocks, or numbers in a unit that the header names."""
    filled = [cell for cell in cells if cell]
    clocks = sum(bool(_CLOCK.fullmatch(cell)) for cell in filled)
    numbers = sum(bool(_NUMBER.fullmatch(cell)) for cell in filled) if _unit_in(_before_since(header)) else 0
    return 2 * max(clocks, numbers) > len(filled)


def _before_since(header: str) -> str:
    match = _SINCE.search(header)
    return header[: match.start()] if match else header


def _written(cells: pl.Series, start: Start, header: str) -> pl.Series:
    """The cells as times; what is no count stays as it is."""
    unit = _unit_in(_before_since(header))
    minutes = bool(re.search(r"(?i)\bm+:s+\b", header))
    distinct = cells.unique(maintain_order=True).drop_nulls()
    counts = {text: _count(text.strip(), unit, minutes=minutes) for text in distinct.to_list()}
    latest = np.iinfo(np.int64).max - abs(start.time)
    known = {text: count for text, count in counts.items() if count is not None and abs(count) < latest}
    time = start.time + np.array(list(known.values()), np.int64)
    return cells.replace(list(known), _texts(time, start.zoned))


def _count(text: str, unit: int, *, minutes: bool) -> int | None:
    """A count in ns: ``27:30``, ``0:00:30.5``, ``1,25``; None for anything else."""
    if match := _CLOCK.fullmatch(text):
        parts = [int(match[1]), int(match[2]), int(match[3] or 0)]
        if match[3] is None and minutes:
            parts = [0, *parts[:2]]
        whole = (parts[0] * 3_600 + parts[1] * 60 + parts[2]) * NS_PER_S
        return whole + int((match[4] or "").ljust(9, "0") or 0)
    if unit and _NUMBER.fullmatch(text):
        whole_part, _, part = text.replace(",", ".").partition(".")
        return int(whole_part) * unit + int(part.ljust(_DIGITS, "0")[:_DIGITS]) * unit // _DIGITS_OF_ONE
    return None


def _texts(time: TimeArray, zoned: bool) -> list[str]:
    stamps = pl.Series(time).cast(pl.Datetime("ns"))
    return stamps.dt.to_string("%Y-%m-%dT%H:%M:%S%.9f" + ("Z" if zoned else "")).to_list()


def steps_from(start: Start, step: int, count: int) -> list[str]:
    """Written times from a start on, `step` ns apart."""
    return _texts(start.time + np.arange(count, dtype=np.int64) * step, start.zoned)


def _step_of(said: Mapping[str, str]) -> int:
    """The step that lines above a table state, in ns; 0 where they state none."""
    return next((step_in(text, key) for key, text in said.items() if STEP.fullmatch(fold(key).strip())), 0)


def step_in(text: str, key: str = "") -> int:
    """A step in ns: ``10 min``, ``600 s``, ``PT10M``, ``00:10:00``, or a number in the unit that its key names; else 0."""
    said = text.strip()
    if (iso := _ISO_STEP.fullmatch(said)) and any(iso.groups()):
        days, hours, minutes, seconds = (int(part or 0) for part in iso.groups())
        return days * NS_PER_DAY + (hours * 3_600 + minutes * 60 + seconds) * NS_PER_S
    if said.count(":") == _SECONDS - 1 and _CLOCK.fullmatch(said):
        return _count(said, 0, minutes=False) or 0
    match = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*([^\W\d_]*)\.?", said)
    unit = match and (_UNITS.get(plain(match[2]).casefold(), 0) if match[2] else _unit_in(key))
    return _count(match[1], unit, minutes=False) or 0 if match and unit else 0
