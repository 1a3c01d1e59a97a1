"""What the tables of a file are: a calibration log, a list of samples, an export; told by headers, words and rhythm."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE
from excursions.read.logs.actions import action_of, is_of_test
from excursions.read.logs.cells import Row, Sheet
from excursions.read.logs.forms import find_log
from excursions.read.logs.headers import fold
from excursions.read.logs.rowtimes import row_times
from excursions.read.logs.samples import sample_table
from excursions.read.logs.shaping import by_points, with_deviations
from excursions.read.logs.spoken import figures_in
from excursions.read.logs.table import LogTable, with_actions
from excursions.read.model import ReadOptions
from excursions.read.text.fold import plain
from excursions.read.text.words import roles_of

_LOG_NAME = re.compile(r"calib|kalib|kalibr|etalon|calibra|justier|cal[_\- ]?log|logbook|logbuch")
_SAMPLE_NAME = re.compile(
    r"sampl|preliev|\bpobor|monstername|provtagn|labor|grab|(?:^|[_\- .])labo?(?:$|[_\- .])|muestra|echantillon|amostra|probenahme|handprobe"
)
_MEASURING = ("figure", "standard", "old_probe")
_MANY_STEPS = 8
# Nobody writes thirty lines by hand within minutes of one another (cp).
_QUICK, _MANY_QUICK = 10 * NS_PER_MINUTE, 30
# Words that only people who draw or analyse samples write over a column.
_SAMPLED = re.compile(
    r"sampl|preliev|\bpobor|monstername|monsterpunt|provtagn|provpunkt|provetag|provested|provepunkt|analyte|determinand|determination|naytteenott|\blabo?\b|labor|\blims\b|grab|entnahme|proben?nahme|prelev|echantillon|muestr|amostr|analyst|analist|analytik|"
    r"titrat|photomet|handmess|vergleichsmess|referenzmess|reference (?:value|meter|method)|bench"
)
_SLOW = NS_PER_HOUR  # nobody draws samples of one point more often than this for weeks (cp)
_FEWEST_TIMES, _FEW_TIMES = 6, 3
# A recorder on exception that waits so long each time records next to nothing (cp).
_HALF_A_SHIFT = 4 * NS_PER_HOUR


def by_content(path: Path, sheets: Sequence[Sheet]) -> tuple[str, str]:
    """What a file holds, and why, by the headers of the first sheet that has one.

    The file's name decides only between two that fit.
    """
    name = plain(path.stem).casefold()
    if path.suffix.casefold() == ".zip" and not all(is_log(s, name) or is_samples(s, name) for s in sheets):
        return "export", ""  # packed with at least one export: the reader of exports tells what it is
    if len(sheets) > 1 and any(map(_is_recorded, sheets)):
        return "export", ""  # a workbook with a sheet of readings; its other sheets are sorted one by one
    kind = of_people(sheets, name)
    return (kind, "") if kind else _export_or_nothing(sheets)


def of_people(sheets: Sequence[Sheet], name: str) -> str:
    """``calibrations``, else ``samples``, where one of the tables is such a list; else empty."""
    best = ""
    for sheet in sheets:
        samples = is_samples(sheet, name)
        if is_log(sheet, name) and not (samples and _tells_no_work(sheet)):
            return "calibrations"
        if samples:
            best = "samples"
    return best


def is_log(sheet: Sheet, name: str) -> bool:
    """A log has a date and columns that only calibrations have: figures, standards, phases, actions with serials."""
    table = find_log(sheet, {})
    if table is None or _on_a_grid(table):
        return False
    table = with_actions(with_deviations(by_points(table)))
    kinds = [meaning.kind for meaning in table.meanings]
    measuring = sum(kind in _MEASURING for kind in kinds) + sum(
        bool(m.fixed) or (m.kind == "raw" and m.index > 0) for m in table.meanings
    )
    described = sum(kind in ("action", "phase", "probe", "comment", "point") for kind in kinds)
    phased = any(meaning.phase for meaning in table.meanings)
    found_and_left = {m.phase for m in table.meanings if m.kind in ("value", "raw", "deviation") and m.phase}
    if len(found_and_left) > 1 and described:
        return True
    described += sum(kind in ("point", "probe") for kind in table.above)
    if measuring >= 2 and (described or phased):
        return True
    if measuring and (
        described >= 2 or (described and phased) or (described and any(map(is_of_test, table.headers)))
    ):
        return True
    if "action" in kinds and ("probe" in kinds or _says_work(table)):
        return True
    told = sum(
        bool(figures_in(f"{table.cell(row, 'comment')} {table.cell(row, 'action')}")) for row in table.rows
    )
    return described >= 2 and (bool(_LOG_NAME.search(name)) or 2 * told > len(table.rows))


def _tells_no_work(sheet: Sheet) -> bool:
    """Whether a table names no probe, no parameter, no step and no work: samples beside what the probe read then."""
    table = find_log(sheet, {})
    done = {"figure", "probe", "old_probe", "action", "phase"}
    return table is not None and not any(m.kind in done or m.phase for m in table.meanings)


def _is_recorded(sheet: Sheet) -> bool:
    """Whether a sheet has the rhythm of a recorder, and not that of people."""
    table = sample_table(sheet, {}) or find_log(sheet, {})
    return table is not None and _on_a_grid(table)


def _says_work(table: LogTable) -> bool:
    """Whether most cells of the column of actions are words for work on a probe, beside the points it was done at."""
    if not table.columns("point"):
        return False
    said = [table.cell(row, "action") for row in table.rows]
    return 2 * sum(bool(action_of(text)) for text in said) > sum(map(bool, said))


def _on_a_grid(table: LogTable) -> bool:
    """Whether many times follow one another at one small step, or nearly all within minutes: no person's log does."""
    times = row_times(table, ReadOptions(tz="UTC"), "", comma=False).time
    known = sorted({time for time in times if time is not None})
    steps = [later - earlier for earlier, later in pairwise(known)]
    if len(steps) < _MANY_STEPS:
        return False
    usual, count = Counter(steps).most_common(1)[0]
    quick = sum(step <= _QUICK for step in steps) if len(steps) >= _MANY_QUICK else 0
    return (usual <= NS_PER_HOUR and count > 0.8 * len(steps)) or quick > 0.8 * len(steps)


def is_samples(sheet: Sheet, name: str) -> bool:
    """A list of samples has time, point and value like an export; its words, its name or its rhythm give it away."""
    table = sample_table(sheet, {})
    if (
        table is None
        or _on_a_grid(table)
        or not {"time", "clock"} & {meaning.kind for meaning in table.meanings}
    ):
        return False
    folded = " ".join(fold(header) for header in table.headers)
    titles = [
        fold(cell) for row in sheet.rows[:8] if sum(map(bool, row.cells)) == 1 for cell in row.cells if cell
    ]
    said = bool(_SAMPLED.search(" ".join([folded, *titles])))
    kinds = {meaning.kind for meaning in table.meanings}
    named = bool(_SAMPLE_NAME.search(name))
    values = "value" in kinds or ("wide" in kinds and (named or said))
    return values and (said or named or (_by_hand(table) and "value" in kinds))


def _by_hand(table: LogTable) -> bool:
    """Whether a table of points and values has the rhythm of people: hours apart, at no fixed time, no quality column."""
    kinds = {meaning.kind for meaning in table.meanings}
    judged = any("quality" in roles_of(header) for header in table.headers)
    if "point" not in kinds or not kinds & {"value_unit", "comment"} or judged:
        return False
    times = row_times(table, ReadOptions(tz="UTC"), "", comma=False).time
    by_point: dict[str, list[int]] = {}
    for row, time in zip(table.rows, times, strict=True):
        if time is not None:
            by_point.setdefault(table.cell(row, "point"), []).append(time)
    steps = [b - a for moments in by_point.values() for a, b in pairwise(sorted(moments))]
    if (
        len(steps) < _FEWEST_TIMES
    ):  # a few rows: hours between all, at no fixed distance, and no seconds as recorders have
        waits = len(steps) >= _FEW_TIMES and min(steps) > _HALF_A_SHIFT
        return waits and len(set(steps)) > 1 and not any(step % NS_PER_MINUTE for step in steps)
    if sum(step < _SLOW for step in steps) > 0.1 * len(steps):
        return False
    return Counter(steps).most_common(1)[0][1] <= 0.5 * len(steps)


def _export_or_nothing(sheets: Sequence[Sheet]) -> tuple[str, str]:
    """An export has at least two columns and a number or a time below its first row."""
    rows = [row for sheet in sheets for row in sheet.rows]
    if not any(_has_number(row) for row in rows):
        return "ignored", "no numbers in its first rows"
    if _is_table_of_events(rows):
        return "ignored", "a table of events, not of readings"
    return "export", ""


def _has_number(row: Row) -> bool:
    return any(re.search(r"\d", cell) for cell in row.cells)


def _is_table_of_events(rows: Sequence[Row]) -> bool:
    """Start and end in one row, and no column of values: truth tables, alarm lists, shift plans."""
    headers = {fold(cell) for cell in rows[0].cells}
    starts = headers & {"start", "begin", "from", "beginn", "von", "debut", "inicio"}
    ends = headers & {"end", "stop", "to", "ende", "bis", "fin", "fim"}
    values = headers & {"value", "pv", "reading", "wert", "valeur", "valor"}
    return bool(starts and ends) and not values and not _follow_one_another(rows, starts, ends)


def _follow_one_another(rows: Sequence[Row], starts: set[str], ends: set[str]) -> bool:
    """Whether each row begins where the one before it ended: the spans of averages, and no events."""
    names = [fold(cell) for cell in rows[0].cells]
    begin, end = names.index(min(starts)), names.index(min(ends))
    spans = [(row.cells[begin], row.cells[end]) for row in rows[1:] if len(row.cells) > max(begin, end)]
    joined = sum(later[0] == earlier[1] for earlier, later in pairwise(spans))
    return len(spans) > _FEWEST_TIMES and joined >= 0.8 * (len(spans) - 1)
