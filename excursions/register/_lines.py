"""Where each key of a TOML text stands: the parser gives values, a message needs the line."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

Path = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)(.+?)(\]\]?)\s*(#.*)?$")
_KEY = re.compile(r"""^\s*((?:"(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+|\s*\.\s*)+?)\s*=""")


@dataclass
class _Scan:
    lines: dict[Path, int] = field(default_factory=dict)
    arrays: dict[Path, int] = field(default_factory=dict)
    table: Path = ()

    def resolve(self, names: tuple[str, ...]) -> Path:
        """Put the index of the running element behind each array of tables."""
        path: Path = ()
        for name in names:
            path = (*path, name)
            if path in self.arrays:
                path = (*path, self.arrays[path])
        return path

    def header(self, text: str, number: int, *, array: bool) -> None:
        names = _names(f"[{text}]")
        if array and names:
            parent = self.resolve(names[:-1])
            path = (*parent, names[-1])
            self.lines.setdefault(path, number)
            self.arrays[path] = self.arrays.get(path, -1) + 1
        self.table = self.resolve(names)
        self.lines.setdefault(self.table, number)

    def key(self, text: str, number: int) -> None:
        path = self.table
        for name in _names(f"{text} = 0"):
            path = (*path, name)
            self.lines.setdefault(path, number)


def key_lines(text: str) -> dict[Path, int]:
    """One-based line of every table and key; arrays of tables carry an index in the path."""
    scan = _Scan()
    inside = _Value()
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), start=1):
        if inside.open:
            inside.feed(line)
            continue
        if (match := _HEADER.match(line)) and not _KEY.match(line):
            scan.header(match[2], number, array=match[1] == "[[")
        elif match := _KEY.match(line):
            scan.key(match[1], number)
            inside.feed(line[match.end() :])
    return scan.lines


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of a path, or of the nearest thing around it (inline tables have no lines of their own)."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path)


@dataclass
class _Value:
    """Follows a value over lines: brackets, strings of one line and of several."""

    depth: int = 0
    quote: str = ""

    @property
    def open(self) -> bool:
        return self.depth > 0 or len(self.quote) == 3

    def feed(self, line: str) -> None:
        at = 0
        while at < len(line):
            at = self._in_string(line, at) if self.quote else self._outside(line, at)
        if len(self.quote) == 1:
            self.quote = ""

    def _in_string(self, line: str, at: int) -> int:
        if line[at] == "\\" and self.quote[0] == '"':
            return at + 2
        if line.startswith(self.quote, at):
            at += len(self.quote)
            self.quote = ""
            return at
        return at + 1

    def _outside(self, line: str, at: int) -> int:
        char = line[at]
        if char == "#":
            return len(line)
        if char in "\"'":
            self.quote = char * 3 if line.startswith(char * 3, at) else char
            return at + len(self.quote)
        self.depth += (char in "[{") - (char in "]}")
        return at + 1


@lru_cache(maxsize=256)  # a register says the same few keys of every point
def _names(snippet: str) -> tuple[str, ...]:
    """Names of the keys in one header or key, read by the TOML parser itself."""
    try:
        node: Any = tomllib.loads(snippet)
    except tomllib.TOMLDecodeError:
        return ()
    names: list[str] = []
    while isinstance(node, dict) and node:
        name = next(iter(node))
        names.append(name)
        node = node[name]
    return tuple(names)
