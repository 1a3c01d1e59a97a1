"""Web pages as tables, also under the name of a workbook: each table of the page is one of ours, the heading above it its name."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.grids import grid_table
from excursions.read.model import ReadOptions
from excursions.read.text.lines import encoding_of

_START = re.compile(
    rb"(?:\xef\xbb\xbf)?\s*(?:<!--.*?-->\s*)*<(?:!doctype\s+html|html|head|body|table|meta|style|div|h[1-6]|center|pre)\b",
    re.I | re.S,
)
_CHARSET = re.compile(rb"(?i)charset\s*=\s*[\"']?([\w-]{2,20})")
_LARGEST = 300 * 2**20
_MOST_SPANNED = 1_000
_TITLES = frozenset(("h1", "h2", "h3", "h4", "h5", "h6", "caption", "p", "b", "strong"))
_HIDDEN = frozenset(("script", "style", "title"))


def is_web_page(start: bytes) -> bool:
    """Whether bytes begin as a web page does, and may hold a table."""
    return _START.match(start) is not None


def web_tables(content: Content, options: ReadOptions) -> Opened:
    """The tables of a page, in its order.

    Raises
    ------
    InputFileError
        If it holds none, or is too large to be held in memory.
    """
    data = content.whole()
    if len(data) > _LARGEST:
        raise InputFileError(
            found=f"a web page of {len(data)} bytes", expected=f"at most {_LARGEST}", mend="export it as CSV or in pieces"
        )  # fmt: skip
    page = _Page()
    page.feed(_decoded(data, options.encoding))
    page.close()
    page.finish()
    tables = [(title, rows) for title, rows in page.tables if any(any(row) for row in rows)]
    if not tables:
        raise InputFileError(
            found="a web page (HTML) without a table in it, perhaps under the name of a workbook", expected="a table with times and readings",
            mend="open it in the program that wrote it and export it as CSV",
        )  # fmt: skip
    words = ", ".join(part for part in ("web page", content.packing) if part)
    for number, (title, rows) in enumerate(tables, start=1):
        name = f"{content.name}!{clean(title)[:80] or f'table {number}'}" if len(tables) > 1 else content.name
        yield name, grid_table([[title], *rows] if title else rows, words, (_OPEN,) if page.unclosed else ())


def _decoded(data: bytes, stated: str) -> str:
    named = _CHARSET.search(data[:4_000])
    encoding, mark = encoding_of(data[:65_536], stated or (named[1].decode() if named else ""))
    try:
        return data[mark:].decode(encoding, errors="replace")
    except LookupError:
        encoding, mark = encoding_of(data[:65_536])
        return data[mark:].decode(encoding, errors="replace")


_OPEN = "the web page has no end: if it was cut off there, its last reading may be wrong"


class _Page(HTMLParser):
    """Gathers the tables of a page: cells that span others stand in each of their places of the header, once elsewhere."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[tuple[str, list[list[str]]]] = []
        self.open: list[list[list[str]]] = []
        self.titles: list[str] = []
        self.text: list[str] = []
        self.spans: dict[tuple[int, int], str] = {}
        self.inside = ""
        self.span = (1, 1)
        self.hidden = 0
        self.unclosed = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A table, a row, a cell, or a heading begins."""
        if tag in _HIDDEN:
            self.hidden += 1
        elif tag == "table":
            self._end_cell()
            self.open.append([])
            self.titles.append(" ".join("".join(self.text).split()) if not self.inside else "")
            self.inside = self.inside if self.inside in ("td", "th") else ""
            self.text, self.spans = [], {}
        elif tag == "tr" and self.open:
            self._end_cell()
            self.open[-1].append([])
        elif tag in ("td", "th") and self.open:
            self._end_cell()
            if not self.open[-1]:
                self.open[-1].append([])
            said = dict(attrs)
            self.span = (_number(said.get("rowspan")), _number(said.get("colspan")))
            self.inside, self.text = tag, []
        elif tag in ("br", "p", "div") and self.inside in ("td", "th"):
            self.text.append(" ")
        elif tag in _TITLES and not self.inside and not (self.open and tag != "caption"):
            self.inside, self.text = tag, []

    def handle_endtag(self, tag: str) -> None:
        """The same end."""
        if tag in _HIDDEN:
            self.hidden = max(0, self.hidden - 1)
        elif tag in ("td", "th", "tr", "thead", "tbody"):
            self._end_cell()
        elif tag == "table" and self.open:
            self._end_cell()
            self.tables.append((self.titles.pop(), self.open.pop()))
            self.text = []
        elif tag == self.inside and tag in _TITLES:
            if tag == "caption" and self.open:
                self.titles[-1] = " ".join("".join(self.text).split())
                self.text = []
            self.inside = ""

    def handle_data(self, data: str) -> None:
        """Text of a cell or a heading; what stands loose between tables is none."""
        if self.inside and not self.hidden:
            self.text.append(data)

    def finish(self) -> None:
        """Tables that were never closed, in a page that is cut off."""
        self._end_cell()
        self.unclosed = bool(self.open)
        while self.open:
            self.tables.append((self.titles.pop(), self.open.pop()))

    def _end_cell(self) -> None:
        if self.inside not in ("td", "th") or not self.open:
            return
        rows = self.open[-1]
        row, text = rows[-1], " ".join("".join(self.text).split())
        at = len(rows) - 1
        self._fill(row, at)
        down, across = self.span
        for column in range(len(row), len(row) + across):
            row.append(text if column == len(row) or self.inside == "th" else "")
            for below in range(1, down):
                self.spans[at + below, column] = text if self.inside == "th" else ""
        self._fill(row, at)
        self.inside, self.text = "", []

    def _fill(self, row: list[str], at: int) -> None:
        """Cells of rows above that reach down to this one."""
        while (at, len(row)) in self.spans:
            row.append(self.spans.pop((at, len(row))))


def _number(text: str | None) -> int:
    return min(max(int(text), 1), _MOST_SPANNED) if text and text.isdecimal() else 1
