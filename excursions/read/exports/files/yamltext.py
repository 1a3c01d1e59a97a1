"""YAML of plain records: lists, mappings, and one-line lists and mappings in brackets; it is then read as JSON is.

Not all of YAML: what points elsewhere, has a type of its own or runs over several lines is refused, so that nothing is
expanded and nothing built.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import NoReturn

from excursions.errors import InputFileError
from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.jsontext import json_table
from excursions.read.model import ReadOptions
from excursions.read.text.lines import encoding_of

_LARGEST, _DEEPEST, _LOOKED_AT = 200 * 2**20, 60, 16 * 2**10
_LIST = re.compile(r"\s*- (?:[\[{\"']|[\w.\-/]+\s*:\s)")
_KEY_ALONE = re.compile(r"(?:\"[^\"]+\"|'[^']+'|[^\s#:\-\[{][^:\n]{0,200}):\s*(?:#.*)?")
_PAIR, _HEAD_LINES = re.compile(r"\s*[^\s:\-\[{#][^:\n]{0,100}:(?: +\S|\s*$)"), 60
_ITEM = re.compile(r"\s*-(?:\s|$)")
_INNER = re.compile(r"\s+(?:\"[^\"]+\"|'[^']+'|[^\s#\-\[{][^\n]{0,200}?):(?:\s|$)")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMENT = re.compile(r"(?:^|\s)#.*$")
_NOTHING, _TRUE, _FALSE = (
    frozenset(("", "~", "null", "Null", "NULL")),
    frozenset(("true", "True", "TRUE")),
    frozenset(("false", "False", "FALSE")),
)
_ODD = {"&": "an anchor", "*": "an alias", "!": "a type of its own", "|": "a text over several lines", ">": "a text over several lines", "?": "a key of its own", "@": "a reserved mark", "`": "a reserved mark"}  # fmt: skip

_OPEN = "the last line has no line end: if the file was cut off there, its last reading may be wrong"

Node = object
Line = tuple[int, str, int]  # blanks before it, the text, its number


def is_yaml(start: bytes) -> bool:
    """Whether the first lines are a list of records, or a key with a list or a mapping below it."""
    lines = [
        line
        for line in start[:_LOOKED_AT].decode("utf-8", errors="replace").splitlines()
        if line.strip() and not line.lstrip().startswith("#")
    ]
    begun = bool(lines) and lines[0].rstrip() == "---"
    lines = lines[1:] if begun else lines
    if len(lines) < 2:
        return False
    if _LIST.match(lines[0]):
        return True
    first = next((at for at, line in enumerate(lines[:_HEAD_LINES]) if _ITEM.match(line)), 0)
    held = lines[first - 1].strip() if first else ""
    if _KEY_ALONE.fullmatch(held) and _LIST.match(lines[first]) and all(map(_PAIR.match, lines[:first])):
        return True
    below = lines[1]
    return bool(_KEY_ALONE.fullmatch(lines[0].rstrip())) and bool(
        _ITEM.match(below) or (begun and _INNER.match(below))
    )


def yaml_table(content: Content, options: ReadOptions) -> Opened:
    """The file as one table.

    Raises
    ------
    InputFileError
        If it is no YAML of plain records, or too large to be held in memory.
    """
    data = content.whole()
    if len(data) > _LARGEST:
        raise InputFileError(
            found=f"a YAML file of {len(data)} bytes", expected=f"at most {_LARGEST}", mend="export it as CSV or in pieces"
        )  # fmt: skip
    encoding, mark = encoding_of(data[:65_536], options.encoding)
    text = data[mark:].decode(encoding, errors="replace")
    documents = [_Document(lines).whole() for lines in _documents(text)]
    said = json.dumps(documents[0] if len(documents) == 1 else documents).encode()
    inner = replace(content, start=said[:65_536], chunks=lambda: iter([said]))
    for name, table in json_table(inner, options):
        table.words = ", ".join(part for part in ("YAML", content.packing) if part)  # type: ignore[misc]
        if not text.endswith("\n"):
            table.notes = (_OPEN,)  # type: ignore[attr-defined]
        yield name, table


def _documents(text: str) -> Iterator[list[Line]]:
    lines: list[Line] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith(("---", "...", "%")) and not line[3:].strip():
            if lines:
                yield lines
            lines = []
            continue
        said = _without_comment(line).rstrip()
        if said.strip():
            blanks = len(said) - len(said.lstrip(" "))
            if said[blanks] == "\t":
                _refuse("a tab before the text", number)
            lines.append((blanks, said[blanks:], number))
    if lines:
        yield lines


def _without_comment(line: str) -> str:
    if "#" not in line:
        return line
    if '"' in line or "'" in line:
        quote = ""
        for at, char in enumerate(line):
            if quote:
                quote = "" if char == quote else quote
            elif char in "\"'":
                quote = char
            elif char == "#" and (not at or line[at - 1].isspace()):
                return line[:at]
        return line
    return _COMMENT.sub("", line)


def _refuse(found: str, line: int) -> NoReturn:
    raise InputFileError(
        found=f"YAML with {found}", expected="plain records: keys, texts, numbers and lists", mend="export it as CSV or JSON", line=line
    )  # fmt: skip


class _Document:
    """One document, read from its first line to its last."""

    def __init__(self, lines: list[Line]) -> None:
        self.lines, self.at = lines, 0

    def whole(self) -> Node:
        """Everything in it."""
        node = self._block(self.lines[0][0], 0)
        if self.at < len(self.lines):
            _refuse("a line that stands further to the left than those above it", self.lines[self.at][2])
        return node

    def _block(self, blanks: int, depth: int) -> Node:
        if depth > _DEEPEST:
            _refuse(f"more than {_DEEPEST} levels", self.lines[self.at][2])
        text = self.lines[self.at][1]
        if _ITEM.match(text):
            return self._list(blanks, depth)
        if _split(text, self.lines[self.at][2]) is not None:
            return self._mapping(blanks, depth)
        _, text, number = self.lines[self.at]
        self.at += 1
        return _value(text, number)

    def _list(self, blanks: int, depth: int) -> list[Node]:
        found: list[Node] = []
        while (
            self.at < len(self.lines)
            and self.lines[self.at][0] == blanks
            and _ITEM.match(self.lines[self.at][1])
        ):
            _, text, number = self.lines[self.at]
            rest = text[1:].lstrip(" ")
            if not rest:
                self.at += 1
                found.append(self._below(blanks, depth, same=False))
            else:
                self.lines[self.at] = (blanks + len(text) - len(rest), rest, number)
                found.append(self._block(self.lines[self.at][0], depth + 1))
        return found

    def _mapping(self, blanks: int, depth: int) -> dict[str, Node]:
        found: dict[str, Node] = {}
        while self.at < len(self.lines) and self.lines[self.at][0] == blanks:
            _, text, number = self.lines[self.at]
            pair = None if _ITEM.match(text) else _split(text, number)
            if pair is None:
                break
            key, rest = pair
            if key in found:
                _refuse(f'the key "{key}" twice', number)
            self.at += 1
            found[key] = _value(rest, number) if rest else self._below(blanks, depth, same=True)
        return found

    def _below(self, blanks: int, depth: int, *, same: bool) -> Node:
        """What stands below a key or a dash; a list may begin at the blanks of its key."""
        if self.at == len(self.lines):
            return None
        inner, text, _ = self.lines[self.at]
        if inner > blanks or (same and inner == blanks and _ITEM.match(text)):
            return self._block(inner, depth + 1)
        return None


def _split(text: str, line: int) -> tuple[str, str] | None:
    """Key and rest of ``key: rest``; None where the text is none."""
    if text[0] in "[{":
        return None
    if text[0] in "\"'":
        end = _quoted_end(text, 0, line)
        behind = text[end:].lstrip()
        return (str(_scalar(text[:end], line)), behind[1:].strip()) if behind[:1] == ":" else None
    key, colon, rest = text.partition(": ")
    if colon:
        return key.strip(), rest.strip()
    return (text[:-1].strip(), "") if text.endswith(":") else None


def _quoted_end(text: str, at: int, line: int) -> int:
    """Where a quoted text ends."""
    quote, end = text[at], at + 1
    while end < len(text):
        if text[end] == "\\" and quote == '"':
            end += 1
        elif text[end] == quote:
            if quote == "'" and text[end : end + 2] == "''":
                end += 1
            else:
                return end + 1
        end += 1
    _refuse("a quote that is not closed in its line", line)


def _value(text: str, line: int) -> Node:
    if text[0] in "[{":
        node, end = _flow(text, 0, line, 0)
        if text[end:].strip():
            _refuse(f'"{text[end:][:40]}" behind a bracket', line)
        return node
    return _scalar(text, line)


def _flow(text: str, at: int, line: int, depth: int) -> tuple[Node, int]:
    """A list or a mapping in brackets, and where it ends."""
    if depth > _DEEPEST:
        _refuse(f"more than {_DEEPEST} levels", line)
    close = "]" if text[at] == "[" else "}"
    items: list[Node] = []
    pairs: dict[str, Node] = {}
    at += 1
    while True:
        while at < len(text) and text[at] in " ,":
            at += 1
        if at >= len(text):
            _refuse("brackets over several lines", line)
        if text[at] == close:
            return (items if close == "]" else pairs), at + 1
        if close == "}":
            key, at = _piece(text, at, line, ":", depth)
            at += 1
            while at < len(text) and text[at] == " ":
                at += 1
            pairs[str(key)], at = _piece(text, at, line, ",}", depth) if at < len(text) else (None, at)
        else:
            node, at = _piece(text, at, line, ",]", depth)
            items.append(node)


def _piece(text: str, at: int, line: int, ends: str, depth: int) -> tuple[Node, int]:
    """A member of a bracket, up to one of the marks that end it; a colon ends a key only before a blank."""
    if at < len(text) and text[at] in "[{":
        return _flow(text, at, line, depth + 1)
    end = at
    if at < len(text) and text[at] in "\"'":
        end = _quoted_end(text, at, line)
    while end < len(text) and not (
        text[end] in ends and (text[end] != ":" or text[end + 1 : end + 2] in (" ", ""))
    ):
        end += 1
    return _scalar(text[at:end].strip(), line), end


def _scalar(text: str, line: int) -> Node:
    if text in _NOTHING:
        return None
    if text[0] == '"':
        try:
            return str(json.loads(text))
        except ValueError:
            _refuse(f"a text in quotes that cannot be read ({text[:40]})", line)
    if text[0] == "'":
        return text[1:-1].replace("''", "'")
    if text[0] in _ODD and not (text[0] == "*" and not text.strip("*")):
        _refuse(f"{_ODD[text[0]]} ({text[:40]})", line)
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if _NUMBER.fullmatch(text):
        return float(text) if any(mark in text for mark in ".eE") else int(text)
    return text
