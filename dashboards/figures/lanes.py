"""Lanes under the curves: what happened, one line a kind of event and one a state, named in words at the left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards.content.life import swaps
from dashboards.figures.spec import Spec, label
from dashboards.look import axis, family
from dashboards.wording import STATE_WORDS, Reader, kind_label
from excursions.clock import TimeArray
from excursions.kinds import KINDS
from excursions.plant import Plant
from excursions.records import MEASURING, STATES, Calibration, Event
from excursions.report.result import PointFindings


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One named line under the curves: wall-clock starts and ends; a symbol when it holds instants only."""

    words: str
    ink: str
    start: np.ndarray
    end: np.ndarray
    symbol: str
    key: str


def lanes_of(
    findings: PointFindings, plant: Plant, calibrations: Sequence[Calibration], reader: Reader
) -> list[Lane]:
    """Kinds of event (those of the probe first), calibrations, swaps, then states other than measuring."""
    kinds: dict[str, list[Event]] = {}
    for event in findings.events:
        kinds.setdefault(event.kind, []).append(event)
    lanes = [
        _lane(
            KINDS[kind].short or kind_label(kind),
            family(kind).ink,
            [(e.start, e.end) for e in events],
            "",
            f"event:{kind}",
            reader,
        )
        for kind, events in sorted(kinds.items(), key=lambda item: (_least(item[1]), item[0]))
    ]
    if calibrations:
        times = [(c.time, c.time) for c in calibrations]
        lanes.append(_lane("calibration", "mark", times, "diamond-tall", "calibration", reader))
    changed = [(start, start) for _, start in swaps(plant, findings)]
    if changed:
        lanes.append(_lane("probe swap", "ink", changed, "triangle-up", "swap", reader))
    states = findings.states
    for code, name in enumerate(STATES):
        spans = states.spans(code)
        if code != MEASURING and spans.size:
            lanes.append(_lane(STATE_WORDS[name], "quiet", spans, "", f"state:{name}", reader))
    return lanes


def _least(events: Sequence[Event]) -> int:
    order = {"probe": 0, "undecided": 1, "record": 2, "process": 3, "routine": 4}
    return min(order.get(event.origin, 5) for event in events)


def _lane(
    words: str, ink: str, spans: Sequence[tuple[int, int]] | TimeArray, symbol: str, key: str, reader: Reader
) -> Lane:
    flat = reader.wall(np.array(spans, np.int64).reshape(-1))
    return Lane(words=words, ink=f"@{ink}", symbol=symbol, key=key, start=flat[::2], end=flat[1::2])


def lane_traces(lane: Lane, at: int, key: str) -> list[Spec]:
    """Spans of a lane at height `at` of axis `key`, and a tick where each begins, however short it is.

    A single path a trace: thousands of washes cost no more than one.
    """
    state = lane.key.startswith("state:")
    common: Spec = {
        "type": "scatter", "mode": "lines", "name": label(lane.words), "yaxis": key, "hoverinfo": "skip",
        "connectgaps": False,
    }  # fmt: skip
    if lane.symbol:
        mark = {"symbol": lane.symbol, "size": 11, "color": lane.ink}
        return [
            {**common, "mode": "markers", "meta": f"{lane.key}:start", "x": lane.start,
             "y": np.full(lane.start.size, float(at)), "marker": mark}
        ]  # fmt: skip
    half = 0.32 if state else 0.42
    long = lane.end > lane.start
    ticks = {"x": np.repeat(lane.start, 3), "y": np.tile([at - half, at + half, np.nan], lane.start.size)}
    bars = {
        "x": np.column_stack([lane.start, lane.end, lane.end])[long].ravel(),
        "y": np.tile([at, at, np.nan], int(long.sum())),
    }
    return [
        {**common, **bars, "meta": lane.key, "line": {"color": lane.ink, "width": 5 if state else 9}},
        {
            **common,
            **ticks,
            "meta": f"{lane.key}:start",
            "line": {"color": lane.ink, "width": 1 if state else 2},
        },
    ]


def state_ribbon(lanes: Sequence[Lane], key: str) -> list[Spec]:
    """The ribbon on which the states stand, a track each: they are the lowest lanes."""
    tracks = sum(lane.key.startswith("state:") for lane in lanes)
    if not tracks:
        return []
    return [
        {
            "type": "rect", "xref": "paper", "x0": 0, "x1": 1, "yref": key, "y0": -0.5, "y1": tracks - 0.5,
            "fillcolor": "@band", "line": {"width": 0}, "layer": "below",
        }
    ]  # fmt: skip


def lane_axis(lanes: Sequence[Lane], domain: list[float]) -> Spec:
    """The axis of all lanes, with their names clear of a bar that begins with the record."""
    count = len(lanes)
    return axis(
        domain=domain, fixedrange=True, range=[-0.6, max(count, 1) - 0.4], ticks="", ticklabelstandoff=7, showgrid=True,
        tickvals=[count - 1 - row for row in range(count)], ticktext=[label(lane.words, limit=24) for lane in lanes],
    )  # fmt: skip
