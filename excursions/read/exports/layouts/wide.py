"""Wide: one time, a column a tag, perhaps a quality column beside each.  One value column alone is one file a tag."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.factors import scale_decisions, scale_of
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.common import is_counter, is_quality, says_by_truth, split_unit
from excursions.read.exports.layouts.long import is_unit_column, telling_column
from excursions.read.exports.layouts.naming import (
    bare,
    description_of,
    header_of,
    left_out,
    names_of,
    unit_of,
)
from excursions.read.exports.layouts.plan import Draft, NoReadingsError, Stream
from excursions.read.exports.layouts.timecolumns import chosen_time, time_columns
from excursions.read.exports.times.timeshapes import clock_shape_of
from excursions.read.text.aggregates import AGGREGATES
from excursions.read.text.fold import plain
from excursions.read.text.units import is_quantity, is_unit
from excursions.read.text.words import ROLES, STATE_WORDS, fold
from excursions.records import Decision

_QUALITY_END = re.compile(
    r"(?i)[\s._\-:/|\[(]*(quality|qual|status|state|flag|valid|validity|invalid|bad|ok|nok|(?:un)?g(?:ü|ue|u)ltig|good|q|st|qc|opcquality|qualit\w*|stat|cd|code|remark)[\])]?$"
)


_QUALITY_BEGIN = re.compile(
    r"(?i)^(?:quality|qual|status|state|validity|qualit\w*|stat|statut|stato|estado|kvalitet|kwaliteit|jakosc|stav|zustand)(?:(?: of| von| de| di| van| av))?[\s._\-:/|]+(?=\S)"
)


_FEW_WORDS = 8


def propose(sheet: Sheet) -> Draft | None:
    """A draft when there is a time column and at least one column of values."""
    times = time_columns(sheet)
    if not times:
        return None
    taken = {index for columns in times for index in columns}
    rest = [c for c in sheet.columns if c.index not in taken and not is_counter(c)]
    qualities = {c.index: c for c in rest if (_names_quality(c) and is_quality(c)) or _is_companion(c, rest)}
    signals = [c for c in rest if c.index not in qualities and _is_signal(c)]
    # A number that names the place or the tag is a reading only where there is no other.
    values = [c for c in signals if not c.roles & {"tag", "place", "unit", "description", "index"}] or signals
    if not values:
        return None
    _refuse_clocks(sheet, values)
    places = _places(sheet, rest, values, qualities)
    values = [c for c in values if c.index not in places]
    if not values:
        return None
    streams = _streams(sheet, chosen_time(sheet, times), values, qualities)
    whole = _of_whole_row(values, qualities)
    if whole is not None:
        streams = tuple(replace(s, quality=whole.index) for s in streams)
    streams = (
        tuple(replace(s, tag="", tag_columns=places, ending=s.tag) for s in streams) if places else streams
    )
    used = {
        *taken,
        *places,
        *(s.value for s in streams),
        *(s.quality for s in streams if s.quality is not None),
    }
    why = "they hold texts, places, or qualities of no value column"
    layout = "wide" if len(values) > 1 else "one tag"
    beside = _unit_columns(rest, values, qualities)
    streams = tuple(s if s.value not in beside else replace(s, unit_column=beside[s.value]) for s in streams)
    used |= {s.unit_column for s in streams if s.unit_column is not None}
    told = () if whole is None else (_row_decision(sheet, whole),)
    told = (*told, _places_decision(sheet, places)) if places else told
    told = (*told, *scale_decisions(sheet.stem, [(header_of(c), c) for c in values]))
    return Draft(
        layout=layout,
        streams=streams,
        decisions=(*told, *left_out(sheet, used, why)),
        constants=_single_places(rest, used) if not places else {},
    )


def _places(
    sheet: Sheet, columns: list[Column], values: list[Column], qualities: dict[int, Column]
) -> tuple[int, ...]:
    """The columns that say whose readings a row holds: named as a place or a tag, with several of them.

    Without a name that is known, the one that tells apart the rows of one time, where each time stands in several.
    """
    taken = {*qualities, *(c.index for c in values)}
    named = [
        c
        for c in columns
        if c.index not in taken and c.roles & {"place", "tag"} and c.distinct > 1 and not c.is_time
    ]
    if len(values) < 2:
        return tuple(c.index for c in named)
    if any(map(_says_value, values)) or all(_says_kind(c.header) for c in values):
        named = named or [c for c in columns if c.index not in taken and "tag" in c.roles and c.is_text][:1]
    others = [
        c
        for c in columns
        if c.index not in qualities
        and c not in named
        and not c.is_time
        and not c.roles & {"unit", "quality", "description"}
    ]
    known = tuple(c.index for c in named)
    telling = telling_column(sheet, chosen_time(sheet, time_columns(sheet)), others, known)
    return (*known, *((telling.index,) if telling is not None else ()))


def _says_value(column: Column) -> bool:
    """Whether a header says that its numbers are values, and not of which signal."""
    return "value" in column.roles or bare(column.header) != split_unit(column.header)[0]


def _says_kind(header: str) -> bool:
    """Whether a header says what is measured or how it was summed up, and not of which signal."""
    return is_quantity(split_unit(header)[0]) or plain(fold(header)).casefold() in AGGREGATES


def _single_places(columns: list[Column], used: set[int]) -> dict[int, str]:
    """Columns of places that name but one in the first rows, and that one: another may follow further down."""
    found = (c for c in columns if c.index not in used and c.roles & {"place", "tag"} and not c.is_time)
    return {c.index: next(cell for cell in c.cells if cell) for c in found if c.distinct == 1}


def _places_decision(sheet: Sheet, places: tuple[int, ...]) -> Decision:
    names = ", ".join(f'"{sheet.columns[index].header}"' for index in places)
    return Decision(
        subject=sheet.stem, what=f"column {names} is put before the names of the columns", why="it names several, whose readings one column alone would mix",
        option="export one of them a file, or rename the column",
    )  # fmt: skip


def _of_whole_row(values: list[Column], qualities: dict[int, Column]) -> Column | None:
    """The one quality column of a table of several signals, which names none of them: it holds for the row."""
    if len(qualities) != 1 or len(values) < 2:
        return None
    column = next(iter(qualities.values()))
    general = "quality" in column.roles and not _quality_base(column)
    return column if general and column.index > values[-1].index else None


def _row_decision(sheet: Sheet, column: Column) -> Decision:
    return Decision(
        subject=sheet.stem, what=f'column "{column.header}" holds for all signals of its row',
        why="it is the only column of qualities, stands behind them all and names none of them", option="name it after its signal",
    )  # fmt: skip


def _unit_columns(
    columns: list[Column], values: list[Column], qualities: dict[int, Column]
) -> dict[int, int]:
    """The column that says the unit in each row, by the column of values: of its name, the only one of each, or beside it.

    They stand all before their values where the first one does, else all behind.
    """
    units = [c for c in columns if c.is_text and is_unit_column(c)]
    named = {_unit_base(c): c.index for c in units if _unit_base(c)}
    if named:
        return {c.index: named[fold(c.header)] for c in values if fold(c.header) in named}
    places = {c.index for c in units}
    if len(values) == len(places) == 1:
        return {values[0].index: min(places)}
    before = bool(places) and min(places) < min(c.index for c in values)
    found: dict[int, int] = {}
    for value in (c.index for c in values):
        behind = value + 1 if value + 1 not in qualities else value + 2
        if (at := value - 1 if before else behind) in places:
            found[value] = at
    return found


def _unit_base(column: Column) -> str:
    """What a column of units is named after, ``PH`` of ``PH.unit``; empty where its name says nothing but unit."""
    base, _, last = fold(column.header).rpartition(" ")
    return base if last in ROLES["unit"] else ""


_MINUTES = re.compile(r"\+?:[0-5]\d|\+?\d{1,2} ?min\.?")  # ":15", "15 min" of the hour in the row


def _refuse_clocks(sheet: Sheet, values: list[Column]) -> None:
    """A row a day and a column an hour is one signal laid out in two directions, not a signal an hour."""
    clocks = [c.header for c in values if clock_shape_of(c.header) or _MINUTES.fullmatch(c.header)]
    if len(clocks) > 1 and 2 * len(clocks) > len(values):
        raise NoReadingsError(
            found=f'times of day as names of columns ("{clocks[0]}", "{clocks[1]}", ...)',
            expected="one time in each row",
            mend="export one row for each time, with the date and the time of day in columns",
            line=sheet.header_line or None,
        )


def _is_signal(column: Column) -> bool:
    """Numbers or status words; a named column without any cell in the sample may fill up later."""
    if column.is_value:
        return True
    return not column.filled and bool(column.header) and not column.roles & {"description", "unit", "index"}


def _names_quality(column: Column) -> bool:
    named = "quality" in column.roles or bool(_of_quality(column.header)) or not column.header
    return named or (column.filled > 0 and not column.numbers and not _is_two_state(column))


def _is_companion(column: Column, others: list[Column]) -> bool:
    """A column of codes named after another one, with a word for quality: ``AI-1_Q`` or ``Status AI-1`` beside ``AI-1``."""
    owner = _quality_base(column)
    named = bool(_of_quality(column.header)) and any(
        _base(other) == owner for other in others if other is not column
    )
    codes = all(re.fullmatch(r"-?\d+|0x[0-9a-fA-F]+", cell) for cell in column.cells if cell)
    # A few words over and over; remarks differ from row to row.
    words = (
        column.is_text
        and not _is_two_state(column)
        and column.distinct <= min(_FEW_WORDS, column.filled // 3)
    )
    return (
        named
        and bool(owner)
        and column.filled > 0
        and (codes or words or is_quality(column) or says_by_truth(column))
    )


def _of_quality(header: str) -> re.Match[str] | None:
    """The word for quality behind or before a name."""
    return _QUALITY_END.search(header) or _QUALITY_BEGIN.search(header)


def _is_two_state(column: Column) -> bool:
    """A hold flag or a valve: words such as on and off, in a column that has a name of its own."""
    return bool(column.header) and all(cell.casefold() in STATE_WORDS for cell in column.cells if cell)


def _streams(
    sheet: Sheet, time: tuple[int, ...], values: list[Column], qualities: dict[int, Column]
) -> tuple[Stream, ...]:  # fmt: skip
    alone = len(values) == 1
    return tuple(
        Stream(
            time=time,
            value=column.index,
            quality=quality,
            tag=name,
            factor=factor,
            offset=offset,
            unit=unit_of(sheet, column, alone=alone),
            description=description_of(sheet, column, name, alone=alone),
        )
        for column, name, (factor, offset), quality in zip(
            values,
            names_of(sheet, values),
            map(scale_of, values),
            _qualities_of(values, qualities),
            strict=True,
        )
    )


def _qualities_of(values: list[Column], qualities: dict[int, Column]) -> list[int | None]:
    """The quality column of each value column: by its name, by the title over both, else by its place."""
    if not qualities:
        return [None] * len(values)
    owners = {index: _quality_base(quality) for index, quality in qualities.items()}
    named = {base: index for index, base in reversed(owners.items()) if base}
    bases = [_base(column) for column in values]
    titled, before = _under_their_titles(values, qualities), _go_before(values, qualities)
    places = sorted([*(value.index for value in values), *qualities])
    at = {place: position for position, place in enumerate(places)}
    count, only = Counter(bases), next(iter(qualities)) if len(values) == len(qualities) == 1 else None
    found: list[int | None] = []
    for column, base in zip(values, bases, strict=True):
        index = named.get(base, titled.get(column.index))
        if index is None and before:
            index = column.index - 1
        elif index is None:
            following = _beside(column, at[column.index], places, qualities)
            owner = "" if following is None else owners[following]
            taken = bool(owner) and count[owner] > (base == owner)  # by another value column of that name
            index = only if following is None or taken else following
        found.append(index)
    return found


def _title(column: Column) -> str:
    """What stands over a column in another row of the header, where it is no unit."""
    return next((fold(cell) for cell in column.above if cell and not is_unit(cell)), "")


def _under_their_titles(values: list[Column], qualities: dict[int, Column]) -> dict[int, int]:
    """The one quality column under the title that stands over one value column and no other."""
    over: dict[str, tuple[list[int], list[int]]] = {}
    for which, columns in enumerate((values, qualities.values())):
        for column in columns:
            over.setdefault(_title(column), ([], []))[which].append(column.index)
    return {own[0]: same[0] for title, (own, same) in over.items() if title and len(own) == len(same) == 1}


def _go_before(values: list[Column], qualities: dict[int, Column]) -> bool:
    """Whether each quality column stands right before its value column, and none behind the last."""
    return len(values) == len(qualities) and all(value.index - 1 in qualities for value in values)


def _beside(column: Column, at: int, places: list[int], qualities: dict[int, Column]) -> int | None:
    """The quality column that belongs to a value by its place: the next one, or of as many in a row the one in its turn."""
    first = next((i for i in range(at, len(places)) if places[i] in qualities), None)
    if first is None:
        return None
    begin = at
    while begin and places[begin - 1] not in qualities:
        begin -= 1
    end = first
    while end < len(places) and places[end] in qualities:
        end += 1
    if end - first == 1:
        return places[first] if first == at + 1 and places[first] == column.index + 1 else None
    return places[first + at - begin] if end - first == first - begin else None


def _base(column: Column) -> str:
    return fold(bare(header_of(column)))


def _quality_base(column: Column) -> str:
    behind = _QUALITY_END.sub("", column.header)
    return fold(bare(_QUALITY_BEGIN.sub("", column.header) if behind == column.header else behind))
