"""The rules of the scoreboard, on hand-made truth and events."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.records import Event
from sample_data.simulator import TruthRow
from tests.benchmarks.scoring import judge, match, reliability, score_point

H = 3_600_000_000_000


def true(
    kind: str, start: float, end: float, *, role: str = "fault", mode: str = "", size: float = 1.0
) -> TruthRow:
    """A true event; times in hours."""
    return TruthRow("P", "S", kind, round(start * H), round(end * H), size, "pH", role, mode)


def event(
    kind: str,
    start: float,
    end: float,
    *,
    origin: str = "probe",
    confidence: float = 0.9,
    severity: str = "check",
) -> Event:
    """A reported event; times in hours."""
    return Event(
        point="P",
        kind=kind,
        start=round(start * H),
        end=round(end * H),
        size=1.0,
        size_unit="pH",
        confidence=confidence,
        origin=origin,
        severity=severity,
    )


def test_a_fault_is_found_by_an_event_of_its_kind_that_overlaps() -> None:
    got = match(true("step", 10, 50), [event("step", 10.1, 10.1)], 2.0, 60.0)
    assert got.found is not None
    assert got.named
    assert got.onset_error_s == pytest.approx(360.0)


def test_the_tolerance_is_ten_minutes_or_three_intervals() -> None:
    row, near = true("stuck", 10, 11), [event("stuck", 11.3, 12)]
    assert match(row, near, 2.0, 60.0).found is None
    assert match(row, near, 2.0, 600.0).found is not None


def test_a_fault_called_process_is_seen_and_not_found() -> None:
    got = match(true("step", 10, 50), [event("step", 10, 10, origin="process")], 2.0, 60.0)
    assert (got.found, got.seen is not None) == (None, True)


@pytest.mark.parametrize(
    ("kind", "origin", "found"),
    [
        ("spikes", "undecided", True),
        ("spikes", "process", False),
        ("over_temperature", "undecided", True),
        ("over_temperature", "routine", False),
        ("step", "undecided", True),
        ("step", "process", False),
    ],
)
def test_which_origins_count_as_found(kind: str, origin: str, found: bool) -> None:
    assert (
        match(true(kind, 10, 50), [event(kind, 10, 12, origin=origin)], 2.0, 60.0).found is not None
    ) == found


def test_the_very_kind_is_preferred_to_a_nearer_compatible_one() -> None:
    got = match(true("drift", 10, 50), [event("step", 10, 10), event("drift", 14, 40)], 2.0, 60.0)
    assert got.found is not None
    assert got.found.kind == "drift"


def test_a_probe_event_beside_no_fault_is_false() -> None:
    judged = judge(event("step", 10, 10), [true("lookalike_setpoint_step", 9.9, 12, role="lookalike")], 60.0)
    assert judged.false
    assert judged.beside == "lookalike_setpoint_step"


@pytest.mark.parametrize(
    "change", [{"confidence": 0.49}, {"severity": "note"}, {"origin": "undecided"}, {"origin": "process"}]
)
def test_quiet_or_undecided_events_are_not_false_faults(change: dict[str, object]) -> None:
    assert not judge(replace(event("step", 10, 10), **change), [], 60.0).false  # type: ignore[arg-type]


def test_what_a_fault_brings_along_is_not_false() -> None:
    rows = [
        true("over_temperature", 10, 10.5, size=148.0),
        true("step", 10, 99, role="aftermath", mode="over_temperature"),
    ]
    assert not judge(event("step", 10.6, 10.6), rows, 60.0).false
    assert not judge(event("noise_growth", 11, 30), rows, 60.0).false
    assert judge(event("periodic", 60, 61), rows, 60.0).false


def test_right_depends_on_the_origin_said() -> None:
    rows = [true("step", 10, 50), true("routine_sterilisation", 100, 102, role="routine")]
    assert judge(event("step", 10, 10), rows, 60.0).right is True
    assert judge(event("step", 10, 10, origin="process"), rows, 60.0).right is False
    assert judge(event("step", 70, 70, origin="process"), rows, 60.0).right is True
    assert judge(event("sterilisation", 100, 102, origin="routine"), rows, 60.0).right is True
    assert judge(event("step", 70, 70, origin="undecided"), rows, 60.0).right is None


def test_reliability_bins_by_what_was_said() -> None:
    judged = [
        judge(event("step", 10, 10, confidence=c), [true("step", start, 50)], 60.0)
        for c, start in ((0.92, 10), (0.94, 10), (0.95, 90), (0.51, 10))
    ]
    rows = reliability(judged, routine=False)
    assert [(round(said, 3), round(right, 3), count) for said, right, count, _ in rows] == [
        (0.51, 1.0, 1),
        (0.937, 0.667, 3),
    ]


def test_a_point_is_scored_whole() -> None:
    rows = [
        true("step", 10, 50),
        true("bridged", 60, 70, role="record"),
        true("lookalike_hold", 80, 81, role="lookalike"),
    ]
    score = score_point(rows, [event("step", 10, 10), event("stuck", 80, 81)], [3.0, math.inf], 60.0, 1.0)
    assert [m.found is not None for m in score.matches] == [True, False]
    assert [j.false for j in score.judged] == [False, True]
