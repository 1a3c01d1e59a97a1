"""From a sheet to a plan: the layout, how times and numbers are written, what the quality codes mean, the zone."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.decimals import DecimalEvidence, Tally, decimal_evidence
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts import LAYOUTS
from excursions.read.exports.layouts.naming import left_out, several_in
from excursions.read.exports.layouts.plan import Draft, NoReadingsError, Plan, Stream
from excursions.read.exports.layouts.timecolumns import refuse_days_alone, time_parts
from excursions.read.exports.layouts.zonestated import decide_zone, stated_zone
from excursions.read.exports.times.dateorder import OrderEvidence
from excursions.read.exports.times.numbertimes import (
    SERIAL,
    SERIAL_1904,
    as_number_time,
    kind_of,
    refuse_other_readings,
)
from excursions.read.exports.times.timeplan import ORDERS, TimePlan
from excursions.read.exports.times.times import fast_pattern
from excursions.read.exports.times.timeshapes import SUMMER_FLAGS, is_year_day, shape_of
from excursions.read.model import ReadOptions
from excursions.read.text.aggregates import AGGREGATES, says_averages
from excursions.read.text.fold import plain
from excursions.read.text.quality import QualityPlan, base_of, fold_word, scheme_of, user_words
from excursions.records import Decision

_MANY_LABELS = 150

# Gives the texts of these columns from the whole table, a batch at a time.
Texts = Callable[[tuple[int, ...]], Iterator[pl.DataFrame]]


def make_plan(
    sheet: Sheet,
    options: ReadOptions,
    subject: str,
    texts: Texts,
    codes: Mapping[int, frozenset[str]],
    hint: str = "",
) -> Plan:
    """Decide everything about a table.

    Parameters
    ----------
    codes : quality texts met further down, by column
    hint : date order of files of the same kind, used only where this file leaves it open

    Raises
    ------
    InputFileError
        If no layout fits, or the order of day and month stays open.
    """
    draft = with_places(propose(_with_stated_quality(sheet, options)), sheet, frozenset(codes))
    refuse_days_alone(sheet, draft)
    decisions = [replace(decision, subject=subject) for decision in draft.decisions]
    times: dict[tuple[int, ...], TimePlan] = {}
    for columns in dict.fromkeys(stream.time for stream in draft.streams):
        times[columns] = _time_plan(sheet, columns, options, subject, texts, decisions, hint)
    qualities = {
        index: _quality_plan(sheet.columns[index], options, subject, codes, decisions)
        for stream in draft.streams for index in (stream.quality, *stream.flags) if index is not None
    }  # fmt: skip
    decimal = _decimal(sheet, draft.streams, options, subject, texts, decisions)
    others = _other_marks(sheet, draft.streams, options, decimal, subject, decisions)
    stated = stated_zone(sheet, times)
    name = decide_zone(sheet, times, options, subject, decisions, stated)
    numbers = frozenset(s.value for s in draft.streams if not sheet.columns[s.value].statuses)
    labels = frozenset(s.tag_columns[0] for s in draft.streams if len(s.tag_columns) == 1)
    return Plan(
        layout=draft.layout, streams=draft.streams, width=len(sheet.columns), first_line=sheet.first_line, times=times,
        qualities=qualities, decimal=decimal, numbers=numbers, labels=labels, own=user_words(options.quality_words), many_labels=any(sheet.columns[index].distinct > _MANY_LABELS for index in labels), zone=name, stated_zone=stated if options.tz and stated != name else "", constants=draft.constants, others=others, kinds=draft.kinds,
        headers=tuple(column.header for column in sheet.columns), decisions=tuple(decisions), kept=_averages(sheet, draft),
        section="" if draft.layout == "long" else sheet.section,
    )  # fmt: skip


def _with_stated_quality(sheet: Sheet, options: ReadOptions) -> Sheet:
    """The sheet with a column named as a quality where all its texts are words that the user states."""
    known = user_words(options.quality_words)
    if not known:
        return sheet
    columns = tuple(
        replace(c, roles=frozenset({"quality"}))
        if c.is_text and {fold_word(cell) for cell in c.cells if cell} <= known.keys()
        else c
        for c in sheet.columns
    )
    return replace(sheet, columns=columns)


def _averages(sheet: Sheet, draft: Draft) -> str:
    """What says that the readings are averages: a column, a line above the table, the name of the file; else empty."""
    for index, text in draft.constants.items():
        if AGGREGATES.get(plain(text).casefold()) == "average":
            return f'column "{sheet.columns[index].header}" says "{text}"'
    line = next((line for line in sheet.preamble_lines if says_averages(line)), "")
    if line:
        return f'a line above the table says "{line[:60]}"'
    return "the name of the file says so" if says_averages(sheet.stem) else ""


def with_places(draft: Draft, sheet: Sheet, several: frozenset[int]) -> Draft:
    """The draft with the place before the tag, where the column of places turned out to name several."""
    places = tuple(index for index in draft.constants if index in several)
    if not places:
        return draft
    behind = tuple(i for i in places if plain(draft.constants[i]).casefold() in AGGREGATES)
    before = tuple(index for index in places if index not in behind)
    streams = tuple(
        replace(s, tag="", tag_columns=(*before, *s.tag_columns, *behind), ending=s.tag)
        for s in draft.streams
    )
    constants = {index: text for index, text in draft.constants.items() if index not in places}
    names = ", ".join(f'"{sheet.columns[index].header}"' for index in places)
    told = Decision(
        subject=sheet.stem,
        what=f"column {names} is put {'before' if before else 'behind'} the tag",
        why="it holds several texts further down, whose readings the tag alone would mix",
        option="export one place and one kind of reading a file",
    )
    used = {index for stream in streams for index in stream.columns}
    left = left_out(
        sheet, used, "the row's tag, time, value, quality, unit and description are in other columns"
    )
    return replace(draft, streams=streams, constants=constants, decisions=(told, *left))


def propose(sheet: Sheet) -> Draft:
    """The first layout that fits."""
    for _, layout in LAYOUTS:
        draft = layout(sheet)
        if draft is not None:
            return draft
    if several := next(filter(None, map(several_in, sheet.columns)), ""):
        raise NoReadingsError(
            found=several, expected="one reading in each cell", mend="export each reading in a column of its own", line=sheet.header_line or None
        )  # fmt: skip
    names = ", ".join(f'"{column.header}"' for column in sheet.columns[:12] if column.header)
    has_time = any(column.is_time for column in sheet.columns)
    raise NoReadingsError(
        found=f"columns {names or 'without names'}, "
        + ("none of them with readings" if has_time else "none of them with times"),
        expected="a time column and at least one column of readings",
        mend="export with a time column and a header row, for example tag, time, value",
        line=sheet.header_line or None,
    )


def _cells(sheet: Sheet, columns: tuple[int, ...]) -> list[str]:
    """The sample of a time; date and time of day together."""
    parts = [sheet.columns[index].cells for index in columns]
    return [" ".join(cells).strip() for cells in zip(*parts, strict=False) if all(cells)]


def _time_plan(
    sheet: Sheet,
    columns: tuple[int, ...],
    options: ReadOptions,
    subject: str,
    texts: Texts,
    decisions: list[Decision],
    hint: str,
) -> TimePlan:
    parts = time_parts(sheet, columns)
    cells = [cell for cell in sheet.columns[columns[0]].cells if cell]
    name = sheet.columns[columns[0]].header
    kinds = Counter(as_number_time(cell) for cell in cells)
    kind = kinds.most_common(1)[0][0] if kinds else None
    example = _example(sheet, columns)
    if kind is not None and not sheet.columns[columns[0]].is_time:
        kind = kind_of(name, kind)
        try:
            refuse_other_readings(cells, kind, stated=bool(options.date_system))
        except InputFileError as error:
            raise error.at(line=sheet.first_line, column=name) from None
        return replace(
            _number_plan(kind, name, options, subject, decisions),
            example=next((cell for cell in cells if as_number_time(cell) == kind), "")[:60],
        )
    shapes = Counter(shape for shape in map(shape_of, cells) if shape is not None)
    flagged = _is_flagged(sheet, columns, parts, subject, options, decisions)
    if not shapes:
        days = bool(cells) and all(map(is_year_day, cells))
        fast, example = ("%Y%j", cells[0]) if days else ("", example)
        return TimePlan(parts=parts, fast=fast, flagged=flagged, example=example)
    order = ""
    if any(shape.date == "abc" for shape in shapes):
        order = _order(sheet, columns, options, subject, texts, decisions, hint)
    shape = shapes.most_common(1)[0][0]
    return TimePlan(
        parts=parts, fast=fast_pattern(shape, order), zoned=shape.zoned, flagged=flagged, order=order, example=example
    )  # fmt: skip


def _is_flagged(
    sheet: Sheet, columns: tuple[int, ...], parts: tuple[str, ...], subject: str, options: ReadOptions,
    decisions: list[Decision],
) -> bool:  # fmt: skip
    """Whether a flag beside the clock says that summer time holds; no zone is named by it."""
    flags = {cell.casefold() for cell in sheet.columns[columns[-1]].cells if cell}
    if "zone" not in parts:
        found = (re.search(r"[\d:]\s?([SW])$", cell) for cell in sheet.columns[columns[-1]].cells if cell)
        flags = {match[1].casefold() if match else "" for match in found}
    if not flags or not flags <= SUMMER_FLAGS.keys():
        return False
    decisions.append(
        Decision(
            subject=subject,
            what="a flag behind the time says whether summer time holds: an hour is taken off there",
            why=f"it is one of {', '.join(sorted(flag.upper() for flag in flags))}; the standard time is taken as that of {options.tz or options.plant_zone or 'UTC'}",
            option="--tz",
        )
    )
    return True


def _example(sheet: Sheet, columns: tuple[int, ...]) -> str:
    """A time of the sample that is understood, to show what is expected."""
    readable = (cell for cell in sheet.columns[columns[0]].cells if shape_of(cell) is not None)
    first = next(readable, "")
    whole = next((cells for cells in _cells(sheet, columns) if first and cells.startswith(first)), first)
    return whole[:60]


def _number_plan(
    kind: str, name: str, options: ReadOptions, subject: str, decisions: list[Decision]
) -> TimePlan:
    shift = SERIAL_1904 if kind == SERIAL and options.date_system == "1904" else 0
    option = "--date-system 1904" if kind == SERIAL else ""
    decisions.append(
        Decision(
            subject=subject,
            what=f'numbers in column "{name}" are read as {kind.replace("1899-12-30", "1904-01-01") if shift else kind}',
            why="of their size",
            option=option,
        )
    )
    return TimePlan(kind=kind, shift=shift)


def _order(
    sheet: Sheet,
    columns: tuple[int, ...],
    options: ReadOptions,
    subject: str,
    texts: Texts,
    decisions: list[Decision],
    hint: str,
) -> str:
    if options.date_order:
        return options.date_order
    evidence = OrderEvidence()
    evidence.add(pl.Series(_cells(sheet, columns), dtype=pl.String))
    if len(evidence.possible()) > 1:
        for frame in texts(columns):
            joined = frame.select(pl.concat_str(pl.all().cast(pl.String), separator=" ")).to_series()
            evidence.add(joined)
            if len(evidence.possible()) <= 1:
                break
    order, why = evidence.decide()
    if order:
        decisions.append(Decision(subject=subject, what=f"dates are {order}", why=why, option="--date-order"))
        return order
    if hint and hint in evidence.possible():
        decisions.append(
            Decision(
                subject=subject,
                what=f"dates are {hint}",
                why="other files of the same kind are",
                option="--date-order",
            )
        )
        return hint
    example = next((cell for cell in _cells(sheet, columns) if shape_of(cell)), "")
    raise OrderOpenError(
        found=f'dates such as "{example}" that can be read day-first or month-first ({why})',
        expected="a date column that decides which number is the day",
        mend="pass " + " or ".join(f"--date-order {order}" for order in evidence.possible() or ORDERS[:2]),
        column=sheet.columns[columns[0]].header,
        line=sheet.first_line,
    )


class OrderOpenError(InputFileError):
    """The order of day and month is open; files of the same kind may still decide it."""


def _quality_plan(
    column: Column,
    options: ReadOptions,
    subject: str,
    codes: Mapping[int, frozenset[str]],
    decisions: list[Decision],
) -> QualityPlan:
    seen = {cell for cell in column.cells if cell} | codes.get(column.index, frozenset())
    counts = Counter(cell for cell in column.cells if cell).most_common(1)
    usual = next((cell for cell, count in counts if 2 * count > column.filled), "")
    scheme, why = scheme_of(sorted(seen), column.header, usual)
    if why:
        said = {
            "good_is_0": "0 is good", "good_is_1": "1 is good", "percent": "per cent good, 100 is good", "ua": "OPC UA",
            "doubt": "what is true is uncertain", "true_is_good": "what is true is good", "true_is_bad": "what is true is bad",
        }  # fmt: skip
        decisions.append(
            Decision(
                subject=subject,
                what=f'codes in column "{column.header}": {said.get(scheme, "OPC classic")}',
                why=why,
                option="quality words in the register",
            )
        )
    return QualityPlan(scheme=scheme, base=base_of(seen), usual=usual, own=user_words(options.quality_words))


def _decimal(
    sheet: Sheet,
    streams: tuple[Stream, ...],
    options: ReadOptions,
    subject: str,
    texts: Texts,
    decisions: list[Decision],
) -> str:
    if options.decimal_mark in (".", ","):
        return options.decimal_mark
    columns = {stream.value: stream.tag_columns for stream in streams}
    evidence = sum((_evidence_of(sheet, *item) for item in columns.items()), DecimalEvidence())
    mark, why = evidence.decide(sheet.separator)
    open_triples = evidence.triple > 0 and sheet.separator != "," and not evidence.settled
    if not mark or open_triples or (evidence.either and not evidence.comma and not evidence.point):
        evidence = _more_evidence(dict(list(columns.items())[:50]), texts)
        mark, why = evidence.decide(sheet.separator)
    if mark and why:
        what = f"numbers have a decimal {'comma' if mark == ',' else 'point'}"
        decisions.append(Decision(subject=subject, what=what, why=why, option="--decimal-mark"))
    if mark:
        return mark
    if evidence.comma or evidence.point:
        mark = "," if evidence.comma >= evidence.point else "."
        why = f"{evidence.comma} numbers can only be read with a comma, {evidence.point} only with a point; the others are refused"
    else:
        mark, why = ".", "every comma stands before exactly three digits, and other numbers have none"
    decisions.append(
        Decision(subject=subject, what=f'the decimal mark is "{mark}"', why=why, option="--decimal-mark")
    )
    return mark


def _other_marks(
    sheet: Sheet, streams: tuple[Stream, ...], options: ReadOptions, usual: str, subject: str, decisions: list[Decision]
) -> dict[int, str]:  # fmt: skip
    """Columns in which every number that decides has the other decimal mark: typed numbers beside texts, as in workbooks."""
    found: dict[int, str] = {}
    for stream in streams if not options.decimal_mark else ():
        evidence = _evidence_of(sheet, stream.value, stream.tag_columns)
        comma, point = evidence.comma, evidence.point - evidence.triple
        if usual == "." and comma and not evidence.point:
            found[stream.value] = ","
        elif usual == "," and point and not comma and not evidence.either:
            found[stream.value] = "."
    names = ", ".join(sheet.columns[index].header or f"column {index + 1}" for index in found)
    if found:
        decisions.append(
            Decision(
                subject=subject, what=f"numbers have the other decimal mark in: {names}",
                why="all of them that decide have it there", option="--decimal-mark",
            )
        )  # fmt: skip
    return found


def _evidence_of(sheet: Sheet, value: int, tags: tuple[int, ...]) -> DecimalEvidence:
    """What the sample says, tag by tag."""
    named = zip(*(sheet.columns[index].cells for index in (*tags, value)), strict=False)
    groups: dict[tuple[str, ...], list[str]] = {}
    for *tag, cell in named:
        if cell:
            groups.setdefault(tuple(tag), []).append(cell)
    return sum((decimal_evidence(cells) for cells in groups.values()), DecimalEvidence())


def _more_evidence(columns: Mapping[int, tuple[int, ...]], texts: Texts) -> DecimalEvidence:
    """Go on through the table until a number decides."""
    tally, evidence = Tally(), DecimalEvidence()
    for frame in texts(
        tuple(dict.fromkeys(index for value, tags in columns.items() for index in (*tags, value)))
    ):
        for value, tags in columns.items():
            tally.add(frame[str(value)], [frame[str(index)] for index in tags], value)
        evidence = tally.evidence()
        if evidence.settled:
            break
    return evidence
