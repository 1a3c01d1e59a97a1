"""How the lines of a text are cut into cells, found out from its first lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import is_status, is_time_text
from excursions.read.exports.cells.headerrows import (
    calendar_header,
    has_day_and_clock,
    times_begin,
    usual_width,
)
from excursions.read.exports.cells.table import Row
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.files.records_text import Cut, split_records
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.exports.times.timeshapes import clock_shape_of
from excursions.read.exports.upright.clockdays import is_yearless
from excursions.read.exports.upright.counted import are_counted
from excursions.read.exports.upright.halfdates import days_of
from excursions.read.exports.upright.monthsacross import months_at
from excursions.read.text.quality import is_quality_text
from excursions.read.text.units import is_unit
from excursions.read.text.words import roles_of

SEPARATORS = (",", ";", "\t", "|", "^", "\x1f", "\x01", "~")
# Some spreadsheets put the separator on a line of its own at the top.
_HINT = re.compile(r"\ufeff?\"?sep=([,;\t|^])\"?\s*$", re.IGNORECASE)
_SAMPLE_LINES = 60
_FEW_LINES = 6
_FEW_TIMES = 0.3  # share of rows with a time below which the heading is asked
_SAMPLE_CELLS = 4_000
_HEADING_LINES, _COUNTED_LINES = 8, 40
_RULE_LINES = 50
_MOMENT = re.compile(r"\d[-./:]\d")
_NAMED = re.compile(r"(?:^|\s)[^\W\d][\w.\-]*=\S")
_MOST_LINES = 0.8
_WELL_CUT = 0.5
_QUOTED = re.compile(r'(?:^| )"([^",;\t|]*)"(?= |$)')  # a cell in quotes between blanks
_ONE_BLANK = re.compile(r"(?<=\S) (?=\S)")


def find_cut(lines: Sequence[str], stated: str) -> Cut:
    """The way of cutting that leaves the most lines with a time and otherwise numbers, words and texts.

    Raises
    ------
    InputFileError
        If the user stated a separator that is not one character.
    """
    if stated and stated != "fixed":
        if len(stated) != 1:
            raise InputFileError(
                found=f'separator "{stated}"',
                expected='one character or "fixed"',
                mend='pass for example --separator ";"',
            )
        return Cut(separator=stated)
    hint = _HINT.match(lines[0]) if lines else None
    if hint and not stated:
        return Cut(separator=hint[1])
    sample = _sample(lines)
    timed = [
        line for line in sample if _MOMENT.search(line)
    ]  # titles and rules of printed pages stand between them
    ruled = _ruled(lines, timed)
    if ruled and stated in ("", "fixed"):
        return Cut(spans=ruled)
    spans = _spans(lines, timed if 3 * len(timed) >= len(sample) else sample)
    if stated == "fixed":
        return Cut(spans=spans)
    candidates = [
        Cut(separator=separator, quote=_quote(sample, separator))
        for separator in SEPARATORS
        if any(separator in line for line in sample)
    ]
    candidates += _by_marks(sample)
    scored = [
        (_score(sample, cut, lines[:_COUNTED_LINES]), -rank, cut) for rank, cut in enumerate(candidates)
    ]
    best = max(scored, default=(0.0, 0, Cut()), key=lambda item: item[:2])
    if (
        best[0] < 0.3 and len(spans) < 2
    ):  # topic, value and time with one blank between them, each of any length
        score = _score(sample, Cut(separator=" ", quote='"'))
        best = (score, 0, Cut(separator=" ", quote='"')) if score > _WELL_CUT else best
    if best[0] < 0.3 and len(spans) > 1:
        # Blanks inside a name would be cut: they count only where columns of fixed width leave no whole cells.
        body = _body(lines, sample)
        both = (
            sample
            if len(body) <= len(sample)
            else [*body[: _SAMPLE_LINES // 2], *body[-_SAMPLE_LINES // 2 :]]
        )
        whole, blank = _whole_cells(body, spans), Cut(separator=" ", quote='"')
        named = all(line.count("=") > 1 for line in sample)  # name=value: blanks stand between them
        for cut in (Cut(spans=spans),) if whole else (blank,) if named else (Cut(spans=spans), blank):
            score = _score(sample if whole else both, cut)
            if score > max(best[0], 0.3):
                best = (score, 0, cut)
    return best[2]


def _by_marks(sample: Sequence[str]) -> list[Cut]:
    """Ways of cutting that only lines of a form of their own suggest: ``time=value``, and ``name=value`` between blanks."""
    usual = [line for line in sample if line.count("=") == 1]
    timed = sum(is_time_text(line.partition("=")[0].strip()) for line in usual)
    quoted = sum(any(" " in cell for cell in _QUOTED.findall(line.strip())) for line in sample)
    named = bool(sample) and all(len(_NAMED.findall(line)) > 1 for line in sample)
    return [
        *([Cut(separator="=")] if timed > _MOST_LINES * len(sample) else []),
        *([Cut(separator=" ", quote='"')] if named or quoted > _MOST_LINES * len(sample) else []),
    ]


_RULE = re.compile(r"\s*[-=]{2,}(?:\s+[-=]{2,})+\s*")
_RUN = re.compile(r"[-=]{2,}")


def _ruled(lines: Sequence[str], timed: Sequence[str]) -> tuple[tuple[int, int | None], ...]:
    """Columns of fixed width as the strokes under their names draw them, where the lines with times fit them, but for a date of print."""
    rule = next((line for line in lines[:_RULE_LINES] if _RULE.fullmatch(line)), "")
    starts = [match.start() for match in _RUN.finditer(rule)]
    fitting = sum(
        all(line[start - 1 : start].isspace() or len(line) < start for start in starts[1:]) for line in timed
    )
    if len(starts) < 2 or not timed or fitting < _MOST_LINES * len(timed):
        return ()
    return tuple(zip([0, *starts[1:]], [*starts[1:], None], strict=True))


def _quote(lines: Sequence[str], separator: str) -> str:
    """The common quote, or the single one where it stands around cells and the common one nowhere."""
    if any('"' in line for line in lines):
        return '"'
    quoted = sum(line.count(f"'{separator}'") for line in lines)
    return "'" if quoted >= 0.6 * len(lines) > 0 else '"'


def _sample(lines: Sequence[str]) -> list[str]:
    """Lines likely to be data: the later ones of the head; a line drawn for the eye is none."""
    filled = [line for line in lines if line.strip(" -=+|:_\t")]
    later = filled[min(len(filled) // 2, 200) :]
    return (later if len(later) >= 3 else filled)[:_SAMPLE_LINES]


def _score(lines: Sequence[str], cut: Cut, heading: Sequence[str] = ()) -> float:
    """Between 0 and about 1: regular width, a time in each row, and how many cells are understood.

    A heading that names a year and a month promises the times of the rows, one of times gives them itself, and a day
    beside a time of day may stand for all rows below it.
    """
    rows = list(split_records(lines, 1, cut))
    width = usual_width(rows)
    if not rows or width < 2:
        return 0.0
    most = max(3, _SAMPLE_CELLS // width)
    # Signals of which some end earlier leave rows with empty cells at their end.
    common = Counter(len(row.cells) for row in rows).most_common(1)[0][0]
    usual = [row for row in rows if _width(row) == width or len(row.cells) == common > width][:most]
    near = sum(abs(len(row.cells) - width) <= 1 or len(row.cells) == common > width for row in rows)
    # The first of few lines may be the header.
    timed = sum(_has_time(row) for row in usual) / max(1, len(usual) - (len(lines) < _FEW_LINES))
    if timed < _FEW_TIMES and heading:
        above = list(split_records(heading, 1, cut))
        clocked = sum(
            clock_shape_of(row.cells[0].strip()) is not None or is_yearless(row.cells[0].strip())
            for row in usual
        ) >= 0.5 * len(usual)
        # The day of times of day may stand above them or in the name of the file; whole times speak louder.
        timed = (
            1.0
            if _promises_times(above[:_HEADING_LINES]) or are_counted(above)
            else 0.5
            if clocked
            else timed
        )
    cells = [cell.strip() for row in usual for cell in row.cells]
    understood = sum(_share(cell) for cell in cells) / max(1, len(cells))
    regular = 0.5 * near / len(rows) + 0.5 * len(usual) / max(1, min(len(rows), most))
    return regular * min(1.0, timed) * (0.4 + 0.6 * understood)


def _promises_times(heading: list[Row]) -> bool:
    if calendar_header(heading) is not None:
        return True
    if any(months_at(row) for row in heading):
        return True
    if any(times_begin(row) or has_day_and_clock(row) for row in heading):
        return True
    return days_of(heading) is not None


def _width(row: Row) -> int:
    width = len(row.cells)
    while width and not row.cells[width - 1].strip():
        width -= 1
    return width


def _has_time(row: Row) -> bool:
    return any(
        is_time_text(cell.strip())
        or as_number_time(cell)
        or ("=" in cell and is_time_text(cell.partition("=")[2].strip()))
        for cell in row.cells[:200]
    )


_GROUPED = re.compile(r"[+-]?\d{1,3}(?: \d{3})+(?:[.,]\d+)?")  # "1 234,5" is one number


def _are_numbers(cell: str) -> bool:
    """Whether a cell still holds several numbers with blanks between them."""
    words = cell.split()
    return len(words) > 1 and all(map(looks_numeric, words)) and not _GROUPED.fullmatch(cell)


def _share(cell: str) -> float:
    if _are_numbers(cell):
        return 0.0
    if not cell or looks_numeric(cell) or is_time_text(cell) or is_status(cell) or clock_shape_of(cell):
        return 1.0
    # A cell that still holds a separator, or several pairs of name and value, was hardly cut in the right places.
    return 0.0 if any(mark in cell for mark in (";", "\t", "|")) or len(_NAMED.findall(cell)) > 1 else 0.6


def _spans(lines: Sequence[str], sample: Sequence[str]) -> tuple[tuple[int, int | None], ...]:
    """Columns of fixed width, wide gaps first, with borders that leave the heading whole where one fits them."""
    least = 2 if _whole_cells(_body(lines, sample), fixed_spans(sample, least=2)) else 1
    spans = fixed_spans(sample, least=least)
    first = lines[:_HEADING_LINES]
    for heading in sorted(first, key=lambda line: not any(map(roles_of, line.split()))):
        kept = fixed_spans(sample, least=least, heading=_ONE_BLANK.sub("_", heading))
        if len(kept) == len(spans):
            return kept
    return spans


def _body(lines: Sequence[str], sample: Sequence[str]) -> Sequence[str]:
    """The lines that begin with a figure, also the first ones: a clock of four digits may begin the day with one."""
    return [line for line in lines if line.strip()[:1].isdecimal()] or sample


def _whole_cells(lines: Sequence[str], spans: tuple[tuple[int, int | None], ...]) -> bool:
    """Whether columns with more than one blank between them hold one thing each, with a time among them."""
    if len(spans) < 2:
        return False
    cells = [line[start:end].strip() for line in lines for start, end in spans]
    return any(is_time_text(cell) for cell in cells) and not any(_is_two(cell) for cell in cells)


def _is_two(cell: str) -> bool:
    """Whether a cell with blanks is more than a name such as "Reactor 1 pH" or a time.

    It holds a figure or a time, a unit and a quality, or two of name=value.
    """
    words = cell.split()
    if len(words) < 2 or is_time_text(cell):
        return False
    if is_unit(words[0]) and is_quality_text(words[-1]):
        return True
    figures = any(is_time_text(word) or (looks_numeric(word) and not word.isdigit()) for word in words)
    return looks_numeric(words[0]) or figures or sum("=" in word for word in words) > 1


def fixed_spans(
    lines: Sequence[str], *, least: int = 1, heading: str = ""
) -> tuple[tuple[int, int | None], ...]:
    """Columns of fixed width: spans of characters between positions that are blank in every line, the heading too.

    At least `least` blanks stand between two columns.  Texts grow to the right and figures to the left, so a border lies
    right behind a column of figures or times that always ends at the same place, where figures follow it; else before a
    column that always begins at the same place.
    """
    if len(lines) < 2:
        return ()
    seen = [*lines, heading]
    length = min(max(len(line) for line in seen), 4_000)
    blank = [all(index >= len(line) or line[index].isspace() for line in seen) for index in range(length)]
    starts = [i for i in range(length) if not blank[i] and all(blank[max(0, i - least) : i])]
    stops = [i for i in range(1, length + 1) if not blank[i - 1] and all(blank[i : min(i + least, length)])]
    borders = [0]
    for number, (stop, start) in enumerate(zip(stops, starts[1:], strict=False)):
        next_fixed = all(start < len(line) and not line[start].isspace() for line in lines)
        ends_fixed = all(stop <= len(line) and not line[stop - 1].isspace() for line in lines)
        after = stops[number + 1] if number + 1 < len(stops) else length
        figures_follow = not _is_text(lines, start, after)
        ends_fixed &= not _is_text(lines, starts[number], stop)
        # Between a text that grows to the right and a figure that grows to the left, each gets half of the gap.
        middle = stop + (start - stop + 1) // 2 if number else stop
        if ends_fixed and (figures_follow or not next_fixed):
            borders.append(stop)
        else:
            borders.append(start if next_fixed else middle)
    return tuple(zip(borders, [*borders[1:], None], strict=True))


def _is_text(lines: Sequence[str], start: int, stop: int) -> bool:
    """Whether a span holds texts: something in it is no number and no time."""
    cells = [line[start:stop].strip() for line in lines]
    return any(
        cell and not (looks_numeric(cell) or is_time_text(cell) or clock_shape_of(cell)) for cell in cells
    )
