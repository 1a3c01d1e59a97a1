"""Lanes under the curves: what happened, one line a kind of event and one a state, named in words at the left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards.content.life import swaps
from dashboards.figures.spec import Spec, broken, label, stamp
from dashboards.look import axis, family
from dashboards.wording import STATE_WORDS, Reader, kind_label
from excursions.plant import Plant
from excursions.records import MEASURING, STATES, Calibration, Event
from excursions.report.result import PointFindings


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One named line under the curves: spans, and a mark where each begins."""

    words: str
    ink: str
    spans: list[tuple[object, object]]
    marks: list[object]
    symbol: str
    key: str


# Shorter words where the full ones would not fit beside the lanes.
SHORT_WORDS = {
    "pinned": "pinned at range end",
    "out_of_range": "impossible reading",
    "temperature_fault": "temperature fault",
}


def lanes_of(
    findings: PointFindings, plant: Plant, calibrations: Sequence[Calibration], reader: Reader
) -> list[Lane]:
    """Kinds of event (those of the probe first), calibrations, swaps, then states other than measuring."""
    kinds: dict[str, list[Event]] = {}
    for event in findings.events:
        kinds.setdefault(event.kind, []).append(event)
    lanes = [
        _lane(
            SHORT_WORDS.get(kind, kind_label(kind)),
            family(kind).ink,
            [(e.start, e.end) for e in events],
            "line-ns",
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
            pairs = [(int(a), int(b)) for a, b in spans]
            lanes.append(_lane(STATE_WORDS[name], "state", pairs, "line-ns", f"state:{name}", reader))
    return lanes


def _least(events: Sequence[Event]) -> int:
    order = {"probe": 0, "undecided": 1, "record": 2, "process": 3, "routine": 4}
    return min(order.get(event.origin, 5) for event in events)


def _lane(
    words: str, ink: str, spans: Sequence[tuple[int, int]], symbol: str, key: str, reader: Reader
) -> Lane:
    flat = reader.wall(np.array(spans, np.int64).reshape(-1))
    pairs = [(flat[i], flat[i + 1]) for i in range(0, flat.size, 2)]
    return Lane(
        words=words, ink=f"@{ink}", symbol=symbol, key=key,
        spans=[(stamp(a), stamp(b)) for a, b in pairs if a != b],
        marks=[stamp(a) for a, _ in pairs] if symbol else [],
    )  # fmt: skip


def lane_traces(lane: Lane, at: int, key: str) -> list[Spec]:
    """Spans and marks of a lane at height `at` of axis `key`."""
    x, y = broken(lane.spans, float(at))
    state = lane.key.startswith("state:")
    data: list[Spec] = []
    if x:
        data.append(
            {
                "type": "scatter", "mode": "lines", "name": label(lane.words), "meta": lane.key, "yaxis": key,
                "x": x, "y": y, "line": {"color": lane.ink, "width": 5 if state else 9}, "hoverinfo": "skip",
            }
        )  # fmt: skip
    if lane.marks:
        data.append(
            {
                "type": "scatter", "mode": "markers", "name": label(lane.words), "meta": f"{lane.key}:start",
                "yaxis": key, "x": lane.marks, "y": [float(at)] * len(lane.marks), "hoverinfo": "skip",
                "marker": {
                    "symbol": lane.symbol, "size": 5 if state else 11, "color": lane.ink,
                    "line": {"color": lane.ink, "width": 1 if state else 2},
                },
            }
        )  # fmt: skip
    return data


def lane_axis(lanes: Sequence[Lane], domain: list[float]) -> Spec:
    """The axis of all lanes, with their names."""
    count = len(lanes)
    return axis(
        domain=domain, fixedrange=True, range=[-0.6, max(count, 1) - 0.4], ticks="", showgrid=True,
        tickvals=[count - 1 - row for row in range(count)], ticktext=[label(lane.words, limit=24) for lane in lanes],
    )  # fmt: skip
