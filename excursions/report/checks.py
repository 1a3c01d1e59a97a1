"""What else could it have been: the process, a neighbour, a hold, the export, the laboratory's word.

Each question gets an answer with its figures, or the reason why it could not be asked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, duration_text
from excursions.digits import reckoned, written
from excursions.kinds import having
from excursions.records import (
    CALIBRATING,
    MEASURING,
    MOVED_INSTEAD,
    MOVED_NOT,
    MOVED_TOO,
    NO_DATA,
    STATES,
    TEMPERATURE,
    Event,
    LabSample,
    Sampling,
    StateLine,
    Witness,
)
from excursions.report.around import WINDOW_H, Move, move
from excursions.report.explanation import AGAINST, AGREES, EXCLUDED, OPEN, SPEAKS_FOR, Check
from excursions.report.result import PointFindings
from excursions.report.wording import day, difference, event_sentence, quantity

MOSTLY = 0.5  # of the stretch asked about, from which a state explains it
REACH = 2 * NS_PER_DAY  # a laboratory sample further from the moment says little about it
MOST_PEERS = 3
ARTEFACTS = having("export")
COARSE = {
    "averages": "the export holds averages over {interval}: a short peak is flattened and a step looks like a ramp",
    "interpolated": "the export holds values interpolated every {interval}: not every one was measured",
    "sparse": "samples lie {interval} apart on the median: what happened in between is not known",
}
LOGGED_NEAR_NS = NS_PER_HOUR  # a log's time is when somebody began, or when they wrote it down (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the questions are asked about: one point and its related points.

    start, end : the change itself; whole : the event at hand from end to end, else the same
    asked : the stretch whose readings are in question; doubted : the window of doubt around it
    heat : whether the change is heat, so that the temperature cannot speak for the process
    element : whether it is seen in the temperature
    witnesses : what other signals did at the onset, weighed sample by sample with the event
    worked : when the log has work at the point
    """

    findings: PointFindings
    peers: tuple[PointFindings, ...]
    samples: Sequence[LabSample]
    start: int
    end: int
    whole: tuple[int, int]
    asked: tuple[int, int]
    tz: ZoneInfo
    doubted: tuple[int, int] | None = None
    heat: bool = False
    element: bool = False
    witnesses: tuple[Witness, ...] = ()
    worked: tuple[int, ...] = ()


def checked(scene: Scene) -> tuple[Check, ...]:
    """Every question with its answer, in the order a person would ask them."""
    return (_temperature(scene), *_neighbours(scene), _hold(scene), _artefact(scene), _laboratory(scene))


def _temperature(scene: Scene) -> Check:
    question = "Did the process move (temperature)?"
    levels = scene.findings.levels
    if scene.heat:
        why = "the change is the heat itself, so the temperature cannot speak for or against the process"
        return Check(question=question, outcome=OPEN, evidence=why)
    if scene.element:
        why = "the temperature is what is in question, so it cannot speak for or against the process"
        return Check(question=question, outcome=OPEN, evidence=why)
    if not np.isfinite(levels.temperature).any():
        own = scene.findings.point.measurand == "temperature"
        why = (
            "the reading is a temperature itself, and no other one of this place is known"
            if own
            else "no temperature of this point was exported"
        )
        return Check(question=question, outcome=OPEN, evidence=why)
    seen = move(levels.time, levels.temperature, scene.start, scene.end)
    return _moved(question, seen, scene, lambda v: quantity(v, "K", 0.05, signed=True), TEMPERATURE)


def _neighbours(scene: Scene) -> Iterator[Check]:
    if not scene.findings.point.neighbours:
        yield Check(
            question="Did a related point move?",
            outcome=OPEN,
            evidence="the register names no related point, and none was inferred",
        )
        return
    for peer in scene.peers[:MOST_PEERS]:
        name = peer.point.name
        seen = move(peer.levels.time, peer.levels.value, scene.start, scene.end)
        yield _moved(f"Did {name} move?", seen, scene, _shower(peer), name)
    if not scene.peers:
        names = ", ".join(scene.findings.point.neighbours[:MOST_PEERS])
        yield Check(question="Did a related point move?", outcome=OPEN, evidence=f"no record of {names}")


def _shower(findings: PointFindings) -> Callable[[float], str]:
    """How a change of this point's reading is written: to a tenth of what matters."""
    finite = findings.levels.value[np.isfinite(findings.levels.value)]
    fine = findings.point.fine_at(float(np.median(finite)) if finite.size else 0.0)
    return lambda change: difference(change, findings.unit, fine, signed=True)


def _moved(question: str, seen: Move | None, scene: Scene, show: Callable[[float], str], who: str) -> Check:
    at_onset = next((w for w in scene.witnesses if w.source == who and w.said in _OUTCOMES), None)
    if seen is None and at_onset is not None:
        return Check(question=question, outcome=_OUTCOMES[at_onset.said], evidence=at_onset.words)
    if seen is None:
        why = f"too few hours of undisturbed measuring of {who} around it to compare before with after"
        return Check(question=question, outcome=OPEN, evidence=why)
    change = (
        f"{who} changed by {show(seen.change)} from the {WINDOW_H} h before to the {WINDOW_H} h after; "
        f"{_often(seen)} of such spans in this record hold as large a change"
    )
    if at_onset is not None:  # one test, that of the event itself: two would part one day
        evidence = f"{at_onset.words}; {change}"
        return Check(question=question, outcome=_OUTCOMES[at_onset.said], evidence=evidence)
    return Check(question=question, outcome=SPEAKS_FOR if seen.unusual else EXCLUDED, evidence=change)


_OUTCOMES = {MOVED_TOO: SPEAKS_FOR, MOVED_INSTEAD: SPEAKS_FOR, MOVED_NOT: EXCLUDED}


def _often(seen: Move) -> str:
    return f"{seen.share * 100:.0f} %" if seen.share >= 0.01 else "less than 1 %"


def _hold(scene: Scene) -> Check:
    question = "Was it a hold, calibration, cleaning or steam?"
    states = scene.findings.states
    if scene.heat and (steam := _lies_in(scene)):
        return Check(question=question, outcome=SPEAKS_FOR, evidence=steam)
    start, end = scene.asked[0], max(scene.asked[1], scene.asked[0] + 1)
    seen = (states.start < end) & (states.end > start) & (states.code != NO_DATA)
    if not seen.any():
        return Check(question=question, outcome=OPEN, evidence="the record holds nothing there")
    inside = (states.start < end) & (states.end > start) & ~np.isin(states.code, (MEASURING, NO_DATA))
    if not inside.any():
        told = "a hold flag was exported" if scene.findings.point.hold else "no hold flag was exported"
        words = f"the point was measuring, by the signals themselves; {told}{_last_state(scene)}"
        if hot := _hidden_heat(scene):
            return Check(question=question, outcome=OPEN, evidence=f"{words}; {hot}")
        if logged := _logged_beside(scene, start, end):
            return Check(question=question, outcome=OPEN, evidence=f"{words}; {logged}")
        return Check(question=question, outcome=EXCLUDED, evidence=words)
    lasted = np.minimum(states.end, end) - np.maximum(states.start, start)
    share = float(lasted[inside].sum()) / (end - start)
    words = _state_words(states, int(np.flatnonzero(inside)[0]), scene)
    if share >= MOSTLY:
        return Check(question=question, outcome=SPEAKS_FOR, evidence=words)
    return Check(
        question=question,
        outcome=EXCLUDED,
        evidence=f"only {written(share * 100, 2)} % of that time, first {words}",
    )


def _logged_beside(scene: Scene, start: int, end: int) -> str:
    """That the log has work at the point so near that a state the signals do not show may be it; empty without."""
    at = work_unseen(scene.findings.states, scene.worked, start, end)
    if at is None:
        return ""
    return f"but the log has work at the point on {day(at, scene.tz)}, of which the signals show nothing here: a standard may have been read"


def work_unseen(states: StateLine, worked: Sequence[int], start: int, end: int) -> int | None:
    """The entry of work (ns) nearest to a span, within reach of it, that no state bears out; None without one."""
    shown = states.code == CALIBRATING
    near = [
        at
        for at in worked
        if start - LOGGED_NEAR_NS < at < end + LOGGED_NEAR_NS
        and not np.any(shown & (states.start < at + LOGGED_NEAR_NS) & (states.end > at - LOGGED_NEAR_NS))
    ]
    return min(near, key=lambda moment: (max(start - moment, moment - end, 0), moment), default=None)


def _state_words(states: StateLine, index: int, scene: Scene) -> str:
    words = f"{STATES[int(states.code[index])]} from {day(int(states.start[index]), scene.tz)} for "
    lasted = duration_text((int(states.end[index]) - int(states.start[index])) / 1e9)
    return f"{words}{lasted} ({states.evidence[index]})"


def _lies_in(scene: Scene) -> str:
    """The state that heat lies in for the most part, and whether what is asked about does so too; empty where it was measuring."""
    states, (start, end) = scene.findings.states, scene.whole
    lasted = np.minimum(states.end, end) - np.maximum(states.start, start)
    lasted[np.isin(states.code, (MEASURING, NO_DATA))] = 0
    if not lasted.size or lasted.max() < MOSTLY * max(end - start, 1):
        return ""
    index = int(np.argmax(lasted))
    beyond = scene.asked[1] > states.end[index] or scene.asked[0] < states.start[index]
    return _state_words(states, index, scene) + (
        "; that is the heat itself, not the readings asked about beside it" if beyond else ""
    )


def _hidden_heat(scene: Scene) -> str:
    """What steam may have been between the samples at that moment."""
    start, end = scene.asked
    over = (e for e in scene.findings.events if e.kind == "hidden_heat" and e.start <= end and start < e.end)
    event = next(over, None)
    if event is None:
        return ""
    return f"but between its samples up to about {quantity(event.size_high, 'degC', 1.0)} cannot be excluded"


def _last_state(scene: Scene) -> str:
    states = scene.findings.states
    before = np.flatnonzero((states.end <= scene.asked[0]) & ~np.isin(states.code, (MEASURING, NO_DATA)))
    if not before.size:
        return ""
    last = int(before[-1])
    since = duration_text((scene.asked[0] - int(states.end[last])) / 1e9)
    return f"; the last other state, {STATES[int(states.code[last])]}, ended {since} before"


def _artefact(scene: Scene) -> Check:
    question = "Is it made by the export?"
    start, end = scene.whole[0] - NS_PER_HOUR, scene.whole[1] + NS_PER_HOUR
    # Both ends of a record are samples: the last one is inside.
    if scene.asked[0] > scene.findings.end or scene.asked[1] < scene.findings.start:
        return Check(question=question, outcome=OPEN, evidence="the record does not reach there")
    near = [e for e in scene.findings.events if e.kind in ARTEFACTS and e.start < end and e.end > start]
    made = next((event for event in near if _could_make(event, scene)), None)
    if made is not None:
        return Check(question=question, outcome=SPEAKS_FOR, evidence=_said(made, scene))
    if near:
        words = f"{_said(near[0], scene)}: too short to make what lasted so much longer"
        return Check(question=question, outcome=EXCLUDED, evidence=words)
    role = next((name for name in ("value", "temperature") if name in scene.findings.sampling), "")
    sampling = scene.findings.sampling.get(role)
    if sampling is None:
        return Check(question=question, outcome=OPEN, evidence="nothing is known of how it was recorded")
    interval = _span(sampling.interval_s)
    if sampling.kind in COARSE:
        return Check(
            question=question, outcome=OPEN, evidence=COARSE[sampling.kind].format(interval=interval)
        )
    unit = scene.findings.unit if role == "value" else "degC"
    words = f"samples {_rhythm(sampling, unit)}; no outage, drawn line or stretch of bad quality within an hour of it"
    return Check(question=question, outcome=EXCLUDED, evidence=words)


def _could_make(event: Event, scene: Scene) -> bool:
    """Whether an artefact of the export could be all there is: it must cover most of a change that took its time."""
    start, end = scene.whole
    return (
        min(event.end, end) - max(event.start, start) >= MOSTLY * (end - start) or end - start < NS_PER_HOUR
    )


def _said(event: Event, scene: Scene) -> str:
    text = event_sentence(event, scene.tz)
    return text[0].lower() + text[1:]


def _rhythm(sampling: Sampling, unit: str) -> str:
    if sampling.on_change:
        band = (
            f", changes below {difference(sampling.deadband, unit)} left out" if sampling.deadband > 0 else ""
        )
        return f"are recorded on change, {_span(sampling.interval_s)} apart on the median{band}"
    return f"come every {_span(sampling.interval_s)}"


def _span(seconds: float) -> str:
    return duration_text(seconds) if math.isfinite(seconds) else "a time that does not show"


def _laboratory(scene: Scene) -> Check:
    """Of a moment the nearest sample within reach decides; of a stretch all of its samples count."""
    question = "What does the laboratory say?"
    if not scene.samples:
        return Check(question=question, outcome=OPEN, evidence="no laboratory sample of this point was given")
    start, end = scene.asked
    pairs = _pairs(scene, start, end) or _pairs(scene, start - REACH, end + REACH)
    if pairs and start == end:
        return _nearest_sample(question, pairs, scene)
    if pairs:
        return _every_sample(question, pairs, scene)
    none = f"no laboratory sample within {REACH // NS_PER_DAY} d of it"
    pairs = _pairs(scene, *scene.doubted) if scene.doubted else []
    if not pairs:
        return Check(question=question, outcome=OPEN, evidence=none)
    # Samples so far away do not decide about this reading; they are told all the same.
    told = _every_sample(question, pairs, scene).evidence
    return Check(
        question=question, outcome=OPEN, evidence=f"{none}, but of all the time that is doubted: {told}"
    )


def _pairs(scene: Scene, start: int, end: int) -> list[tuple[LabSample, float]]:
    """The samples of a stretch and what the reading showed then."""
    inside = (s for s in scene.samples if start <= s.time <= end)
    return [(s, at) for s in inside if math.isfinite(at := _level_at(scene.findings, s.time))]


def _nearest_sample(question: str, pairs: list[tuple[LabSample, float]], scene: Scene) -> Check:
    at = scene.asked[0]
    sample, level = min(pairs, key=lambda pair: (abs(pair[0].time - at), pair[0].time))
    tolerance = scene.findings.point.tolerance_at(sample.value)
    words = _compared(sample, level, scene)
    if len(pairs) > 1:
        words += f"; the nearest of {len(pairs)} samples within {REACH // NS_PER_DAY} d of it"
    others = _pairs(scene, *scene.doubted) if scene.doubted else []
    if len(others) > 1:
        words += f"; of all the time that is doubted, {_how_many_off(others, scene)}"
    off = abs(level - sample.value) > tolerance
    return Check(question=question, outcome=AGAINST if off else AGREES, evidence=words)


def _how_many_off(pairs: list[tuple[LabSample, float]], scene: Scene) -> str:
    off = _number_off(pairs, scene)
    verb = "differ" if off > 1 else "differs"
    return f"{off or 'none'} of {len(pairs)} samples {verb} by more than the tolerance"


def _number_off(pairs: list[tuple[LabSample, float]], scene: Scene) -> int:
    point = scene.findings.point
    return sum(abs(level - sample.value) > point.tolerance_at(sample.value) for sample, level in pairs)


def _every_sample(question: str, pairs: list[tuple[LabSample, float]], scene: Scene) -> Check:
    """All samples of a stretch: how many are off, and the one that is off most."""
    sample, level = max(pairs, key=lambda pair: abs(pair[1] - pair[0].value))
    outcome = AGAINST if _number_off(pairs, scene) else AGREES
    if len(pairs) == 1:
        return Check(question=question, outcome=outcome, evidence=_compared(sample, level, scene))
    fine = scene.findings.point.fine_at(sample.value)
    most = difference(reckoned(level, sample.value, fine), scene.findings.unit, fine, signed=True)
    words = f"{_how_many_off(pairs, scene)}, up to {most} ({_compared(sample, level, scene)})"
    return Check(question=question, outcome=outcome, evidence=words)


def _compared(sample: LabSample, level: float, scene: Scene) -> str:
    """One sample beside the reading, with the tolerance there."""
    unit, tolerance = scene.findings.unit, scene.findings.point.tolerance_at(sample.value)
    fine = scene.findings.point.fine_at(sample.value)
    off = reckoned(level, sample.value, fine)
    return (
        f"sample of {day(sample.time, scene.tz)}: {quantity(sample.value, unit, fine)}, the reading stood at "
        f"{quantity(level, unit, fine)}: {difference(abs(off), unit, fine)} {'high' if off > 0 else 'low'}"
        f"; tolerance {difference(tolerance, unit)}"
    )


def _level_at(findings: PointFindings, instant: int) -> float:
    """The hourly level nearest to an instant, within three hours; NaN without one."""
    time, value = findings.levels.time, findings.levels.value
    good = np.isfinite(value)
    if not good.any():
        return math.nan
    middle = time[good] + NS_PER_HOUR // 2
    index = int(np.argmin(np.abs(middle - instant)))
    return float(value[good][index]) if abs(int(middle[index]) - instant) <= 3 * NS_PER_HOUR else math.nan
