"""Long: each row names its tag: tag, time, value, perhaps quality, unit, description, in any order."""

from __future__ import annotations

import re
from collections.abc import Sequence

from excursions.read.exports.cells import journal
from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.factors import parted_factors, refuse_factors_a_row
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.common import is_counter, is_flag, is_quality
from excursions.read.exports.layouts.naming import left_out
from excursions.read.exports.layouts.plan import Draft, Stream
from excursions.read.exports.layouts.timecolumns import chosen_time, time_columns
from excursions.read.text.aggregates import AGGREGATES
from excursions.read.text.fold import plain
from excursions.read.text.quality import is_quality_text
from excursions.read.text.units import is_quantity, is_unit
from excursions.read.text.words import fold
from excursions.records import Decision

_WHY = "the row's tag, time, value, quality, unit and description are in other columns"
_FEW = 0.7  # share of distinct texts below which a column of texts may name tags


def propose(sheet: Sheet) -> Draft | None:
    """A draft when some column names the tag of each row and one holds the values."""
    times = time_columns(sheet)
    if not times:
        return None
    time = chosen_time(sheet, times)
    taken = {index for columns in times for index in columns}
    rest = [column for column in sheet.columns if column.index not in taken and not is_counter(column)]
    named = _tag_columns(rest)
    tags = named or _numbered(sheet, time, rest)
    if not tags:
        return None
    told: tuple[Decision, ...] = () if named else (_numbered_decision(sheet, tags[0]),)
    rest = [column for column in rest if column not in tags]
    known = tuple(c.index for c in tags)
    others = [c for c in rest if c not in tags and not _is_aggregate(c) and _may_tell(c)]
    if (telling := telling_column(sheet, time, others, known)) is not None:
        single = all(_is_place(c) and c.distinct == 1 for c in tags)  # one plant names no signal
        tags = [telling] if single else [telling, *tags]
        told = (*told, telling_decision(sheet, telling, alone=single))
    rest = [column for column in rest if column not in tags]
    kinds = [c for c in rest if _is_aggregate(c)]
    tags = [*tags, *(c for c in kinds if c.distinct > 1 and not _says_how_kept(sheet, time, tags, c))][
        : len(tags) + 1
    ]
    rest = [column for column in rest if column not in kinds]
    factors, rest = parted_factors(rest)
    value = _value_column(rest) or next((c for c in rest if factors and c.is_value and c.numbers), None)
    if value is None:
        return None
    refuse_factors_a_row(factors, value, sheet.header_line)
    rest = [column for column in rest if column is not value]
    quality = next(
        (column for column in rest if "quality" in column.roles and is_quality(column)), None
    ) or next((column for column in rest if is_quality(column)), None)
    flags = [c for c in rest if quality is not None and c is not quality and is_flag(c)]
    unit = next((c for c in rest if "unit" in c.roles), None) or next(
        (
            c
            for c in rest
            if c is not quality and c.is_text and all(is_unit(cell) for cell in c.cells if cell)
        ),
        None,
    )
    description = next(
        (c for c in rest if "description" in c.roles and c is not unit and c is not quality), None
    )
    stream = Stream(
        time=time,
        value=value.index,
        quality=quality.index if quality else None,
        flags=tuple(c.index for c in flags),
        tag_columns=tuple(column.index for column in tags),
        unit_column=unit.index if unit else None,
        description_column=description.index if description else None,
    )
    used = {
        *time,
        value.index,
        *stream.tag_columns,
        *stream.flags,
        *(c.index for c in (quality, unit, description) if c),
    }
    constants = {
        c.index: next(cell for cell in c.cells if cell)
        for c in sheet.columns
        if c.index not in used and (_is_place(c) or c in kinds) and c.is_text and c.distinct == 1
    }
    kind = journal.kinds_of_rows(sheet, used)
    if kind is not None:
        used.add(kind.index)
        told = (*told, journal.told(sheet, kind))
    return Draft(
        layout="long", streams=(stream,), decisions=(*told, *left_out(sheet, used, _WHY)), constants=constants,
        kinds=kind.index if kind else None,
    )  # fmt: skip


def _tag_columns(columns: list[Column]) -> list[Column]:
    """The columns that name the tag: a place before a point where both are given."""
    texts = [
        c
        for c in columns
        if c.filled
        and (c.is_text or (c.roles & {"tag"} and not c.roles & {"value"}))
        and not is_unit_column(c)
    ]
    named = [
        c
        for c in texts
        if "tag" in c.roles and "description" not in c.roles and not (is_quality(c) and "quality" in c.roles)
    ]
    quantities = bool(named) and all(is_quantity(cell) for c in named for cell in c.cells if cell)
    # One plant names no signal, but "pH" alone names none either.
    places = [c for c in texts if _is_place(c) and c not in named and (c.distinct > 1 or quantities)]
    if named:
        best = max(named, key=lambda c: (_says_names(c), _tag_rank(c), -c.index))
        return sorted([*places[:1], best], key=lambda c: (c is best, c.index))
    places = [c for c in texts if _is_place(c)]
    if places:
        return places[:1]
    repeated = [
        c for c in texts
        if 2 * c.filled >= len(c.cells) and c.distinct <= max(1, _FEW * c.filled) and not is_quality(c) and not c.roles & {"unit", "description", "quality", "value"}
    ]  # fmt: skip
    # A quality in a language nobody here knows, beside a word that is known, names no signal.
    repeated = [c for c in repeated if not any(map(is_quality_text, c.cells))] or repeated
    unnamed = [c for c in repeated if not c.header]
    if unnamed or repeated:
        best = max(unnamed or repeated, key=lambda c: (_has_figures(c), c.distinct, -c.index))
        others = [c for c in columns if c is not best and c.is_value and not is_quality(c)]
        return [best] if len(others) == 1 or any("value" in c.roles for c in others) else []
    return []


def _says_names(column: Column) -> bool:
    """Whether a column holds names rather than numbers that stand for them."""
    return any(char.isalpha() for cell in column.cells for char in cell)


def _has_figures(column: Column) -> bool:
    """Whether all texts of a column hold a figure or a mark, as the names of most signals do and words of a quality never."""
    return all(any(char.isdigit() or char in "-_./:\\" for char in cell) for cell in column.cells if cell)


# Words over a column of small numbers that stand for signals.
_NUMBERED = re.compile(
    r"(?:.* )?(?:pen|trace|curve|kurve|stift|courbe|curva|channel|kanal|canal|voie|ch|sensor|point|tag|signal|var|id|nr|no|num|"
    r"number|nummer|code|address|register)(?: .*)?"
)
_FEWEST_EACH = 3  # rows of each number
_REPEATED = 0.7  # share of different times below which rows of one time are of several signals
_APART = 0.95  # share of rows that time and number together tell apart


def _numbered(sheet: Sheet, time: tuple[int, ...], columns: list[Column]) -> list[Column]:
    """The column of numbers that says whose reading a row is, where no text names a tag, and one other holds readings."""
    column = telling_column(sheet, time, [c for c in columns if not c.is_text])
    if column is None:
        return []
    others = [c for c in columns if c is not column and c.is_value and c.numbers and not is_quality(c)]
    return [column] if len(others) == 1 else []


def telling_column(
    sheet: Sheet, time: tuple[int, ...], columns: list[Column], known: tuple[int, ...] = ()
) -> Column | None:
    """The column that tells apart rows which time and the columns `known` do not, where those stand in several rows each.

    It holds texts, or whole numbers, and is named as such or says the same few at each time.
    """
    rows = list(zip(*(sheet.columns[index].cells for index in (*time, *known)), strict=False))
    if not rows or len(set(rows)) > _REPEATED * len(rows):
        return None
    for column in columns:
        cells = column.cells[: len(rows)]
        whole = all(cell.isdecimal() for cell in cells) and (
            bool(_NUMBERED.fullmatch(fold(column.header))) or _comes_round(rows, cells)
        )
        told = len(set(zip(rows, cells, strict=False))) >= _APART * len(rows)
        if (whole or column.is_text) and told and 1 < _FEWEST_EACH * column.distinct <= len(cells):
            return column
    return None


_MOST_NUMBERED = 64


def _comes_round(rows: Sequence[tuple[str, ...]], cells: Sequence[str]) -> bool:
    """Whether each time stands once beside each of a few numbers, as those of reactors or lines do and readings never."""
    pairs = set(zip(rows, cells, strict=False))
    few = len(set(cells))
    return 1 < few <= _MOST_NUMBERED and len(pairs) == len(rows) >= _APART * few * len(set(rows))


def _may_tell(column: Column) -> bool:
    """Whether a column may name a place: nothing that is known to say something else."""
    return (
        not column.is_time
        and not is_quality(column)
        and not is_unit_column(column)
        and not column.roles & {"description", "quality", "unit", "value"}
    )


def telling_decision(sheet: Sheet, column: Column, *, alone: bool = False) -> Decision:
    """What is said of such a column; alone: nothing else names the tag."""
    done = "is taken for the tag" if alone else "is put before the tag"
    return Decision(
        subject=sheet.stem, what=f'column "{column.header or column.index + 1}" {done}', why="rows of one time and tag differ in it, which the tag alone would mix",
        option="export one of them a file, or rename the column",
    )  # fmt: skip


def _numbered_decision(sheet: Sheet, column: Column) -> Decision:
    return Decision(
        subject=sheet.stem, what=f'the numbers in column "{column.header}" are taken for the signals of the rows',
        why="each time stands in several rows, which only these numbers tell apart", option="export the names of the signals",
    )  # fmt: skip


def _is_aggregate(column: Column) -> bool:
    """What each reading stands for: an average, the least, the greatest; several under one name are signals of their own."""
    if not column.is_text and not column.is_value:
        return False
    cells = [plain(cell).casefold() for cell in column.cells if cell]
    known = bool(cells) and all(cell in AGGREGATES for cell in cells)
    return known and ("aggregate" in column.roles or not column.roles or column.distinct > 1)


def _says_how_kept(sheet: Sheet, time: tuple[int, ...], tags: list[Column], column: Column) -> bool:
    """Whether a column says of the single readings of a signal that they are raw or interpolated: no instant of it has two."""
    kinds = {AGGREGATES[plain(cell).casefold()] for cell in column.cells if cell}
    rows = list(zip(*(sheet.columns[index].cells for index in time), *(c.cells for c in tags), strict=False))
    return kinds == {"sample"} and len(set(rows)) == len(rows)


def _is_place(column: Column) -> bool:
    """What comes before the tag: a place, or the group of signals that some data bases call a measurement."""
    return "place" in column.roles or (column.is_text and fold(column.header) == "measurement")


def _tag_rank(column: Column) -> int:
    """Names that can only be a tag go before those that may be something else."""
    certain = {
        "tag",
        "tagname",
        "tag name",
        "tag id",
        "tagid",
        "point",
        "pointname",
        "signal",
        "item",
        "item id",
        "messstelle",
    }
    return 2 if fold(column.header) in certain else 1


def is_unit_column(column: Column) -> bool:
    """Whether a column holds units only."""
    filled = [cell for cell in column.cells if cell]
    if "tag" in column.roles:
        return False
    return "unit" in column.roles or (bool(filled) and all(is_unit(cell) for cell in filled))


def _value_column(columns: list[Column]) -> Column | None:
    """The column of readings: named as one, else an average, else the only one of numbers."""
    for role in ("value", "average"):
        named = [
            c
            for c in columns
            if role in c.roles and not c.is_time and c.filled and not ("quality" in c.roles and is_quality(c))
        ]
        if named:
            return max(named, key=lambda c: (c.is_value, -c.index))
    numbers = [
        c
        for c in columns
        if c.is_value and c.numbers and not c.roles & {"other_figure", "quality", "index", "unit"}
    ]
    others = [c for c in numbers if not is_quality(c)]
    if len(others) == 1:
        return others[0]
    statuses = [c for c in columns if c.is_value and not c.roles & {"quality", "unit", "description"}]
    return statuses[0] if not others and len(statuses) == 1 else None
