"""What has one cause is one event."""

from __future__ import annotations

from dataclasses import replace

import pytest

from excursions.clock import NS_PER_HOUR
from excursions.detect.merge import merge
from excursions.records import Event
from tests.builders import T0, level, make_record

RECORD = make_record(level(10, 7.0))
HOUR = NS_PER_HOUR


def event(kind: str, start_h: float, end_h: float, size: float = 1.0, **given) -> Event:
    fields = {"size_unit": "pH", "confidence": 0.9, "point": "A1", **given}
    return Event(
        kind=kind, start=T0 + round(start_h * HOUR), end=T0 + round(end_h * HOUR), size=size, **fields
    )


WHOLE_AND_PART = {
    "a step into a stuck stretch": (event("stuck", 10, 20), event("step", 10, 10.01)),
    "a cycle that reaches out of what was played again": (
        event("stuck", 10, 34, origin="record", details={"lag_s": 3_600.0, "samples": 1_440.0}),
        event("periodic", 9, 66),
    ),
    "a step out of a pinned stretch": (event("pinned", 10, 20), event("step", 20, 20.01)),
    "collapsed noise inside a stuck stretch": (event("stuck", 10, 20), event("noise_collapse", 10.2, 19.8)),
    "the silence of a reading that stands still and is recorded on change": (
        event("stuck", 16, 40),
        event("dropout", 10, 44, confidence=0.6, origin="undecided"),
    ),
    "a shorter still stretch inside a longer": (event("stuck", 10, 20), event("stuck", 12, 13)),
    "a reading pinned while its element is open": (
        event("temperature_fault", 10, 20),
        event("pinned", 10, 20),
    ),
    "heat that an element jumps to": (
        event("temperature_fault", 10, 80, size=193.0, size_unit="K", details={"stretches": 9.0}),
        event("over_temperature", 40, 40.1, size=192.0, size_unit="degC"),
    ),
    "a shock of an element that jumps": (
        event("temperature_fault", 10, 80, size=193.0, size_unit="K", details={"stretches": 9.0}),
        event("thermal_shock", 40, 40.1, size=55.0, size_unit="K/min", details={"after_degc": 191.0}),
    ),
    "noise of a reading compensated with an element that jumps about": (
        event("temperature_fault", 10, 80, details={"stretches": 204.0}),
        event("noise_growth", 40, 60),
    ),
    "a shock back from where an element jumped to": (
        event("temperature_fault", 10, 80, size=193.0, size_unit="K", details={"stretches": 9.0}),
        event(
            "thermal_shock",
            40,
            40.1,
            size=-55.0,
            size_unit="K/min",
            details={"before_degc": 191.0, "after_degc": 81.0},
        ),
    ),
    "a step where an element fails": (event("temperature_fault", 10, 20), event("step", 20, 20.01)),
    "a tooth of a saw": (
        event("fouling", 0, 100, details={"stretches": 5.0}),
        event("drift", 40, 60),
    ),
    "a cleaning inside a saw": (
        event("fouling", 0, 100, size=-1.0, details={"stretches": 5.0}),
        event("step", 40, 40.01, size=0.9),
    ),
    "noise of a cycle": (event("periodic", 10, 20), event("noise_growth", 10, 20)),
    "the batch after a steaming that left a step": (
        event("step", 30, 30.01, details={"cycles_after": 3.0}),
        event("step", 31, 31.01, size=0.9, origin="process"),
    ),
    "a larger step of that batch alone": (
        event("step", 30, 30.01, details={"cycles_after": 3.0}),
        event("step", 30.02, 30.03, size=1.3, origin="process"),
    ),
    "that step where the batch shows it alone": (
        event("step", 31, 31.01),
        event("step", 30, 30.01, origin="undecided", details={"cycles_after": 3.0}),
    ),
    "the batches that come back slowly from steam": (
        event("slow_return", 30, 60, details={"cycles_after": 3.0}),
        event("step", 40, 40.01, origin="process"),
    ),
    "calm of a slow response": (event("slow_response", 10, 50), event("noise_collapse", 12, 48)),
    "noise of a bout of spikes": (event("spikes", 10, 20), event("noise_growth", 10, 20)),
    "noise of a bout of dropouts": (event("dropout", 10, 20), event("noise_growth", 10, 14)),
    "a standstill at an impossible reading": (event("out_of_range", 10, 20), event("pinned", 10, 20)),
    "a walk that is a step": (event("step", 30, 30.01, size=1.0), event("drift", 20, 60, size=1.1)),
    "a smaller step beside a larger": (
        event("step", 30, 30.01, size=1.0),
        event("step", 30.01, 30.02, size=0.4),
    ),
    "a smaller step of the other sign": (event("step", 30, 30.01, -1.0), event("step", 30.01, 30.02, 0.4)),
    "the later of two steps alike": (event("step", 30.01, 30.02), event("step", 30, 30.01)),
    "an impossible reading while its element is open": (
        event("temperature_fault", 10, 20),
        event("out_of_range", 10, 19),
    ),
    "spikes while its element is open": (event("temperature_fault", 10, 20), event("spikes", 10, 20)),
    "a step in the midst of a stuck stretch": (event("stuck", 10, 20), event("step", 15, 15.01)),
    "a drift through a stuck stretch": (event("stuck", 10, 20), event("drift", 8, 20)),
    "a cycle inside a pinned stretch": (event("pinned", 10, 20), event("periodic", 10, 20)),
    "stuck where it is pinned for less": (event("pinned", 12, 20), event("stuck", 10, 20)),
    "the surer of two stuck stretches": (
        event("stuck", 10, 20, confidence=0.95),
        event("stuck", 10.02, 20.02, confidence=0.5),
    ),
    "fouling inside a saw": (
        event("fouling", 0, 100, details={"stretches": 5.0}),
        event("fouling", 60, 90),
    ),
    "a step of a cycle": (
        event("periodic", 10, 20, details={"offset": -1.0}),
        event("step", 15, 15.01, size=1.4),
    ),
    "a jump of a switched offset": (event("switching", 10, 20, size=1.0), event("step", 15, 15.01, -1.4)),
    "a walk of a switched offset": (event("switching", 10, 20, size=1.0), event("drift", 11, 19, 1.4)),
    "noise of a switched offset": (event("switching", 10, 20, size=1.0), event("noise_growth", 10, 20)),
    "a cycle of a switched offset": (event("switching", 10, 20, size=1.0), event("periodic", 10, 20)),
    "spikes of a switched offset": (event("switching", 10, 20, size=1.0), event("spikes", 10, 20)),
    "spikes among bursts": (
        event("noise_growth", 10, 20, details={"bursts": 4.0}),
        event("spikes", 12, 14),
    ),
    "grown noise inside longer grown noise": (
        event("noise_growth", 10, 40),
        event("noise_growth", 12, 20),
    ),
    "calm inside longer calm": (event("noise_collapse", 10, 40), event("noise_collapse", 12, 20)),
    "a step within the swing of a slow loop": (
        event("slow_response", 10, 50, details={"swing": 0.5}),
        event("step", 20, 20.01, size=-0.4),
    ),
    "a cycle of a slow loop": (
        event("slow_response", 10, 50, details={"swing": 0.5}),
        event("periodic", 12, 48),
    ),
    "a drift within the swing of a slow loop": (
        event("slow_response", 10, 50, details={"swing": 0.5}),
        event("drift", 20, 40, size=0.4),
    ),
    "a large jump of a large switched offset": (
        event("switching", 10, 20, size=2.0),
        event("step", 15, 15.01, size=2.8),
    ),
    "a walk of the process that is its step": (
        event("step", 30, 30.01, size=1.0, origin="process"),
        event("drift", 20, 60, size=1.1, origin="process"),
    ),
    "a cleaning an eighth behind a saw": (
        event("fouling", 0, 80, size=-1.0, details={"stretches": 5.0}),
        event("step", 89.9, 89.91, size=0.9),
    ),
    "a stuck reading at an impossible one": (event("out_of_range", 10, 20), event("stuck", 10, 20)),
    "noise at an impossible reading": (event("out_of_range", 10, 20), event("noise_growth", 10, 20)),
    "a walk of which little is left without its step": (
        event("step", 30, 30.01, size=0.5),
        event("drift", 20, 60, size=1.0, size_low=0.7, size_high=1.3),
    ),
}


@pytest.mark.parametrize("case", WHOLE_AND_PART)
def test_the_part_goes_into_the_whole_and_is_named(case: str) -> None:
    whole, part = WHOLE_AND_PART[case]
    (joined,) = merge(RECORD, (part, whole))
    assert (joined.kind, joined.start, joined.end) == (whole.kind, whole.start, whole.end)
    assert joined.parts == (part.id,)


APART = {
    "a jump that stays and may be a shock as well": (
        event("temperature_fault", 10, 80, size=50.0, size_unit="K"),
        event("thermal_shock", 10, 10.1, size=50.0, size_unit="K/min", details={"after_degc": 75.0}),
    ),
    "steam while an element jumps further than steam is hot": (
        event("temperature_fault", 10, 80, size=193.0, size_unit="K", details={"stretches": 9.0}),
        event("over_temperature", 40, 41, size=138.0, size_unit="degC"),
    ),
    "heat after an element failed": (
        event("temperature_fault", 10, 30, size=110.0, size_unit="K"),
        event("over_temperature", 40, 41, size=138.0, size_unit="degC"),
    ),
    "a silence that the clock of the recorder does not allow": (
        event("stuck", 16, 40),
        event("dropout", 20, 30, confidence=0.95, origin="undecided"),
    ),
    "a step hours after a stuck stretch": (event("stuck", 10, 20), event("step", 25, 25.01)),
    "a reading stuck long before its element fails": (
        event("temperature_fault", 10, 12),
        event("stuck", 2, 12),
    ),
    "a drift of the probe beside a step of the process": (
        event("step", 30, 30.01, size=1.0, origin="process"),
        event("drift", 20, 60, size=1.1),
    ),
    "noise that outlasts a stuck stretch": (event("stuck", 10, 12), event("noise_growth", 10, 40)),
    "a step the way the saw walks": (
        event("fouling", 0, 100, size=-1.0, details={"stretches": 5.0}),
        event("step", 40, 40.01, size=-0.9),
    ),
    "a step much larger than a tooth": (
        event("fouling", 0, 100, size=-1.0, details={"stretches": 5.0}),
        event("step", 40, 40.01, size=5.0),
    ),
    "a step against a walk": (event("step", 30, 30.01, size=1.0), event("drift", 20, 60, size=-1.1)),
    "two steps a day apart": (event("step", 30, 30.01), event("step", 54, 54.01)),
    "a walk of which much is left without its step": (
        event("step", 30, 30.01, size=0.5),
        event("drift", 20, 60, size=1.0, size_low=0.9, size_high=1.1),
    ),
    "a step after a walk": (event("step", 70, 70.01), event("drift", 20, 60)),
    "a step hours before a walk": (event("step", 10, 10.01), event("drift", 20, 60)),
    "a step larger than a cycle switches": (
        event("periodic", 10, 20, details={"offset": 1.0}),
        event("step", 15, 15.01, size=1.6),
    ),
    "a step of a cycle without an offset": (event("periodic", 10, 20), event("step", 15, 15.01)),
    "a jump larger than the switched offset": (
        event("switching", 10, 20, size=1.0),
        event("step", 15, 15.01, size=1.6),
    ),
    "a switched offset that is mostly elsewhere": (
        event("switching", 10, 20, size=1.0),
        event("noise_growth", 15, 25),
    ),
    "spikes beside bursts": (
        event("noise_growth", 10, 20, details={"bursts": 4.0}),
        event("spikes", 18, 40),
    ),
    "spikes in grown noise without bursts": (event("noise_growth", 10, 20), event("spikes", 12, 14)),
    "calm inside grown noise": (event("noise_growth", 10, 40), event("noise_collapse", 12, 20)),
    "grown noise of a slow response": (event("slow_response", 10, 50), event("noise_growth", 12, 48)),
    "a step beyond the swing of a slow loop": (
        event("slow_response", 10, 50, details={"swing": 0.5}),
        event("step", 20, 20.01, size=-0.6),
    ),
    "a drift where an element fails": (event("temperature_fault", 10, 20), event("drift", 10, 20)),
    "a step in the midst of a failing element": (
        event("temperature_fault", 10, 20),
        event("step", 15, 15.01),
    ),
    "a step of a saw of the process": (
        event("fouling", 0, 100, size=-1.0, origin="process", details={"stretches": 5.0}),
        event("step", 40, 40.01, size=0.9),
    ),
    "a saw inside a saw": (
        event("fouling", 0, 100, details={"stretches": 5.0}),
        event("fouling", 60, 90, details={"stretches": 3.0}),
    ),
    "a cleaning more than an eighth behind a saw": (
        event("fouling", 0, 80, size=-1.0, details={"stretches": 5.0}),
        event("step", 90.1, 90.11, size=0.9),
    ),
    "a drift beside another": (event("fouling", 0, 100), event("drift", 40, 60)),
    "a dropout inside a stuck stretch": (event("stuck", 10, 20), event("dropout", 12, 13)),
}


@pytest.mark.parametrize("case", APART)
def test_what_is_not_one_cause_stays_two(case: str) -> None:
    assert len(merge(RECORD, APART[case])) == 2


MINUTES = 1 / 60
AT_THE_EDGE = {  # whole, part, how far the part may lie off, in minutes (blocks are of one minute here)
    "a step before a stuck stretch": (event("stuck", 10, 20), event("step", 10, 10), -1, 2),
    "a step behind a stuck stretch": (event("stuck", 10, 20), event("step", 20, 20), 1, 2),
    "a step before a failing element": (event("temperature_fault", 10, 20), event("step", 10, 10), -1, 2),
    "a step behind a failing element": (event("temperature_fault", 10, 20), event("step", 20, 20), 1, 2),
    "a step before a cycle": (
        event("periodic", 10, 20, details={"offset": 1.0}),
        event("step", 10, 10.001),
        -1,
        1,
    ),
    "a step behind a cycle": (
        event("periodic", 10, 20, details={"offset": 1.0}),
        event("step", 19.999, 20),
        1,
        1,
    ),
    "a step before its walk": (event("drift", 10, 20), event("step", 10, 10), -1, 2),
    "a smaller step": (event("step", 10, 10), event("step", 10, 10, 0.4), 1, 2),
    "calm of a slow response, half of it before": (
        event("slow_response", 10, 20),
        event("noise_collapse", 9.8, 10.2),
        -1,
        8,
    ),
    "noise of spikes, half of it behind": (event("spikes", 10, 20), event("noise_growth", 19.8, 20.2), 1, 4),
}


@pytest.mark.parametrize("case", AT_THE_EDGE)
def test_how_far_from_its_whole_a_part_may_lie(case: str) -> None:
    whole, part, way, minutes = AT_THE_EDGE[case]
    for off, joined in ((minutes - 0.5, True), (minutes + 0.5, False)):
        by = round(way * off * MINUTES * HOUR)
        moved = replace(part, start=part.start + by, end=part.end + by)
        assert (len(merge(RECORD, (whole, moved))) == 1) == joined


def test_parts_of_parts_are_kept() -> None:
    inner = event("noise_collapse", 12, 13)
    middle = event("stuck", 12, 14, parts=(inner.id,))
    (joined,) = merge(RECORD, (middle, event("stuck", 10, 20)))
    assert set(joined.parts) == {inner.id, middle.id}


def test_a_part_of_a_part_found_by_one_rule_is_kept() -> None:
    """Three steps within four blocks, each larger than the one before: the second takes the first in, the third both."""
    first, second, third = (
        event("step", 30 + k / 100, 30.01 + k / 100, size=size) for k, size in enumerate((0.4, 0.6, 1.0))
    )
    (joined,) = merge(RECORD, (first, second, third))
    assert (joined.start, joined.size) == (third.start, 1.0)
    assert set(joined.parts) == {first.id, second.id}


def test_order_is_by_start_kind_and_end_whatever_came_in() -> None:
    given = (event("step", 54, 54.01), event("dropout", 3, 4), event("drift", 3, 9))
    assert [e.kind for e in merge(RECORD, given)] == ["drift", "dropout", "step"]
    assert merge(RECORD, given) == merge(RECORD, given[::-1])


def test_nothing_stays_nothing() -> None:
    assert merge(RECORD, ()) == ()


def test_a_walk_that_steps_make_together_is_these_steps() -> None:
    walk = event("drift", 20, 60, size=1.03, size_low=0.83, size_high=1.23)
    steps = (event("step", 30, 30.01, size=0.47), event("step", 50, 50.01, size=0.4))
    first, second = merge(RECORD, (*steps, walk))
    assert (first.parts, second.parts) == ((walk.id,), ())
    away = replace(steps[1], size=-0.4)
    assert len(merge(RECORD, (steps[0], away, walk))) == 3
    alone = replace(walk, size=2.0, size_low=1.8, size_high=2.2)  # it walked by itself as well
    assert len(merge(RECORD, (*steps, alone))) == 3
    theirs = tuple(replace(step, origin="process") for step in steps)
    assert len(merge(RECORD, (*theirs, walk))) == 3
