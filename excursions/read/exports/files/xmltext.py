"""XML as tables: the elements that repeat are records, or rows of cells as spreadsheet programs write them.

Read without document types of its own, without entities other than the five of the standard, and without anything from
outside: a file that declares entities is refused.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.files.grids import grid_table
from excursions.read.model import ReadOptions
from excursions.read.text.lines import BOMS, encoding_of

_DECLARED = re.compile(r"\s*<\?xml\b")
_ELEMENT = re.compile(r"\s*<[A-Za-z_][\w:.\-]*(?:\s+[\w:.\-]+\s*=\s*(?:\"[^\"<]*\"|'[^'<]*'))*\s*/?>")
_LARGEST = 300 * 2**20
_DEEPEST = 200
_LONGEST_DECLARED = 200
_ROW, _CELL = (
    frozenset(("row", "tr", "record", "r", "table-row")),
    frozenset(("cell", "c", "td", "th", "data", "value", "v", "field", "table-cell")),
)
_INDEX = "Index"  # of a cell, where cells before it are left out

Record = dict[str, str]


def is_xml(start: bytes) -> bool:
    """Whether bytes begin as an XML document does: declared, or with an element that is closed further on."""
    text = _text_of(start)
    return bool(_DECLARED.match(text) or (_ELEMENT.match(text) and re.search(r"</[A-Za-z_]|/>", text)))


def _text_of(start: bytes) -> str:
    for mark, name in BOMS:
        if start.startswith(mark):
            return start[len(mark) :].decode(name, errors="replace")
    return start.decode("latin-1")


def xml_tables(content: Content, options: ReadOptions) -> Opened:
    """A table of its records, or one for each sheet of rows and cells.

    Raises
    ------
    InputFileError
        If it is no sound XML, declares entities, or is too large to be held in memory.
    """
    data = content.whole()
    if len(data) > _LARGEST:
        raise InputFileError(
            found=f"an XML file of {len(data)} bytes", expected=f"at most {_LARGEST}", mend="export it as CSV or in pieces"
        )  # fmt: skip
    root, cut = _tree(_in_known_encoding(data))
    words = ", ".join(part for part in ("XML", content.packing) if part)
    notes = ("the XML file is cut off; what came before was used",) if cut is not None else ()
    sheets = list(_sheets(root))
    for title, rows in sheets:
        name = f"{content.name}!{title}" if len(sheets) > 1 else content.name
        yield name, grid_table(rows, words, notes)
    if sheets:
        return
    records = list(_records(root, {}))
    names = list(dict.fromkeys(name for record in records for name in record))
    if not names:
        raise InputFileError(
            found="an XML file without records", expected="elements that repeat, each with a time and readings", mend="export it as CSV"
        )  # fmt: skip
    columns = {name: [record.get(name) for record in records] for name in names}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(names, pl.String))
    yield (
        content.name,
        FrameTable(frame=frame.lazy(), words=words, height=frame.height, notes=notes, lost=cut or ""),
    )


_STATED = re.compile(rb"(<\?xml\b[^>]{0,80}?encoding\s*=\s*[\"'])([\w.:\-]{1,40})([\"'])")
_KNOWN = frozenset(("utf-8", "utf-16", "us-ascii", "iso-8859-1"))  # to the parser itself


def _in_known_encoding(data: bytes) -> bytes:
    """The document in UTF-8 where it states an encoding the parser does not know, Shift_JIS or a slip such as "UTF.8"."""
    match = _STATED.search(data[:_LONGEST_DECLARED])
    if match is None or match[2].decode().casefold() in _KNOWN:
        return data
    try:
        text = data.decode(match[2].decode(), errors="replace")
    except (LookupError, UnicodeError):
        text = data.decode(encoding_of(data)[0], errors="replace")
    return _STATED.sub(rb"\g<1>utf-8\g<3>", text.encode(), count=1)


def _tree(data: bytes) -> tuple[Element, str | None]:
    """The root element, and what was lost of the last record where the file is cut off before its end, else None."""
    builder, parser = TreeBuilder(), expat.ParserCreate()
    stack: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        stack.append(name)
        if len(stack) > _DEEPEST:
            raise _refused(f"an XML file of more than {_DEEPEST} elements within one another")
        builder.start(
            _local(name),
            {_local(key): text for key, text in attributes.items() if not key.startswith("xmlns")},
        )

    def end(name: str) -> None:
        stack.pop()
        builder.end(_local(name))

    def entity(*_: object) -> None:
        raise _refused("an XML file that declares entities of its own")

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler, parser.EntityDeclHandler = builder.data, entity
    parser.buffer_text = True
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        if not stack or error.code not in (
            expat.errors.codes[expat.errors.XML_ERROR_NO_ELEMENTS],
            expat.errors.codes[expat.errors.XML_ERROR_UNCLOSED_TOKEN],
            expat.errors.codes[expat.errors.XML_ERROR_PARTIAL_CHAR],
        ):
            raise InputFileError(
                found=f"an XML file that cannot be read ({expat.errors.messages[error.code]})", expected="a sound one",
                mend="copy or export it again", line=error.lineno,
            ) from error  # fmt: skip
        for name in reversed(stack):
            builder.end(_local(name))
        root = builder.close()
        return root, _without_piece(root, len(stack))
    return builder.close(), None


def _without_piece(root: Element, depth: int) -> str:
    """Take away the record that a file was cut off in: the first of the open elements that is one of several."""
    holder = root
    for _ in range(depth - 1):
        if not len(holder):
            break
        last = holder[-1]
        if sum(child.tag == last.tag for child in holder) > 1:
            holder.remove(last)
            return (
                " ".join(filter(None, (*last.attrib.values(), *(text.strip() for text in last.itertext()))))
                or last.tag
            )
        holder = last
    return ""


def _refused(found: str) -> InputFileError:
    return InputFileError(
        found=found,
        expected="plain elements with texts",
        mend="export it as CSV, or as XML without a document type",
    )


def _local(name: str) -> str:
    """A name without the prefix of its space."""
    return name.rpartition(":")[2]


def _sheets(root: Element) -> Iterator[tuple[str, list[list[str]]]]:
    """Rows of unnamed cells, by what holds them."""
    for number, holder in enumerate(root.iter(), start=1):
        rows = [child for child in holder if child.tag.casefold() in _ROW]
        if len(rows) > 1 and all(map(_is_cells, rows)):
            title = next((text for key, text in holder.items() if key.casefold() in ("name", "title")), "")
            yield title or _title_above(root, holder) or f"table {number}", [_cells_of(row) for row in rows]


def _title_above(root: Element, holder: Element) -> str:
    """The name of the element around a table."""
    around = next((element for element in root.iter() if holder in list(element)), None)
    return (
        next((text for key, text in around.items() if key.casefold() == "name"), "")
        if around is not None
        else ""
    )


def _is_cells(row: Element) -> bool:
    """Whether an element holds cells that only their places tell apart."""
    tags = {cell.tag.casefold() for cell in row} - {"covered-table-cell"}
    named = any(
        key.casefold() in ("name", "key", "id", "tag", "column", "field")
        for cell in row
        for key in cell.attrib
    )
    return len(tags) == 1 and tags <= _CELL and not named


def _cells_of(row: Element) -> list[str]:
    cells: list[str] = []
    for cell in row:
        place = next((text for key, text in cell.items() if key == _INDEX), "")
        if place.isdecimal() and len(cells) < int(place) - 1 < _LONGEST_DECLARED:
            cells.extend([""] * (int(place) - 1 - len(cells)))
        cells += [_said(cell)] * _times(cell)
    return cells


def _said(cell: Element) -> str:
    """What a cell holds: of the cells of an open document (ISO/IEC 26300) the number or date itself, not how it is shown."""
    kind = _OPEN_VALUES.get(cell.get("value-type", ""), "")
    return cell.get(kind, "") or "".join(cell.itertext()).strip()


_OPEN_VALUES = {"float": "value", "date": "date-value"}


def _times(cell: Element) -> int:
    """For how many columns an open document says a cell once; what fills a row up to its end is left out."""
    text = cell.get("number-columns-repeated", "1")
    count = int(text) if text.isdecimal() and len(text) < 6 else 1
    return count if count < _LONGEST_DECLARED else 1


def _records(node: Element, around: Record) -> Iterator[Record]:
    """A record for each element without others that repeat below it: its own fields, and those of all that hold it."""
    fields: Record = {}
    below = list(_gathered(node, fields))
    whole = {
        **around,
        **{key if key not in around else f"{node.tag}.{key}": text for key, text in fields.items()},
    }
    if not below:
        yield whole
    for child in below:
        yield from _records(child, whole)


def _gathered(node: Element, fields: Record) -> Iterator[Element]:
    """Put what an element says once into `fields`; what repeats below it is given back."""
    for key, text in node.items():
        _put(fields, node.tag, key, text)
    own = (node.text or "").strip()
    if own and not len(node):
        _put(fields, node.tag, node.tag, own)
    counts = Counter(child.tag for child in node)
    for child in node:
        if counts[child.tag] > 1:
            yield child
        elif len(child):
            yield from _gathered(child, fields)
        else:
            for key, text in child.items():
                _put(fields, child.tag, f"{child.tag}.{key}", text)
            if (child.text or "").strip() or not child.attrib:
                _put(fields, child.tag, child.tag, child.text or "")


def _put(fields: Record, tag: str, key: str, text: str) -> None:
    """A field under its key, or under the element's name too where the key is taken."""
    fields[key if key not in fields else f"{tag}.{key}"] = text.strip()
