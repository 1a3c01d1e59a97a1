"""From detections to events: what has one cause becomes one event, with its parts.

One rule at a time, in this order:
    a reading that jumps, sticks or is pinned while its temperature element fails is the element's failure;
    noise inside a bout of spikes, stillness inside an impossible reading, is that bout;
    a step or a change of noise at the edge of, or inside, a stretch that is stuck, pinned or missing is that stretch;
    a drift that a saw-tooth contains is one of its teeth;
    a change of noise that a periodic disturbance explains is the disturbance;
    steps that a switched offset makes are its jumps, and spikes among bursts of noise are bursts;
    collapsed noise while the response is slow is the slow response;
    a walk that is a step seen through wide windows is the step;
    what single batches show of a change that came with a steaming is that change;
    steps that follow one another within a transition are one;
    a walk that several steps make together is these steps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from excursions.clock import NS_PER_S
from excursions.detect.evidence.origin import LATE_S
from excursions.detect.gone.interruptions import HEARTBEAT_SURE
from excursions.detect.series.survey import SurveyedRecord
from excursions.kinds import WALKS
from excursions.records import Event, Record

STILL = ("stuck", "pinned")
NOISE = ("noise_growth", "noise_collapse")
HEAT = ("over_temperature", "thermal_shock", "hidden_heat", "sterilisation")
# Heat of no less than so much of what a loose element jumps by, while it does, is the element's; steam short of it is steam (cp).
AS_FAR = 0.85
# Half intervals: what is left of a walk without its step would not have been found (three spreads).
LEFT_OVER = 1.8


def merge(record: Record, found: tuple[Event, ...]) -> tuple[Event, ...]:
    """Join detections of one cause and put them in order.

    Parameters
    ----------
    record : Record
        Surveyed, when there was anything to survey.
    found : tuple of Event
        Whatever the detectors gave, in any order.

    Returns
    -------
    tuple of Event
        In order of start, kind and end; each with the ids of the detections it took in.
    """
    width = record.survey.blocks.width if isinstance(record, SurveyedRecord) else 60 * NS_PER_S
    events = sorted(found, key=lambda event: (event.start, event.kind, event.end))
    for rule in (
        _in_element,
        _in_bout,
        _in_still,
        _in_saw_tooth,
        _in_cycle,
        _in_switching,
        _in_flurry,
        _in_slow,
        _in_noise,
        _in_step,
        _in_batches,
        _same_step,
    ):
        events = _absorb(events, rule, width)
    events = _stairs(events, width)
    return tuple(sorted(events, key=lambda event: (event.start, event.kind, event.end)))


Rule = Callable[[Event, Event, int], bool]


def _absorb(events: list[Event], rule: Rule, width: int) -> list[Event]:
    """Give each detection that `rule(whole, part)` names to the first event that takes it."""
    taken: dict[int, int] = {}
    for p, part in enumerate(events):
        for w, whole in enumerate(events):
            if w != p and w not in taken and rule(whole, part, width):
                taken[p] = w
                break
    inner: dict[int, set[str]] = {}
    for p, w in taken.items():
        while w in taken:  # what took it in was taken in itself afterwards
            w = taken[w]
        inner.setdefault(w, set()).update((events[p].id, *events[p].parts))
    return [
        replace(event, parts=tuple(sorted({*event.parts, *inner[i]}))) if i in inner else event
        for i, event in enumerate(events)
        if i not in taken
    ]


def _in_element(whole: Event, part: Event, width: int) -> bool:
    """A compensated reading is wrong for as long as its temperature is, from the same moment on; heat then is none."""
    if (
        whole.kind == "temperature_fault"
        and "stretches" in whole.details
        and part.kind in (*HEAT, "noise_growth")
    ):
        degc = max(part.details.get(side, part.size) for side in ("before_degc", "after_degc"))
        as_far = part.kind == "noise_growth" or degc >= AS_FAR * abs(whole.size)
        return as_far and whole.origin == "probe" and _covers(whole, part, 0.8, 2 * width)
    if whole.kind != "temperature_fault" or part.kind not in (*STILL, "step", "out_of_range", "spikes"):
        return False
    together = abs(part.start - whole.start) <= 2 * width or abs(part.start - whole.end) <= 2 * width
    return together and (part.kind == "step" or _covers(whole, part, 0.8, 2 * width))


def _in_still(whole: Event, part: Event, width: int) -> bool:
    """Steps at the edges of a still stretch, changes of noise that it mostly makes up."""
    if whole.kind in STILL and part.kind == "dropout":
        # Recorded on change, a reading that stands still is silent: without a heartbeat the silence says no more than that.
        return part.confidence < HEARTBEAT_SURE and _covers(whole, part, 0.5, width)
    if whole.kind not in STILL or part.kind not in (*NOISE, *WALKS, "step", "periodic", *STILL):
        return False
    if part.kind in STILL:
        return _covers(whole, part, 0.5, width) and _says_more(whole, part)
    if part.kind == "step":
        near = 2 * width
        return (
            abs(part.start - whole.start) <= near
            or abs(part.start - whole.end) <= near
            or _inside(part, whole)
        )
    if part.kind == "periodic" and "lag_s" in whole.details:
        return (
            part.start < whole.end and whole.start < part.end
        )  # what is played again is a cycle with all its harmonics
    return _covers(whole, part, 0.5, width)


def _says_more(whole: Event, part: Event) -> bool:
    """Of two standstills at one time: pinned before stuck, then the longer, then the surer."""

    def rank(event: Event) -> tuple[bool, int, float]:
        return event.kind == "pinned", event.end - event.start, event.confidence

    return rank(whole) > rank(part)


def _in_saw_tooth(whole: Event, part: Event, width: int) -> bool:
    """A slow walk inside a saw-tooth, and the sudden returns that cleanings make in it."""
    if "stretches" not in whole.details or "stretches" in part.details:
        return False
    if part.kind == "step":
        reach = max(2 * width, (whole.end - whole.start) // 8)
        undone = -part.size / whole.size if whole.size else 0.0
        return whole.origin != "process" and 0.0 < undone < 2.0 and _covers(whole, part, 1.0, reach)
    return part.kind in ("drift", "fouling") and _covers(whole, part, 0.5, width)


def _in_bout(whole: Event, part: Event, width: int) -> bool:
    """Spikes, dropouts and impossible readings say more than the noise or the stillness seen in them."""
    if whole.kind in ("spikes", "dropout"):
        single = "bursts" not in part.details  # bursts of noise are no part of the spikes among them
        return part.kind == "noise_growth" and single and _covers(whole, part, 0.5, 4 * width)
    return (
        whole.kind == "out_of_range"
        and part.kind in ("pinned", "stuck", "step", *NOISE)
        and _covers(whole, part, 0.5, width)
    )


SWITCHED = 1.5  # times the offset of a cycle: a step no larger is its switching on


def _in_cycle(whole: Event, part: Event, width: int) -> bool:
    """Its noise, and a step that it switches on and off with itself."""
    if whole.kind != "periodic":
        return False
    if part.kind == "step":
        like = abs(part.size) <= SWITCHED * abs(whole.details.get("offset", 0.0))
        return like and _covers(whole, part, 1.0, width)
    return part.kind == "noise_growth" and _covers(whole, part, 0.6, 8 * width)


def _in_switching(whole: Event, part: Event, width: int) -> bool:
    """Its jumps, and what wide windows make of them."""
    if whole.kind != "switching" or not _covers(whole, part, 0.8, width):
        return False
    if part.kind in ("step", "drift"):
        return abs(part.size) <= SWITCHED * whole.size
    return part.kind in ("noise_growth", "periodic", "spikes")


def _in_flurry(whole: Event, part: Event, width: int) -> bool:
    """Spikes among bursts of noise."""
    return "bursts" in whole.details and part.kind == "spikes" and _covers(whole, part, 0.8, width)


def _in_noise(whole: Event, part: Event, width: int) -> bool:
    """A change of noise inside a longer one of its kind."""
    return (
        whole.kind == part.kind
        and part.kind in NOISE
        and _covers(whole, part, 0.8, width)
        and part.end - part.start < whole.end - whole.start
    )


def _in_step(whole: Event, part: Event, width: int) -> bool:
    """A walk that is a step seen through sparse samples or wide windows."""
    if whole.origin == "process" and part.origin != "process":
        return False  # what the process did explains no walk that is not its own
    return (
        whole.kind == "step"
        and part.kind == "drift"
        and part.start - 2 * width <= whole.start <= part.end
        and whole.size * part.size > 0
        and (
            abs(whole.size) >= 0.6 * abs(part.size)
            or abs(part.size - whole.size) <= LEFT_OVER * (part.size_high - part.size)
        )
    )


def _stairs(events: list[Event], width: int) -> list[Event]:
    """Give a walk that two or more steps inside it make together to the largest of them: wide windows make stairs a slope."""
    given: dict[int, list[Event]] = {}
    for walk in (event for event in events if event.kind == "drift"):
        steps = [
            k
            for k, step in enumerate(events)
            if step.kind == "step"
            and step.size * walk.size > 0
            and (step.origin != "process" or walk.origin == "process")
            and walk.start - 2 * width <= step.start <= walk.end
        ]
        left = abs(walk.size - sum(events[k].size for k in steps))
        if len(steps) > 1 and left <= LEFT_OVER * (walk.size_high - walk.size):
            given.setdefault(max(steps, key=lambda k: abs(events[k].size)), []).append(walk)
    taken = {walk.id for walks in given.values() for walk in walks}
    parts = {k: {part for walk in walks for part in (walk.id, *walk.parts)} for k, walks in given.items()}
    return [
        replace(event, parts=tuple(sorted({*event.parts, *parts[k]}))) if k in parts else event
        for k, event in enumerate(events)
        if event.id not in taken
    ]


def _same_step(whole: Event, part: Event, width: int) -> bool:
    """A smaller step within two blocks of a larger one."""
    return (
        whole.kind == part.kind == "step"
        and abs(whole.start - part.start) <= 2 * width
        and (abs(part.size), part.start) < (abs(whole.size), whole.start)
    )


SOON = round(LATE_S * NS_PER_S)  # after steam: as for any state after which the process still settles


def _in_batches(whole: Event, part: Event, width: int) -> bool:
    """A step seen right after the steaming it came with, in that batch alone or beside the others; returns from steam alike."""
    if "cycles_after" in whole.details:
        if whole.kind == "slow_return":
            return (
                part.kind in ("step", *WALKS) and part.origin != "probe" and _covers(whole, part, 0.8, width)
            )
        alone = part.origin == "process" or whole.origin == "probe"
        return part.kind == "step" and alone and _with_steam(whole, part)
    return (
        whole.kind == "step"
        and "cycles_after" in part.details
        and whole.origin != "process"
        and _with_steam(part, whole)
    )


def _with_steam(steam: Event, step: Event) -> bool:
    return steam.kind == "step" and -SOON <= step.start - steam.end <= SOON and steam.size * step.size > 0


def _in_slow(whole: Event, part: Event, width: int) -> bool:
    """Collapsed noise while the response is slow is the slow response; so is what moves less than a loop swings."""
    if whole.kind != "slow_response":
        return False
    if "swing" in whole.details:
        within = part.kind in ("step", "drift") and abs(part.size) < whole.details["swing"]
        return (within or part.kind in (*NOISE, "periodic")) and _covers(whole, part, 0.5, 8 * width)
    return part.kind == "noise_collapse" and _covers(whole, part, 0.5, 8 * width)


def _inside(part: Event, whole: Event) -> bool:
    return whole.start <= part.start and part.end <= whole.end


def _covers(whole: Event, part: Event, share: float, slack: int) -> bool:
    """Whether `whole`, let out by `slack`, covers this share of `part`."""
    overlap = min(whole.end + slack, part.end) - max(whole.start - slack, part.start)
    return overlap >= share * max(part.end - part.start, 1)
