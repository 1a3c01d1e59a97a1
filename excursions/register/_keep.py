"""A completed register as the user's own text with lines added to it: nothing of theirs moves or changes."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Item, Table

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_-]+)\s*\]\]?\s*(?:#.*)?$")
_ANY_HEADER = re.compile(r"^\s*\[\[?\s*[A-Za-z0-9_\"'-]")
_SILENT = re.compile(r"^\s*(?:#.*)?$")


def kept(existing: str, document: tomlkit.TOMLDocument) -> str:
    """The user's text with what `document` states beyond it, each line in the block it belongs to.

    Where a text is written so that lines cannot be placed in it for certain (the result would not say what the
    document says), the document itself is written, which keeps comments but may move blocks.
    """
    whole = tomlkit.dumps(document)
    if not existing.strip():
        return whole
    text = _with_additions(existing.removeprefix("\ufeff"), document, whole)
    try:
        same = tomllib.loads(text) == tomllib.loads(whole)
    except tomllib.TOMLDecodeError:
        same = False
    return text if same else whole


def _with_additions(existing: str, document: tomlkit.TOMLDocument, whole: str) -> str:
    end = "\r\n" if "\r\n" in existing else "\n"
    lines = existing.splitlines()
    places = _places(lines)
    stated = tomllib.loads(existing)
    inside: dict[int, list[str]] = {}
    behind: list[str] = []
    for section, value in document.items():
        before = stated.get(section)
        rows = list(value) if isinstance(value, AoT) else [value]
        known = before if isinstance(before, list) else [before] if before is not None else []
        for number, row in enumerate(rows):
            if not isinstance(row, Table):
                continue
            if number >= len(known):
                head = f"[[{section}]]" if isinstance(value, AoT) else f"[{section}]"
                behind += ["", head, *_lines(row, {})]
            elif (section, number) in places:
                inside.setdefault(places[section, number], []).extend(_lines(row, known[number]))
    remarks = [line for line in whole.splitlines() if line.startswith("# ") and line not in lines]
    out: list[str] = []
    for at, line in enumerate(lines):
        out += [line, *inside.get(at, [])]
    while behind and out and not out[-1].strip():
        out.pop()
    return end.join([*out, *behind, *remarks]) + end


def _places(lines: list[str]) -> dict[tuple[str, int], int]:
    """Index of the last line that says something in each block, by section and number of the block in it."""
    found: dict[tuple[str, int], int] = {}
    counted: dict[str, int] = {}
    current: tuple[str, int] | None = None
    for at, line in enumerate(lines):
        if match := _HEADER.match(line):
            name = match[2]
            current = (name, counted.get(name, 0))
            counted[name] = current[1] + 1
        elif _ANY_HEADER.match(line):
            current = None
        if current is not None and not _SILENT.match(line):
            found[current] = at
    return found


def _lines(row: Table, known: Mapping[str, Any]) -> list[str]:
    """Keys of a row that are not known yet, each as a line with its comment."""
    return [_line(key, item) for key, item in row.items() if key not in known and isinstance(item, Item)]


def _line(key: str, item: Item) -> str:
    comment = f" {item.trivia.comment}" if item.trivia.comment else ""
    return f"{tomlkit.key(key).as_string()} = {item.as_string()}{comment}"
