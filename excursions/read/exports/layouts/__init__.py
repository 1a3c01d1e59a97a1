"""The shapes of exports.  A new one is a module here with `propose`, and a row in LAYOUTS.

`propose` looks at a :class:`Sheet` and returns a :class:`Draft`, or None when the sheet is not of its shape.
The first that answers wins, so the more particular shapes come first.
"""

from __future__ import annotations

from collections.abc import Callable

from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts import groups, long, wide
from excursions.read.exports.layouts.plan import Draft

Propose = Callable[[Sheet], Draft | None]

LAYOUTS: tuple[tuple[str, Propose], ...] = (
    ("groups", groups.propose),
    ("long", long.propose),
    ("wide", wide.propose),
)
