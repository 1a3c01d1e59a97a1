"""Lines of a terminal in which a number and its unit, or an error and its figure, stay together, and names with a hyphen stay whole."""

from __future__ import annotations

import re
import textwrap

_HELD = "\u00a0"
_UNITS = (
    r"%(?: sat)?|°[CF](?:/min)?|deg[CF]|K(?:/min)?|pH|mV(?:/pH)?|[µu]S/cm|mS/cm|[mµ]g/[Ll]|[NF][TN]U|ppm|ppb|[mk]?Pa|hPa|bar|nA(?:/hPa)?"
    r"|ms|s|min|h|d|g/L|FTU|cm⁻¹|×"
)
# What is parted by a blank that must not become the end of a line: before a unit, and on both sides of ±.
_BLANKS = (
    re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w/°]))"),
    re.compile(r"(?<=±) (?=\d)"),
    re.compile(r"(?<=\d%) (?=sat\b)|(?<=\d\u00a0%) (?=sat\b)"),
)


def wrapped(text: str, width: int, *, first: str = "", then: str = "") -> list[str]:
    """A text in lines of at most `width` columns; `first` stands before the first line, `then` before the others."""
    lines = textwrap.wrap(
        _held(text),
        width,
        initial_indent=first,
        subsequent_indent=then,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace(_HELD, " ") for line in lines]


def filled(text: str, width: int, *, first: str = "", then: str = "") -> str:
    """The lines of :func:`wrapped` as one text."""
    return "\n".join(wrapped(text, width, first=first, then=then))


def _held(text: str) -> str:
    for blank in _BLANKS:
        text = blank.sub(_HELD, text)
    return text
