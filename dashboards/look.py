"""The look of the pages: inks on ledger paper, families of events, the plotly template.

Figures name inks as tokens (``@reading``); a notebook gets them as light colours from :func:`paint`, a page
takes them from its style sheet, which also knows the dark ones.  The inks mean the same everywhere:
blue is what the probe said, red is heat, pencil is what we estimate, violet is a calibration, green is the
laboratory.  None of them carries a verdict: verdicts are words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from excursions.kinds import KINDS

LIGHT: dict[str, str] = {
    "paper": "#f2f5ec",
    "sheet": "#fafbf6",
    "ink": "#18221d",
    "quiet": "#4e5b54",
    "rule": "#c3cfc2",
    "margin": "#98304a",
    "reading": "#1c4e94",
    "heat": "#ad3e12",
    "pencil": "#5f6362",
    "band": "rgba(95,99,98,0.16)",
    "lab": "#17684a",
    "mark": "#5d3893",
    "doubt": "rgba(176,132,20,0.17)",
    "noise": "#2f6f86",
    "state": "#7b8a80",
}
DARK: dict[str, str] = {
    "paper": "#101612",
    "sheet": "#171f1a",
    "ink": "#e6ece2",
    "quiet": "#a5b3a9",
    "rule": "#3a493f",
    "margin": "#e08a9c",
    "reading": "#8fbcf5",
    "heat": "#f59a6c",
    "pencil": "#b9bfbc",
    "band": "rgba(190,196,192,0.18)",
    "lab": "#77d6ad",
    "mark": "#c4a8f0",
    "doubt": "rgba(226,184,84,0.17)",
    "noise": "#83c3d8",
    "state": "#84948a",
}
SANS = "'Gill Sans Nova', 'Segoe UI', 'Noto Sans', 'Liberation Sans', Arial, sans-serif"


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Kinds of event that belong together on a calendar: key of the table of kinds, words, ink."""

    key: str
    label: str
    ink: str


FAMILIES: tuple[Family, ...] = (
    Family(key="heat", label="heat", ink="heat"),
    Family(key="still", label="does not follow", ink="margin"),
    Family(key="moved", label="moved", ink="reading"),
    Family(key="noise", label="noise", ink="noise"),
    Family(key="missing", label="data missing", ink="state"),
    Family(key="other", label="other", ink="pencil"),
)
_FAMILY = {family.key: family for family in FAMILIES}


def family(kind: str) -> Family:
    """The family of a kind of event; kinds nobody placed are ``other``."""
    return _FAMILY[KINDS[kind].family if kind in KINDS else "other"]


def paint(spec: object, palette: Mapping[str, str] = LIGHT) -> object:
    """Replace every ``@ink`` in a nested figure description by its colour; nothing else is touched."""
    if isinstance(spec, dict):
        return {key: paint(item, palette) for key, item in spec.items()}
    if isinstance(spec, list):
        return [paint(item, palette) for item in spec]
    if isinstance(spec, str) and spec.startswith("@"):
        return palette[spec[1:]]
    return spec


def base_layout(height: int) -> dict[str, object]:
    """What every figure shares: paper, type, hover, no tool bar of its own."""
    return {
        "height": height,
        "autosize": True,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": SANS, "size": 13, "color": "@ink"},
        "showlegend": False,
        "hoverlabel": {
            "bgcolor": "@sheet",
            "bordercolor": "@rule",
            "font": {"family": SANS, "size": 13, "color": "@ink"},
            "align": "left",
        },
        "dragmode": "zoom",
    }


def date_axis(**more: object) -> dict[str, object]:
    """A time axis: day before month, the hour only when it matters."""
    return axis(
        type="date",
        tickformatstops=[
            {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
            {"dtickrange": [60_000, 86_400_000], "value": "%H:%M\n%-d %b"},
            {"dtickrange": [86_400_000, "M1"], "value": "%-d %b"},
            {"dtickrange": ["M1", None], "value": "%b %Y"},
        ],
        **more,
    )


def axis(**more: object) -> dict[str, object]:
    """A quiet axis: a fine line, no box, no zero line; the margin at its left grows to hold its longest label."""
    return {
        "automargin": "left",
        "gridcolor": "@rule",
        "gridwidth": 1,
        "linecolor": "@rule",
        "tickcolor": "@rule",
        "zeroline": False,
        "showline": False,
        "ticks": "outside",
        "ticklen": 4,
        "tickfont": {"size": 12, "color": "@quiet"},
        **more,
    }
