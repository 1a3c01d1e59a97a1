"""Figures that people write into the remarks of a log: ``as found slope 95.2 % zero 7.08 pH, as left slope 98.9 %``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from excursions.read.actions import phase_of
from excursions.read.fold import plain
from excursions.read.headers import FOUND, LEFT

_FIGURE = re.compile(
    r"(?P<name>slope|steilheit|pente|pendiente|offset|versatz|zero(?: ?point)?|nullpunkt|zp|cell ?constant|zellkonstante)"
    r"(?:\s+(?:was|is|of|at|now|war|ist))?\s*[:=]?\s*"
    r"(?P<number>[+-]?\d+(?:[.,]\d+)?)\s*(?P<unit>%|mv/ph|mv(?!\w)|ph(?!\w)|1/cm|/cm|cm-1)?"
)
_NAMES = (
    ("slope", ("slope", "steilheit", "pente", "pendiente")),
    ("offset", ("offset", "versatz")),
    ("cell_constant", ("cell", "zellkonstante")),
    ("zero_point", ("zero", "nullpunkt", "zp")),
)
# Before a figure these say whether it was found or left.
_WORDS = re.compile(
    r"as.?found|as.?left|found|left|before|after|vorher|nachher|was(?!ch)|adjusted to|set to|now|new|old|initial|final"
)
_MORE = {"was": FOUND, "old": FOUND, "adjusted to": LEFT, "set to": LEFT, "now": LEFT, "new": LEFT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """One figure in running text: its name as headers say it, number, unit as written, and phase (empty: not said)."""

    figure: str
    value: float
    unit: str
    phase: str


def figures_in(text: str) -> tuple[Spoken, ...]:
    """Figures with their names in a remark; a phase holds from where it is said to where the next one is."""
    said = plain(text).casefold()
    phases = [(match.start(), _MORE.get(match[0]) or phase_of(match[0])) for match in _WORDS.finditer(said)]
    found = []
    for match in _FIGURE.finditer(said):
        # "slope was 57.1" says it within the figure itself.
        phase = next((name for at, name in reversed(phases) if at <= match.end() and name), "")
        figure = next(key for key, words in _NAMES if match["name"].startswith(words))
        found.append(
            Spoken(
                figure=figure,
                value=float(match["number"].replace(",", ".")),
                unit=match["unit"] or "",
                phase=phase,
            )
        )
    return tuple(found)
