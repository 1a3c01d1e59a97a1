"""What programs do to a whole text on its way: letters written as on web pages, each row in quotes of its own, drawn lines.

All are undone line by line before the text is cut, so that lines keep their numbers.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Sequence

Mend = Callable[[bytes], bytes]

_ENTITY = re.compile(rb"&(?:#\d{1,6}|#[xX][0-9a-fA-F]{1,5}|[A-Za-z]{2,8}\d{0,2});")
_CUTS = frozenset(",;\t|\"'\n\r")  # a letter that would cut the line elsewhere stays as it is
_WHOLE = re.compile(rb'(?m)^"((?:[^"\n]|"")*)"[,;\t]*$')
# "[2024-03-01 08:00:00] AT-101 7.02": programs that log put the time in brackets.
_BRACKETED = re.compile(rb"(?m)^\s*[\[(](\d[^\[\]()\n]{7,39})[\])]")
_FEWEST = 3
_MOST = 0.9
_SEPARATOR = re.compile(rb"[,;\t|]")


def mends_of(lines: Sequence[str]) -> tuple[Mend, ...]:
    """What is to be undone in a text that begins with these lines; mostly nothing."""
    found: list[Mend] = []
    filled = [line.encode() for line in lines if line.strip()]
    whole = [match for line in filled if (match := _WHOLE.fullmatch(line)) and _SEPARATOR.search(match[1])]
    if len(whole) >= max(_FEWEST, _MOST * len(filled)):
        found.append(_unquoted)
    if any(_letter(entity) != entity for line in filled for entity in _ENTITY.findall(line)):
        found.append(_with_letters)
    if sum(any(mark in line for mark in "│┃║") for line in lines) >= _FEWEST:
        found.append(_undrawn)
    if sum(_BRACKETED.match(line) is not None for line in filled) >= max(_FEWEST, _MOST * len(filled)):
        found.append(_unbracketed)
    return tuple(found)


def mended(data: bytes, mends: Sequence[Mend]) -> bytes:
    """The text with all of it undone."""
    for mend in mends:
        data = mend(data)
    return data


_DRAWN = {
    ord(mark): put
    for marks, put in (("│┃║", "|"), ("─━═", "-"), ("┌┐└┘├┤┬┴┼┏┓┗┛┣┫┳┻╋╔╗╚╝╠╣╦╩╬╞╡╪", "+"))
    for mark in marks
}


def _undrawn(data: bytes) -> bytes:
    """Lines drawn for the eye as the plain marks that others draw them with."""
    return data.decode(errors="replace").translate(_DRAWN).encode()


def _unbracketed(data: bytes) -> bytes:
    return _BRACKETED.sub(rb" \1 ", data)


def _unquoted(data: bytes) -> bytes:
    return _WHOLE.sub(rb"\1", data).replace(b'""', b'"')


def _with_letters(data: bytes) -> bytes:
    for entity in set(_ENTITY.findall(data)):
        data = data.replace(entity, _letter(entity))
    return data


def _letter(entity: bytes) -> bytes:
    """The letter an entity stands for, or the entity itself where it is none or would cut the line."""
    said = html.unescape(entity.decode())
    kept = len(said) != 1 or said in _CUTS or not (said.isprintable() or said == "\u00a0")
    return entity if kept else said.encode()
