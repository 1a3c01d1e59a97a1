"""Lines of a terminal in which a number and its unit, or an error and its figure, stay together, and names with a hyphen stay whole."""

from __future__ import annotations

import textwrap

from excursions.digits import HELD, unbroken


def wrapped(text: str, width: int, *, first: str = "", then: str = "") -> list[str]:
    """A text in lines of at most `width` columns; `first` stands before the first line, `then` before the others."""
    lines = textwrap.wrap(
        unbroken(text),
        width,
        initial_indent=first,
        subsequent_indent=then,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace(HELD, " ") for line in lines]


def filled(text: str, width: int, *, first: str = "", then: str = "") -> str:
    """The lines of :func:`wrapped` as one text."""
    return "\n".join(wrapped(text, width, first=first, then=then))
