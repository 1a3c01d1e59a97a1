"""A figure as plain data: what plotly is given, before colours."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboards.look import LIGHT, paint
from dashboards.markup.text import plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure as Figure

# A figure description is plotly's own nested JSON; its values have no narrower type than this.
Spec = dict[str, Any]


def to_figure(spec: Spec) -> Figure:
    """A plotly figure in light colours, for a notebook or a program."""
    import plotly.graph_objects as go

    return go.Figure(paint(spec, LIGHT))


def broken(spans: Sequence[tuple[object, object]], at: float) -> tuple[list[object], list[float | None]]:
    """Spans as one line with breaks: x and y for a single trace however many spans there are."""
    x: list[object] = []
    y: list[float | None] = []
    for start, end in spans:
        x += [start, end, None]
        y += [at, at, None]
    return x, y


def label(text: str, *, limit: int = 80) -> str:
    """Text from a file, made harmless for plotly's small markup and short enough for a label."""
    short = text if len(text) <= limit else text[: limit - 1] + "…"
    return plain(short)


def note(words: str, *, ink: str, size: int = 12, **where: object) -> Spec:
    """Words in a figure, on paper of their own: a curve that passes behind them leaves them readable; `words` are harmless already."""
    font = {"size": size, "color": ink}
    return {"text": words, "showarrow": False, "font": font, "bgcolor": "@paper", **where}


def stamp(moment: np.datetime64) -> str:
    """A wall-clock instant as plotly reads dates."""
    return str(moment.astype("datetime64[ms]")).replace("T", " ")


def canonical_json(value: object) -> str:
    """The same bytes for the same content."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False)
