"""Small tables (calibration logs, sample lists) as rows of text cells with the line each stands on.

Text of any separator and encoding, packed or not; workbooks sheet by sheet; Parquet and Arrow.  Exports take
another way, because they are large; a log is small, and every cell of it may be read by a person.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import unicodedata
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.logs.structured import is_structured, structured_frames
from excursions.read.members import FAULTS, heads, is_book, member_bytes, split_member
from excursions.read.model import ReadOptions
from excursions.read.text.lines import encoding_of
from excursions.read.text.unpack import CutOff, is_arrow, is_parquet, is_sqlite, is_zip, opened, unpacked
from excursions.read.text.words import is_ditto
from excursions.read.text.workbooks import Workbook, unpacked_size

LARGEST = 64 * 2**20  # bytes of text; ten thousand calibrations fill about two megabytes
_WORKBOOK_GROWS = 8  # the parts of a workbook say in about eight bytes what CSV says in one
_SEPARATORS = (";", "\t", "|", ",")
_EXCEL = ((b"PK\x03\x04", b"xl/"), (b"\xd0\xcf\x11\xe0", b""))


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line (of a workbook: the row number) it starts on, and its cells without blanks around."""

    line: int
    cells: tuple[str, ...]

    @property
    def text(self) -> str:
        """The row as one short line, for lists of what was refused."""
        return " | ".join(cell for cell in self.cells if cell)[:500]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table of a file; `name` is empty where a file holds one table only."""

    name: str
    rows: tuple[Row, ...]
    separator: str = ""


@dataclass(frozen=True, slots=True)
class CellFile:
    """A file as sheets of cells, with its digest and what to tell about it."""

    path: Path
    sha256: str
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...] = ()


def read_cells(path: Path, options: ReadOptions) -> CellFile:
    """Read a small table file of any supported kind.

    Raises
    ------
    InputFileError
        If the file cannot be opened, is empty, is binary of no known kind, or is too large for a log.
    """
    inside = split_member(path)
    file, wanted = (path, options.sheet) if inside is None else inside
    packed = inside is not None and not is_book(file)
    data, notes = (_member_content(path, file, wanted), ()) if packed else _content(file, options)
    digest = hashlib.sha256(data if packed else file.read_bytes()).hexdigest()
    sheets = tuple(_without_dittos(sheet) for sheet in _sheets(path, data, options) if sheet.rows)
    named = tuple(sheet for sheet in sheets if clean(sheet.name) == wanted)
    if named or (inside is not None and not packed):
        sheets = named
    if not sheets:
        raise InputFileError(
            found="a file without any row",
            expected="a table with a header",
            mend="check the file",
            file=str(path),
        )
    return CellFile(path=path, sha256=digest, sheets=sheets, notes=notes)


def _sheets(path: Path, data: bytes, options: ReadOptions) -> Iterator[Sheet]:
    """The tables of some content; those of an archive one after the other, named after its members."""
    if not is_archive(data):
        yield from kind_of(data)(path, data, options)
        return
    for name, member in _members(path, data, options):
        for sheet in kind_of(member)(path, member, options):
            told = f"{name} {sheet.name}".strip()
            yield Sheet(told, sheet.rows, sheet.separator)


def _without_dittos(sheet: Sheet) -> Sheet:
    """The sheet with the text of the cell above in place of a mark of repetition."""
    rows: list[Row] = []
    for row in sheet.rows:
        above = rows[-1].cells if rows else ()
        cells = tuple(
            above[at] if at < len(above) and is_ditto(cell) else cell for at, cell in enumerate(row.cells)
        )
        rows.append(row if cells == row.cells else Row(row.line, cells))
    return Sheet(sheet.name, tuple(rows), sheet.separator)


def is_archive(data: bytes) -> bool:
    """Whether some content is a zip archive and no workbook, which is one too."""
    if not is_zip(data):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
    except FAULTS:
        return False
    return not any(name.startswith(("xl/", "Workbook")) or name == "mimetype" for name in names)


_MOST_MEMBERS = 1_000


def _members(path: Path, data: bytes, options: ReadOptions) -> Iterator[tuple[str, bytes]]:
    """Name without endings and content of each file in an archive, in the order of names."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        infos = [info for info in archive.infolist() if not info.is_dir() and not _is_hidden(info.filename)]
        _check_archive(path, infos)
        for info in sorted(infos, key=lambda info: info.filename):
            try:
                content = archive.read(info)
            except FAULTS as error:
                raise _broken(path, "zip archive", error) from error
            yield Path(info.filename).stem, content


def _is_hidden(name: str) -> bool:
    return name.startswith("__MACOSX/") or Path(name).name.startswith(".")


def _check_archive(path: Path, infos: Sequence[zipfile.ZipInfo]) -> None:
    """Refuse archives that say they grow beyond a log, or hold more files than anyone packs by hand."""
    _check_size(sum(info.file_size for info in infos), path)
    if len(infos) > _MOST_MEMBERS or any(info.flag_bits & 0x1 for info in infos):
        raise InputFileError(
            found="an archive with a password"
            if len(infos) <= _MOST_MEMBERS
            else f"an archive of {len(infos)} files",
            expected=f"at most {_MOST_MEMBERS} files without a password",
            mend="unpack it and pass the files in it",
            file=str(path),
        )


_HEAD_BYTES = 64 * 2**10
_HEAD_ROWS = 60
_SEEN_ROWS = 4 * _HEAD_ROWS  # of a workbook, whose rows may be empty


def read_head(path: Path, options: ReadOptions) -> tuple[Sheet, ...]:
    """First rows of every table of a file, to see what it holds; text is read no further than a few pages.

    Raises
    ------
    InputFileError
        If the file cannot be opened or is no table; ``column`` is ``container`` for an archive or a data
        base, which only the reading of exports opens.
    """
    with opened(path) as raw:
        head = _first_bytes(raw, path, options)
    if not head:
        return ()
    if is_zip(head) and path.stat().st_size <= LARGEST and is_archive(whole := path.read_bytes()):
        return tuple(_first_rows(sheet) for sheet in _sheets(path, whole, options) if sheet.rows)
    if is_sqlite(head) or is_arrow(head) or (is_zip(head) and path.suffix.casefold() == ".zip"):
        raise InputFileError(found="a container", expected="a table", file=str(path), column="container")
    if any(head.startswith(magic) for magic, _ in _EXCEL):
        return tuple(_first_rows(sheet) for sheet in _workbook(path, path.read_bytes(), options, _SEEN_ROWS))
    if is_parquet(head):
        try:
            return (_first_rows(_from_frame(pl.scan_parquet(path).head(_HEAD_ROWS).collect())),)
        except (pl.exceptions.PolarsError, OSError) as error:
            raise InputFileError(
                found="a Parquet file that is cut off or damaged",
                expected="a whole Parquet file",
                mend="export it again",
                file=str(path),
                column="container",
            ) from error
    return tuple(_first_rows(sheet) for sheet in _text(path, head, options) if sheet.rows)


def _first_bytes(raw: IO[bytes], path: Path, options: ReadOptions) -> bytes:
    """Head of the unpacked content, cut at its last line end."""
    head = b""
    try:
        for chunk in unpacked(raw, path.stat().st_size, options):
            head += chunk[: _HEAD_BYTES - len(head)]
            if len(head) >= _HEAD_BYTES:
                return head[: head.rfind(b"\n") + 1] or head
    except CutOff:
        pass  # the reader of the file says so; what came before is enough to see what it is
    return head


def _first_rows(sheet: Sheet) -> Sheet:
    return Sheet(sheet.name, sheet.rows[:_HEAD_ROWS], sheet.separator)


def _content(path: Path, options: ReadOptions) -> tuple[bytes, tuple[str, ...]]:
    parts: list[bytes] = []
    size = 0
    try:
        with opened(path) as raw:
            for chunk in unpacked(raw, path.stat().st_size, options):
                size += len(chunk)
                _check_size(size, path)
                parts.append(chunk)
    except CutOff:
        return b"".join(parts), ("the packed file is cut off; what came before was read",)
    return b"".join(parts), ()


def _member_content(path: Path, archive: Path, member: str) -> bytes:
    data = member_bytes(archive, member, LARGEST + 1)
    _check_size(len(data), path)
    return data


def member_heads(path: Path, options: ReadOptions) -> Iterator[tuple[str, tuple[Sheet, ...]]]:
    """Name and first rows of each file in an archive that is text or a workbook, or of each sheet of a workbook."""
    if is_book(path):
        sheets = read_head(path, options)
        yield from ((clean(sheet.name), (sheet,)) for sheet in sheets if len(sheets) > 1)
        return
    for name, data in heads(path, _HEAD_BYTES, LARGEST):
        cut = len(data) == _HEAD_BYTES and not data.startswith(_EXCEL[0][0])
        head = (data[: data.rfind(b"\n") + 1] or data) if cut else data
        try:
            yield (
                name,
                tuple(_first_rows(sheet) for sheet in kind_of(head)(path, head, options) if sheet.rows),
            )
        except InputFileError:
            continue  # no table of a person's making; the reader of exports tells what is wrong with it


def _check_size(size: int, path: Path) -> None:
    if size > LARGEST:
        raise InputFileError(
            found=f"more than {LARGEST} bytes",
            expected="a calibration log or a list of samples",
            mend="pass it as an export if it is one, or cut it into years",
            file=str(path),
        )


SheetReader = Callable[[Path, bytes, ReadOptions], Iterator[Sheet]]


def kind_of(data: bytes) -> SheetReader:
    """How to read this content: a workbook, Parquet, Arrow or text."""
    if any(data.startswith(magic) and inside in data for magic, inside in _EXCEL):
        return _workbook
    if is_parquet(data[:8]):
        return _parquet
    if is_arrow(data):
        return _arrow
    return _structured if is_structured(data) else _text


def _structured(path: Path, data: bytes, options: ReadOptions) -> Iterator[Sheet]:
    for name, header, frame in structured_frames(str(path), data, options):
        rows = _frame_rows(frame, first_line=1 + len(header))
        yield Sheet(name, (*(Row(1, names) for names in header), *rows))


def _workbook(path: Path, data: bytes, options: ReadOptions, most: int | None = None) -> Iterator[Sheet]:
    try:
        _check_size(unpacked_size(data) // (_WORKBOOK_GROWS if is_zip(data) else 1), path)
        book = Workbook(data)
        for name in book.names:
            yield Sheet(name, _frame_rows(book.sheet(name)[:most], first_line=1))
    except InputFileError as error:
        raise error.at(file=str(path)) from error.__cause__


def _parquet(path: Path, data: bytes, options: ReadOptions) -> Iterator[Sheet]:
    try:
        yield _from_frame(pl.read_parquet(io.BytesIO(data)))
    except (pl.exceptions.PolarsError, OSError) as error:
        raise _broken(path, "Parquet file", error) from error


def _arrow(path: Path, data: bytes, options: ReadOptions) -> Iterator[Sheet]:
    try:
        yield _from_frame(pl.read_ipc(io.BytesIO(data)))
    except (pl.exceptions.PolarsError, OSError) as error:
        raise _broken(path, "Arrow file", error) from error


def _broken(path: Path, what: str, error: Exception) -> InputFileError:
    return InputFileError(
        found=f"a {what} that cannot be read ({str(error).splitlines()[0][:120]})",
        expected=f"a sound {what}",
        mend="save it again, or as CSV",
        file=str(path),
    )


def _from_frame(frame: pl.DataFrame) -> Sheet:
    header = Row(1, tuple(frame.columns))
    return Sheet("", (header, *_frame_rows(frame, first_line=2)))


def _frame_rows(frame: pl.DataFrame, first_line: int) -> tuple[Row, ...]:
    """Rows of a frame as text; times in ISO 8601, with their offset if they carry a zone."""
    texts = [_column_text(column) for column in frame.get_columns()]
    rows = zip(*texts, strict=True) if texts else iter(())
    numbered = (Row(line, tuple(cell.strip() for cell in row)) for line, row in enumerate(rows, first_line))
    return tuple(row for row in numbered if any(row.cells))


def _column_text(column: pl.Series) -> list[str]:
    if isinstance(column.dtype, pl.Datetime):
        form = "%Y-%m-%dT%H:%M:%S%.f" + ("%z" if column.dtype.time_zone else "")
        column = column.dt.to_string(form)
    elif not isinstance(column.dtype, pl.String):
        column = column.cast(pl.String, strict=False)
    return [text or "" for text in column.to_list()]


def _text(path: Path, data: bytes, options: ReadOptions) -> Iterator[Sheet]:
    encoding, mark = encoding_of(data[:65_536], options.encoding)
    text = data[mark:].decode(encoding, errors="replace")
    if text.count("\x00") > 0 or _share_of_controls(text) > 0.05:
        raise InputFileError(
            found="bytes that are no text and no known kind of table",
            expected="CSV, a workbook, Parquet or Arrow",
            mend="export it as CSV",
            file=str(path),
        )
    separator = options.separator if len(options.separator) == 1 else separator_of(text)
    yield Sheet("", _split(text, separator), separator)


def _share_of_controls(text: str) -> float:
    head = text[:4_000]
    return sum(
        not (char.isprintable() or unicodedata.category(char) == "Zs" or char in "\t\r\n") for char in head
    ) / max(1, len(head))


def separator_of(text: str) -> str:
    """The separator that cuts most of the first lines into the same number (at least two) of cells."""
    sample = "\n".join(text.splitlines()[:200])
    best, best_score = ",", 0.0
    for separator in _SEPARATORS:
        widths = Counter(len(row) for row in csv.reader(io.StringIO(sample), delimiter=separator) if any(row))
        score = float(sum(count for width, count in widths.items() if width > 1))
        usual, rows = widths.most_common(1)[0] if widths else (1, 0)
        score += 3.0 * rows if usual > 1 else 0.0
        if separator == ",":
            score *= 0.6  # decimal commas cut numbers into cells of their own
        if score > best_score:
            best, best_score = separator, score
    return best if best_score else _blank_separated(sample)


def _blank_separated(sample: str) -> str:
    """``blank`` or ``blanks`` where blanks cut the lines into the same number of cells, else a comma."""
    lines = [line.strip() for line in sample.splitlines() if line.strip()]
    for name, pattern in _BLANKS.items():
        widths = Counter(len(re.split(pattern, line)) for line in lines)
        usual, rows = widths.most_common(1)[0] if widths else (1, 0)
        if usual >= 3 and rows >= 0.8 * len(lines):
            return name
    return ","


_BLANKS = {"blanks": r"\s{2,}|\t", "blank": r"\s+"}


def _split(text: str, separator: str) -> tuple[Row, ...]:
    if separator in _BLANKS:
        lines = text.splitlines()
        cut = (Row(at, tuple(re.split(_BLANKS[separator], line.strip()))) for at, line in enumerate(lines, 1))
        return tuple(row for row in cut if any(row.cells))
    csv.field_size_limit(LARGEST)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[Row] = []
    line = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            rows.append(Row(line, tuple(cell.strip() for cell in cells)))
        line = reader.line_num + 1
    return tuple(rows)
