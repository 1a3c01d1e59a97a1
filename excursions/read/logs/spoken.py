"""Figures that people write into the remarks of a log: ``as found slope 95.2 % zero 7.08 pH, as left slope 98.9 %``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from excursions.read.logs.actions import phase_of
from excursions.read.logs.headers import FOUND, LEFT
from excursions.read.text.fold import plain

_NUMBER, _UNIT = r"[+-]?\d+(?:[.,]\d+)?", r"%|mv/ph|mv(?!\w)|ph(?!\w)|1/cm|/cm|cm-1"
_FIGURE = re.compile(
    r"(?P<name>slope|steilheit|pente|pendiente|offset|versatz|zero(?: ?point)?|nullpunkt|zp|cell ?constant|zellkonstante)"
    r"(?:\s+(?:was|is|of|at|now|war|ist|before|vorher|avant|antes|after|nachher|(?:as.)?found|(?:as.)?left))?\s*[:=]?\s*"
    rf"(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?"
    rf"(?:\s*(?:-+>|=+>|→|[,;/]?\s*(?:after|nachher|apres|despues|(?:as.)?left)\b:?)\s*(?P<after>{_NUMBER})\s*(?P<its>{_UNIT})?)?"
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
# Figures that stand before such words, with others behind those, are as found.
_ADJUSTED = re.compile(
    r"(?:as.?left|\bafter adj\w*|\bnach (?:der )?(?:just|kal|abgl|nachjust)\w*|adjusted to|set to|-+>|→)\D{0,16}\d"
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
    """Figures with their names in a remark; a phase holds from where it is said to where the next one is.

    An arrow leads from as found to as left, ``slope 95.1 -> 98.7 %``, and so does a word before the second figure.
    """
    said = plain(text).casefold()
    phases = [(match.start(), _MORE.get(match[0]) or phase_of(match[0])) for match in _WORDS.finditer(said)]
    found = []
    for match in _FIGURE.finditer(said):
        # "slope was 57.1" says it within the figure itself.
        phase = next((name for at, name in reversed(phases) if at <= match.end() and name), "")
        if match["after"] or (not phase and _ADJUSTED.search(said, match.end())):
            phase = FOUND
        figure = next(key for key, words in _NAMES if match["name"].startswith(words))
        found.append(
            Spoken(
                figure=figure,
                value=float(match["number"].replace(",", ".")),
                unit=match["unit"] or match["its"] or "",
                phase=phase,
            )
        )
        if match["after"]:
            later = float(match["after"].replace(",", "."))
            found.append(
                Spoken(figure=figure, value=later, unit=match["its"] or match["unit"] or "", phase=LEFT)
            )
    return tuple(found)
