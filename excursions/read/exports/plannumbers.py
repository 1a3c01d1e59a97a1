"""How the numbers of a table are written: with a decimal comma or a point, all of them or some columns."""

from __future__ import annotations

from collections.abc import Mapping

from excursions.read.exports.cells.decimals import DecimalEvidence, Tally, decimal_evidence
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.plan import Planning, Stream, Texts

_MOST_COLUMNS = 50  # of values that are gone through in search of a number that decides


Evidence = Mapping[tuple[int, tuple[int, ...]], DecimalEvidence]


def mark_evidence(planning: Planning, streams: tuple[Stream, ...]) -> Evidence:
    """What the sample says of each column of values, by the column and those of its tags; nothing where the mark is stated."""
    if planning.options.decimal_mark in (".", ","):
        return {}
    keys = dict.fromkeys((stream.value, stream.tag_columns) for stream in streams)
    return {key: _evidence_of(planning.sheet, *key) for key in keys}


def decimal_mark(planning: Planning, streams: tuple[Stream, ...], of_columns: Evidence) -> str:
    """The decimal mark of the values: as stated, as a number that can be read in one way only shows, else the likelier."""
    sheet, options = planning.sheet, planning.options
    if options.decimal_mark in (".", ","):
        return options.decimal_mark
    columns = {stream.value: stream.tag_columns for stream in streams}
    evidence = sum((of_columns[item] for item in columns.items()), DecimalEvidence())
    mark, why = evidence.decide(sheet.separator)
    open_triples = evidence.triple > 0 and sheet.separator != "," and not evidence.settled
    if not mark or open_triples or (evidence.either and not evidence.comma and not evidence.point):
        evidence = _more_evidence(dict(list(columns.items())[:_MOST_COLUMNS]), planning.texts)
        mark, why = evidence.decide(sheet.separator)
    if mark and why:
        what = f"numbers have a decimal {'comma' if mark == ',' else 'point'}"
        planning.say(what, why=why, option="--decimal-mark")
    if mark:
        return mark
    if evidence.comma or evidence.point:
        mark = "," if evidence.comma >= evidence.point else "."
        why = f"{evidence.comma} numbers can only be read with a comma, {evidence.point} only with a point; the others are refused"
    else:
        mark, why = ".", "every comma stands before exactly three digits, and other numbers have none"
    planning.say(f'the decimal mark is "{mark}"', why=why, option="--decimal-mark")
    return mark


def other_marks(
    planning: Planning, streams: tuple[Stream, ...], of_columns: Evidence, usual: str
) -> dict[int, str]:
    """Columns in which every number that decides has the other decimal mark: typed numbers beside texts, as in workbooks."""
    found: dict[int, str] = {}
    for stream in streams if of_columns else ():
        evidence = of_columns[stream.value, stream.tag_columns]
        comma, point = evidence.comma, evidence.point - evidence.triple
        if usual == "." and comma and not evidence.point:
            found[stream.value] = ","
        elif usual == "," and point and not comma and not evidence.either:
            found[stream.value] = "."
    if found:
        names = ", ".join(planning.sheet.columns[index].header or f"column {index + 1}" for index in found)
        planning.say(
            f"numbers have the other decimal mark in: {names}",
            why="all of them that decide have it there",
            option="--decimal-mark",
        )
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
