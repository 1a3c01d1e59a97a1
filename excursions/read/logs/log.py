"""Calibration logs: what was done to which probe, as entered; nothing is judged here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError, InputFileError, did_you_mean, nearest
from excursions.plant import Installation, Plant
from excursions.read.logs.actions import action_of, is_cleaning
from excursions.read.logs.cells import Row, Sheet, read_cells
from excursions.read.logs.electrodes import of_ph
from excursions.read.logs.entries import entries_of, merge
from excursions.read.logs.facts import Facts
from excursions.read.logs.figures import unit_of_column
from excursions.read.logs.forms import find_log, parted
from excursions.read.logs.gathered import Gathered, ListReading
from excursions.read.logs.moments import Moments
from excursions.read.logs.rowreader import RowReader
from excursions.read.logs.shaping import (
    by_points,
    by_serials,
    named_by_letters,
    with_cells,
    with_deviations,
    with_pairs,
    with_points,
    with_standards,
    with_ticks,
    without_counts,
)
from excursions.read.logs.swaps import Swap, installations_of
from excursions.read.logs.table import (
    LogTable,
    cell_at,
    is_point_like,
    no_table,
    with_actions,
    with_names_above,
    with_phases,
)
from excursions.read.logs.told import (
    column_decision,
    idle,
    left_out,
    names_decision,
    not_understood,
    sheet_left_out,
    without_twins,
)
from excursions.read.model import REFUSED_SCHEMA, ReadOptions
from excursions.read.text.numbers import is_nothing, number_of
from excursions.records import CalibrationEntry, Decision

_EXPECTED = (
    "a calibration log",
    "a date and, for example, point, probe, slope, zero point, buffer 1, mV 1",
    "time=Datum --columns slope=Q1",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReading(ListReading):
    """A calibration log as read.

    entries in the order of the file; cleanings: rows that record one, which has no figures by its nature; installations
    from rows that record a swap; problems: cells that could not be read, and what keeps the whole file from being used.
    """

    entries: tuple[CalibrationEntry, ...] = ()
    cleanings: tuple[CalibrationEntry, ...] = ()
    installations: tuple[Installation, ...] = ()


@dataclass(kw_only=True)
class _Log(Gathered):
    """What has been gathered from the sheets so far."""

    columns: Mapping[str, str]
    entries: list[CalibrationEntry] = field(default_factory=list)
    cleanings: list[CalibrationEntry] = field(default_factory=list)
    swaps: list[Swap] = field(default_factory=list)


def read_calibrations(
    path: Path, *, options: ReadOptions | None = None, columns: Mapping[str, str] | None = None
) -> LogReading:
    """Read a calibration log of any layout.

    Parameters
    ----------
    path : Path
        CSV of any separator, packed or not, workbook (one table, or one sheet a probe), Parquet, Arrow.
    options : ReadOptions
        Zone, order of dates, decimal mark, separator, encoding and sheet where the user states them.
    columns : mapping of meaning to header
        Overrules what is guessed from the headers: ``{"slope": "Q1", "as found zero point [pH]": "Q2"}``.

    Returns
    -------
    LogReading
        Every row is either used or refused with a reason.  A file that cannot be used at all comes back
        with its problem and no entries.
    """
    chosen, stated = options or ReadOptions(), columns or {}
    try:
        content = read_cells(path, chosen)
    except InputFileError as error:
        return LogReading(path=path, problems=(error.at(file=str(path)),))
    log = _Log(file=str(path), options=chosen, columns=stated)
    log.decisions += [Decision(subject=str(path), what=note, why="the file itself") for note in content.notes]
    tables = [
        table
        for sheet in content.sheets
        for part in parted(sheet)
        if (table := _table(log, part, alone=len(content.sheets) == 1))
    ]
    for table in tables:
        _read_table(log, table)
    if not tables:
        log.problems.append(no_table(str(path), content.sheets, _EXPECTED))
    return LogReading(
        path=path,
        sha256=content.sha256,
        entries=tuple(log.entries),
        cleanings=tuple(log.cleanings),
        installations=installations_of(log.swaps, log.entries),
        refused=pl.DataFrame(log.refused, schema=REFUSED_SCHEMA),
        decisions=tuple(log.decisions),
        problems=tuple(log.problems),
        rows=log.rows,
        used=log.rows - len(log.refused),
        headers=tuple(header for table in tables for header in table.headers),
    )


def _table(log: _Log, sheet: Sheet, *, alone: bool) -> LogTable | None:
    table = find_log(sheet, log.columns)
    if table is not None:
        table = without_counts(
            with_deviations(
                with_standards(
                    with_phases(
                        with_actions(
                            with_ticks(with_points(with_pairs(with_cells(by_serials(by_points(table))))))
                        )
                    )
                )
            )
        )
        table, twice = without_twins(with_names_above(named_by_letters(table)))
        log.problems += [error.at(file=log.file) for error in twice]
        log.decisions += [column_decision(log.file, table), *left_out(log.file, table)]
    elif not alone:
        log.decisions.append(sheet_left_out(log.file, sheet))
    return table


def _read_table(log: _Log, table: LogTable) -> None:
    comma, moments = log.begin(table)
    reader = RowReader(table, log.file, comma, _units(log, table, comma))
    facts = [reader.facts(row) for row in table.rows]
    for at, (fact, time) in enumerate(zip(facts, moments.time, strict=True)):
        fact.time = time
        if at in moments.marks:
            fact.comment = "; ".join(text for text in (fact.comment, moments.marks[at]) if text)
        _complete_names(fact, table)
    log.decisions += _leaning(log, table, facts)
    log.problems += [*reader.faults, *_unknown_phases(log, table, facts), *_unplaced(log, facts)]
    usable = [fact for fact in facts if _usable(log, fact, table, moments)]
    trial = replace(reader, faults=[])
    log.decisions += idle(log.file, table, usable, lambda row: _alone(trial, row))
    for merged in merge(usable):
        _take(log, merged)


def _alone(reader: RowReader, row: Row) -> str:
    """What a row would be as an entry of its own, as a text: figures that are missing are then the same."""
    facts = replace(reader.facts(row), time=0)
    made = entries_of(facts, "")
    return repr([replace(entry, figures=dict(sorted(entry.figures.items()))) for entry in made])


def _leaning(log: _Log, table: LogTable, facts: Sequence[Facts]) -> list[Decision]:
    """What was taken from a remark, or from the row above."""
    remarked = sum(bool(fact.remarked) and fact.measured for fact in facts)
    found = []
    if remarked:
        what = f"{remarked} rows are as found or as left as their remarks say"
        found.append(
            Decision(
                subject=log.file, what=what, why="no column says it", option="give it a column of its own"
            )
        )
    return [*found, *names_decision(log.file, table)]


def _unplaced(log: _Log, facts: Sequence[Facts]) -> list[ExcursionsError]:
    """Readings beside no standard, which can be used for nothing, counted once."""
    rows = [fact for fact in facts if fact.unplaced and (fact.action or not fact.nowhere)]
    if not rows:
        return []
    return [
        InputFileError(
            found=f"{sum(fact.unplaced for fact in rows)} readings beside no standard, which are left out",
            expected="the buffer or the standard that each was read in",
            mend="name its column, for example --columns standard=HEADER, or write it into the header (as found pH 7.00)",
            file=log.file, line=rows[0].row.line,
        )
    ]  # fmt: skip


def _unknown_phases(log: _Log, table: LogTable, facts: Sequence[Facts]) -> list[ExcursionsError]:
    """Words in the column of phases that say neither as found nor as left, each once."""
    unknown: dict[str, list[Facts]] = {}
    for fact in facts:
        said = table.cell(fact.row, "phase")
        if fact.measured and not fact.phase and not is_nothing(said) and not action_of(said):
            unknown.setdefault(said, []).append(fact)
    return [
        InputFileError(
            found=f'phase "{said}" ({len(rows)} {"row" if len(rows) == 1 else "rows"}), taken as left',
            expected="as found or as left",
            mend='write "as found" or "as left" into that column',
            file=log.file,
            line=rows[0].row.line,
            column="phase",
        )
        for said, rows in unknown.items()
    ]


def _units(log: _Log, table: LogTable, comma: bool) -> dict[int, str]:
    """Units of the columns of figures, decided from all their values where the header does not say."""
    units: dict[int, str] = {}
    for at, meaning in enumerate(table.meanings):
        own = any(m.kind == "figure_unit" and m.figure == meaning.figure for m in table.meanings)
        if meaning.kind != "figure" or own:
            continue
        of_electrodes = [row for row in table.rows if meaning.figure == "offset" and of_ph(table, row)]
        cells = [cell_at(row, at) for row in of_electrodes or table.rows]
        values = [n for cell in cells if not is_nothing(cell) and (n := number_of(cell, comma=comma))]
        stated = meaning.unit or next((unit.replace(" ", "") for _, unit in values if unit), "")
        units[at], why = unit_of_column(
            meaning.figure, stated, [value for value, _ in values], electrode=bool(of_electrodes)
        )
        if why:
            log.decisions.append(
                Decision(
                    subject=f"{log.file}, {table.headers[at]}",
                    what=f"unit {units[at] or 'of the reading'}",
                    why=why,
                    option="put the unit into the header: slope [%]",
                )
            )
    return units


def _complete_names(fact: Facts, table: LogTable) -> None:
    """A sheet named after a probe or point stands for the column that is missing."""
    if is_nothing(fact.point):
        fact.point = ""
    if not is_point_like(table.name):
        return
    if not fact.point and not table.columns("point"):
        fact.point = table.name
    elif not fact.probe and not table.columns("probe"):
        fact.probe = table.name


def _usable(log: _Log, fact: Facts, table: LogTable, moments: Moments) -> bool:
    """Whether a row can be used; if not it is refused with its reason."""
    if fact.time is None:
        undecided = moments.problem is not None
        reason = "day and month cannot be told apart" if undecided else "no date that can be read"
        log.refuse(fact.row, reason, column="time")
        return False
    if fact.action in ("install", "remove"):
        if (
            not (fact.point and (fact.probe or fact.old_probe or fact.action == "remove"))
            and not fact.measured
        ):
            log.refuse(fact.row, "a swap that names no point or no probe")
            return False
        return True
    if fact.nowhere and not fact.action:
        log.refuse(
            fact.row,
            "a reading beside no standard, and no other figures; name the column of the buffer or standard with --columns standard=HEADER",
        )
        return False
    if fact.measured or fact.action in ("calibration", "verification") or _is_cleaning(fact):
        return True
    if action_of(fact.comment) in ("install", "remove") and fact.point and (fact.probe or fact.old_probe):
        fact.action = action_of(fact.comment)
        return True
    if fact.deviates:
        log.refuse(fact.row, _OF_NOTHING_KNOWN if not fact.in_per_cent else _PER_CENT_OF_WHAT)
        return False
    said = f'"{fact.said}"' if fact.said else "nothing"
    log.refuse(
        fact.row,
        f"no figures and no raw values; the action says {said}{not_understood(fact.row, table)}",
    )
    return False


_OF_NOTHING_KNOWN = (
    "a deviation without the standard it is from; add a column with the buffer or the standard (7.00, 1413 uS/cm), "
    "or with what was read"
)
_PER_CENT_OF_WHAT = "a deviation in per cent, of the standard or of the range: the log does not say; add a column with what was read"


def _is_cleaning(fact: Facts) -> bool:
    named = bool(fact.point or fact.probe)
    return fact.action == "clean" and is_cleaning(fact.said) and not fact.measured and named


def _take(log: _Log, fact: Facts) -> None:
    assert fact.time is not None
    if _is_cleaning(fact):
        log.cleanings.append(
            CalibrationEntry(
                time=fact.time,
                file=log.file,
                line=fact.row.line,
                point=fact.point,
                probe=fact.probe,
                action="cleaning",
                comment=fact.comment,
            )
        )
        return
    if fact.action == "install" and (fact.probe or fact.old_probe):
        log.swaps.append(Swap(time=fact.time, point=fact.point, into=fact.probe, out=fact.old_probe))
    elif fact.action == "remove":
        log.swaps.append(Swap(time=fact.time, point=fact.point, out=fact.probe or fact.old_probe))
    if fact.measured or fact.action not in ("install", "remove"):
        log.entries += entries_of(fact, log.file)


def check_entries(entries: Sequence[CalibrationEntry], plant: Plant) -> tuple[ExcursionsError, ...]:
    """Name the entries whose point or probe the plant does not know, each name once.

    Returns
    -------
    tuple of InputFileError
        With file, line, how often, and the nearest name that is known.
    """
    points = {point.name for point in plant.points}
    probes = {probe.serial for probe in plant.probes} | {row.probe for row in plant.installations}
    found: list[ExcursionsError] = []
    for what, known in (("point", points), ("probe", probes)):
        unknown: dict[str, list[CalibrationEntry]] = {}
        for entry in entries:
            name = getattr(entry, what)
            if name and known and name not in known and not _bench(what, entry, points, probes):
                unknown.setdefault(name, []).append(entry)
        found += [_unknown(what, name, rows, known) for name, rows in unknown.items()]
    nowhere = [entry for entry in entries if not entry.point and not entry.probe]
    if nowhere:
        found.append(_nameless(nowhere))
    return tuple(found)


def _bench(what: str, entry: CalibrationEntry, points: set[str], probes: set[str]) -> bool:
    """Whether an unknown point is where probes are worked on, and no misspelling: the number says where it belongs."""
    return what == "point" and entry.probe in probes and not nearest(entry.point, points)


def _unknown(what: str, name: str, rows: Sequence[CalibrationEntry], known: set[str]) -> InputFileError:
    return InputFileError(
        found=f'{what} "{name}" ({len(rows)} entries)',
        expected=f"a {what} of the register or the export",
        mend=did_you_mean(name, known, f"add the {what} to the register"),
        file=rows[0].file,
        line=rows[0].line,
        column=what,
    )


def _nameless(rows: Sequence[CalibrationEntry]) -> InputFileError:
    return InputFileError(
        found=f"{len(rows)} entries that name neither point nor probe",
        expected="a column with the point or the serial number",
        mend="name it with --columns point=HEADER or --columns probe=HEADER",
        file=rows[0].file,
        line=rows[0].line,
    )
