"""From a sheet to a plan: the layout, how times and numbers are written, what the quality codes mean, the zone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts import LAYOUTS
from excursions.read.exports.layouts.naming import left_out, several_in
from excursions.read.exports.layouts.plan import Draft, NoReadingsError, Plan, Planning, Texts
from excursions.read.exports.layouts.timecolumns import refuse_days_alone
from excursions.read.exports.layouts.zonestated import decide_zone, stated_zone
from excursions.read.exports.plannumbers import decimal_mark, mark_evidence, other_marks
from excursions.read.exports.plantimes import time_plan
from excursions.read.model import ReadOptions
from excursions.read.text.aggregates import AGGREGATES, says_averages
from excursions.read.text.fold import plain
from excursions.read.text.quality import QualityPlan, base_of, fold_word, scheme_of, user_words
from excursions.records import Decision

_MANY_LABELS = 150


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
    planning = Planning(sheet=sheet, options=options, subject=subject, texts=texts)
    planning.decisions.extend(replace(decision, subject=subject) for decision in draft.decisions)
    times = {
        columns: time_plan(planning, columns, hint)
        for columns in dict.fromkeys(stream.time for stream in draft.streams)
    }
    qualities = {
        index: _quality_plan(planning, sheet.columns[index], codes.get(index, frozenset()))
        for stream in draft.streams for index in (stream.quality, *stream.flags) if index is not None
    }  # fmt: skip
    evidence = mark_evidence(planning, draft.streams)
    decimal = decimal_mark(planning, draft.streams, evidence)
    others = other_marks(planning, draft.streams, evidence, decimal)
    stated = stated_zone(sheet, times)
    name = decide_zone(planning, times, stated)
    numbers = frozenset(s.value for s in draft.streams if not sheet.columns[s.value].statuses)
    labels = frozenset(s.tag_columns[0] for s in draft.streams if len(s.tag_columns) == 1)
    return Plan(
        layout=draft.layout, streams=draft.streams, width=len(sheet.columns), first_line=sheet.first_line, times=times,
        qualities=qualities, decimal=decimal, numbers=numbers, labels=labels, own=user_words(options.quality_words),
        many_labels=any(sheet.columns[index].distinct > _MANY_LABELS for index in labels), zone=name,
        stated_zone=stated if options.tz and stated != name else "", constants=draft.constants, others=others, kinds=draft.kinds,
        headers=tuple(column.header for column in sheet.columns), decisions=tuple(planning.decisions), kept=_averages(sheet, draft),
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


def _quality_plan(planning: Planning, column: Column, codes: frozenset[str]) -> QualityPlan:
    """What the quality codes of a column mean; `codes` are those met further down."""
    seen = {cell for cell in column.cells if cell} | codes
    counts = Counter(cell for cell in column.cells if cell).most_common(1)
    usual = next((cell for cell, count in counts if 2 * count > column.filled), "")
    scheme, why = scheme_of(sorted(seen), column.header, usual)
    if why:
        said = {
            "good_is_0": "0 is good", "good_is_1": "1 is good", "percent": "per cent good, 100 is good", "ua": "OPC UA",
            "doubt": "what is true is uncertain", "true_is_good": "what is true is good", "true_is_bad": "what is true is bad",
        }  # fmt: skip
        planning.say(
            f'codes in column "{column.header}": {said.get(scheme, "OPC classic")}',
            why=why,
            option="quality words in the register",
        )
    own = user_words(planning.options.quality_words)
    return QualityPlan(scheme=scheme, base=base_of(seen), usual=usual, own=own)
