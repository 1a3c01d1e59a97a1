"""What the page's script needs to explain a moment in words: events, states, calibrations, doubt, by wall clock."""

from __future__ import annotations

import math

import numpy as np

from dashboards.content.about import About
from dashboards.content.entry import in_trouble
from dashboards.content.found import found_shifts, found_words
from dashboards.content.life import swaps
from dashboards.content.scale import usual, usual_scale
from dashboards.figures.pack import pack_array
from dashboards.figures.spec import label
from dashboards.look import family
from dashboards.wording import ORIGIN_WORDS, STATE_WORDS, Reader
from excursions import clock
from excursions.digits import percent
from excursions.kinds import UNUSABLE
from excursions.records import STATES, Event, StateLine
from excursions.report.wording import HEAT


def point_facts(about: About, reader: Reader) -> dict[str, object]:
    """Facts of one point as plain JSON values; times are wall-clock milliseconds of the plant's zone."""
    findings = about.findings

    def level(value: float) -> float:
        return float(reader.level(np.array(value), findings.unit))

    def apart(value: float) -> float:
        return float(reader.apart(np.array(value), findings.unit))

    return {
        "name": findings.point.name,
        "label": findings.point.quantity.label,
        "unit": reader.unit(findings.unit),
        "temperature_unit": reader.unit("degC"),
        "zone": reader.tz.key,
        "clock": _clock(findings.start, findings.end, reader),
        "events": _events(about, reader),
        "states": _states(findings.states, reader),
        "calibrations": [
            [_ms(c.time, reader), f"{c.action}{f' of probe {c.probe}' if c.probe else ''}"]
            for c in about.calibrations
        ],
        "swaps": [
            [_ms(start, reader), f"Probe {row.probe} installed"]
            for row, start in swaps(about.plant, about.findings)
        ],
        "shifts": [
            [_ms(found.time, reader), found_words(found, about, reader)]
            for found in found_shifts(findings, about.shifts)
        ],
        "doubts": [
            {
                "start": _ms(d.start, reader),
                "end": _ms(d.end, reader),
                "knots": [[_ms(t, reader), _finite(apart(e))] for t, e in d.knots],
                "band": [_finite(apart(b)) for b in d.band],
                "basis": reader.text(d.basis),
            }
            for d in about.doubts
        ],
        "began": _began(about, reader),
        "related": {label(other.point.name): reader.of(other).unit(other.unit) for other in about.related},
        "samples": [[_ms(s.time, reader), _finite(level(s.value))] for s in about.samples],
        "scale": {"value": _scale(about, reader), "noise": _noise_scale(about, reader)},
        "drawn": {
            name: {
                "samples": t.samples,
                "interval": _finite(_interval(about, name)),
                "counted": _counted(about, name),
            }
            for name, t in findings.traces.items()
        },
    }


COUNTABLE = ("grid", "averages", "interpolated")  # kinds of recording whose samples come at one interval


def _began(about: About, reader: Reader) -> int | None:
    """Where a person would look first: the present trouble, else the newest doubt, else the newest event worth a look."""
    starts = [doubt.start for doubt in about.doubts] or [
        e.start for e in about.findings.events if in_trouble(e)
    ]
    first = about.verdict.since if about.verdict.since is not None else max(starts, default=None)
    return _ms(first, reader) if first is not None else None


def _clock(start: int, end: int, reader: Reader) -> dict[str, object]:
    """How far the plant's clock was ahead of UTC at first, and each change of it: wall before, wall after [ms], offset then."""
    at = clock.turns(start, end, reader.tz)
    before = [_ms(t - 1_000_000, reader) + 1 for t in at]

    def ahead(instant: int) -> str:
        return clock.offset_text(clock.to_datetime(instant, reader.tz))

    return {
        "offset": ahead(start),
        "turns": [[old, _ms(t, reader), ahead(t)] for old, t in zip(before, at, strict=True)],
    }


def _events(about: About, reader: Reader) -> list[list[object]]:
    events = about.findings.events
    flat = reader.wall_ms(np.array([[e.start, e.end] for e in events], np.int64).reshape(-1)).tolist()
    return [
        [
            event.id, flat[2 * n], flat[2 * n + 1], reader.event(event), _whose(event), int(event.kind in UNUSABLE),
        ]
        for n, event in enumerate(events)
    ]  # fmt: skip


def _whose(event: Event) -> str:
    """Whose doing and how sure; of heat, which was measured, no more than that."""
    if event.kind in HEAT:
        return "measured"
    return f"{ORIGIN_WORDS.get(event.origin, event.origin)}, {percent(event.confidence)} sure"


def _states(states: StateLine, reader: Reader) -> dict[str, object]:
    whys = sorted(set(states.evidence))
    number = {why: n for n, why in enumerate(whys)}
    ends = np.concatenate([states.start, states.end[-1:]])
    return {
        "start": pack_array(reader.wall(ends)),
        "code": states.code.tolist(),
        "why": [number[why] for why in states.evidence],
        "words": [STATE_WORDS[name] for name in STATES],
        "whys": [reader.text(why) for why in whys],
    }


def _scale(about: About, reader: Reader) -> list[float] | None:
    samples = np.array([sample.value for sample in about.samples], dtype=np.float64)
    scale = usual_scale(about.findings, about.doubts, samples)
    return [float(end) for end in reader.level(np.array(scale), about.findings.unit)] if scale else None


def _noise_scale(about: About, reader: Reader) -> list[float] | None:
    """The usual noise, and that of every event which is about noise."""
    trace = about.findings.traces.get("noise")
    if trace is None:
        return None
    about_noise = [e for e in about.findings.events if family(e.kind).key == "noise"]
    spans = [usual(trace.value[(trace.time >= e.start) & (trace.time < e.end)]) for e in about_noise]
    low, high = usual(trace.value)
    if low > high:
        return None
    ends = [low, max([high, *(end for start, end in spans if start <= end)])]
    return [float(end) for end in reader.apart(np.array(ends), trace.unit)]


def _interval(about: About, name: str) -> float:
    sampling = about.findings.sampling.get(name)
    return sampling.interval_s if sampling else math.nan


def _counted(about: About, name: str) -> bool:
    """Whether the samples of a stretch can be counted by the interval; not where they come as the signal moves."""
    sampling = about.findings.sampling.get(name)
    return sampling is not None and sampling.kind in COUNTABLE


def _ms(instant: int, reader: Reader) -> int:
    return int(reader.wall_ms(np.array([instant], np.int64))[0])


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
