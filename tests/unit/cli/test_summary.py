"""What a scan says at its end: the exit status, and which points need a hand."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import polars as pl
import pytest

from excursions.cli import summary
from excursions.cli.asked import closer_to, the_point
from excursions.cli.summary import events_worth_a_look, findings_at, print_summary
from excursions.errors import UsageError
from excursions.pipeline.scan import Scan
from excursions.records import Doubt, Event
from excursions.report.result import ScanResult
from tests.unit.dashboards.made_result import STORIES, made_result

QUIET = next(story for story in STORIES if not story.kind)
HOUR = 3_600 * 10**9


def quiet(**doubt: object) -> ScanResult:
    """A point to trust, without any event, and one window of doubt."""
    result = made_result((QUIET,), days=5.0, budget=200)
    facts: dict[str, object] = {
        "point": QUIET.name, "probe": "", "start": 0, "end": 5 * HOUR, "open_end": False, "knots": ((0, 0.5), (5 * HOUR, 0.5)),
        "band": (0.1, 0.1), "basis": "drift", "hours_out_of_tolerance": 5.0,
    }  # fmt: skip
    window = Doubt(**(facts | doubt))  # type: ignore[arg-type]
    points = tuple(dataclasses.replace(point, events=()) for point in result.points)
    return dataclasses.replace(result, points=points, doubts=(window,))


@pytest.mark.parametrize(("fail_on", "count"), [("note", 1), ("check", 1), ("act", 0), ("never", 0)])
def test_readings_found_out_of_tolerance_are_a_finding_though_no_event_explains_them(
    fail_on: str, count: int
) -> None:
    assert findings_at(quiet(), fail_on) == count


@pytest.mark.parametrize(
    "doubt",
    [
        {"hours_out_of_tolerance": 0.0},
        {"hours_out_of_tolerance": math.nan},
        {"open_end": True, "too_small": "as small"},
    ],
)
def test_a_window_within_tolerance_or_too_small_to_tell_is_none(doubt: dict[str, object]) -> None:
    assert findings_at(quiet(**doubt), "check") == 0


def test_without_a_point_the_worst_is_taken_and_said(capsys: pytest.CaptureFixture[str]) -> None:
    stories = tuple(dataclasses.replace(QUIET, name=name) for name in ("A", "B", "C"))
    result = made_result(stories, days=5.0, budget=200)
    assert the_point(result, "") == result.verdicts[0].point
    assert f"{result.verdicts[0].point} is the worst of 3 points" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({}, True),
        ({"severity": "note"}, False),
        ({"origin": "process"}, False),
        ({"kind": "stuck", "origin": "probe"}, False),  # its readings stand under those to doubt
    ],
)
def test_an_event_at_a_trusted_point_is_named_unless_it_stands_elsewhere(
    change: dict[str, str], told: bool
) -> None:
    result = quiet()
    facts: dict[str, object] = {
        "point": QUIET.name, "kind": "step", "start": HOUR, "end": 2 * HOUR, "size": 0.4, "size_unit": "pH",
        "confidence": 0.6, "origin": "undecided", "severity": "check",
    }  # fmt: skip
    event = Event(**(facts | change))  # type: ignore[arg-type]
    points = tuple(dataclasses.replace(point, events=(event,)) for point in result.points)
    trusted = tuple(dataclasses.replace(verdict, verdict="trust") for verdict in result.verdicts)
    found = events_worth_a_look(dataclasses.replace(result, points=points, verdicts=trusted, outcomes={}))
    assert [event.kind for _, event in found] == ([event.kind] if told else [])


def test_a_walk_within_readings_to_doubt_that_are_told_is_not_told_again() -> None:
    whole = made_result(days=110.0, step_min=20, budget=200)
    doubt = whole.told_doubts[0]
    walk = Event(
        point=doubt.point, kind="drift", start=doubt.start, end=doubt.end, size=0.3, size_unit="pH",
        confidence=0.8, origin="probe", severity="check",
    )  # fmt: skip
    apart = dataclasses.replace(walk, start=doubt.start - 40 * (doubt.end - doubt.start), end=doubt.start)
    trusted = tuple(dataclasses.replace(verdict, verdict="trust") for verdict in whole.verdicts)
    for event, told in ((walk, False), (apart, True)):
        points = tuple(
            dataclasses.replace(point, events=(event,) if point.point.name == doubt.point else ())
            for point in whole.points
        )
        result = dataclasses.replace(whole, points=points, verdicts=trusted, outcomes={})
        assert bool(events_worth_a_look(result)) is told


def test_temperatures_of_the_answer_are_in_the_unit_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    whole = made_result(days=110.0, step_min=20, budget=200)
    rows = {"read": 1, "used": 1, "duplicates": 0, "conflicts": 0, "refused": 0}
    hot = dataclasses.replace(
        whole.verdicts[0], verdict="doubt", sentence="Over-temperature to 146 degC on 26 Jun."
    )
    run = {**whole.run, "rows": rows, "inputs": {"exports": []}, "status_words": []}
    result = dataclasses.replace(whole, verdicts=(hot, *whole.verdicts[1:]), run=run)
    done = Scan(result=result, problems=(), refused=pl.DataFrame())
    for unit, words in (("degC", "146 °C"), ("degF", "295 °F")):
        print_summary(done, Path("page"), display_units=unit)
        said = capsys.readouterr().out
        assert f"Over-temperature to {words}" in said
        assert unit == "degC" or " °C" not in said


def test_the_answer_for_machines_has_the_sentences_of_the_terminal_and_names_the_unit_of_its_figures() -> (
    None
):
    whole = made_result(days=110.0, step_min=20, budget=200)
    first = whole.verdicts[0]
    hot = dataclasses.replace(first, sentence="Over-temperature to 146 degC.", error=0.3, error_band=0.1)
    run = {**whole.run, "rows": {}, "found": {}}
    result = dataclasses.replace(whole, verdicts=(hot, *whole.verdicts[1:]), run=run)
    done = Scan(result=result, problems=(), refused=pl.DataFrame())
    facts = summary.summary_facts(done, Path("page"), display_units="degF")
    told = facts["points"][0]  # type: ignore[index]
    assert told["sentence"] == "Over-temperature to 295 °F."
    unit = next(f.unit for f in result.points if f.point.name == first.point)
    assert (told["error"], told["error_unit"]) == (0.3, unit)


@pytest.mark.parametrize("said", ["Κτίριο 2/pH-01", "κτίριο 2 / PH 1", "Κτίριο 2/pH-01 θερμοκρασία"])
def test_a_point_answers_to_its_tags_and_to_what_a_log_calls_it(said: str) -> None:
    stories = tuple(dataclasses.replace(QUIET, name=name) for name in ("pH-01", "EC-3"))
    made = made_result(stories, days=5.0, budget=200)
    ours = dataclasses.replace(
        made.plant.points[0], value="Κτίριο 2/pH-01", temperature="Κτίριο 2/pH-01 θερμοκρασία"
    )
    plant = dataclasses.replace(made.plant, points=(ours, *made.plant.points[1:]))
    result = dataclasses.replace(made, plant=plant)
    assert the_point(result, said) == "pH-01"
    spans = closer_to(said, "", "", "")
    assert spans(ours, plant, (0, 0)).around_events
    assert not spans(plant.points[1], plant, (0, 0)).around_events
    with pytest.raises(UsageError):
        the_point(result, "Κτίριο 3/pH-01")


def test_what_was_over_before_the_present_trouble_of_a_point_is_named_too() -> None:
    result = quiet()
    before = Event(
        point=QUIET.name, kind="noise_growth", start=HOUR, end=2 * HOUR, size=3.5, size_unit="", confidence=0.92, severity="check",
    )  # fmt: skip
    after = dataclasses.replace(before, start=4 * HOUR, end=5 * HOUR)
    points = tuple(dataclasses.replace(point, events=(before, after)) for point in result.points)
    verdicts = tuple(dataclasses.replace(v, verdict="doubt", since=3 * HOUR) for v in result.verdicts)
    found = events_worth_a_look(dataclasses.replace(result, points=points, verdicts=verdicts, outcomes={}))
    assert [event.start for _, event in found] == [HOUR]


def test_a_point_never_compared_with_a_calibration_is_not_said_to_be_trusted_without_that() -> None:
    result = quiet()
    bare = dataclasses.replace(result, calibrations=(), doubts=(), verdicts=tuple(dataclasses.replace(v, verdict="trust") for v in result.verdicts))  # fmt: skip
    assert summary._trusted(bare)[1].startswith("trust, though never compared with a calibration: ")
    log = dataclasses.replace(made_result().calibrations[0], point=QUIET.name)
    assert summary._trusted(dataclasses.replace(bare, calibrations=(log,)))[1].startswith("trust: ")


def test_heat_and_what_followed_it_are_named_once() -> None:
    """Where the answer rests on one of them, the other is told with it."""
    result = quiet()
    heat = Event(
        point=QUIET.name, kind="over_temperature", start=HOUR, end=2 * HOUR, size=144.0, size_unit="degC", confidence=0.8, severity="check",
    )  # fmt: skip
    step = dataclasses.replace(heat, kind="step", start=3 * HOUR, end=3 * HOUR + 1, size=0.4, size_unit="pH")
    points = tuple(dataclasses.replace(point, events=(heat, step)) for point in result.points)
    for named in (heat, step):
        verdicts = tuple(
            dataclasses.replace(v, verdict="doubt", since=4 * HOUR, event=named.id) for v in result.verdicts
        )
        seen = dataclasses.replace(result, points=points, verdicts=verdicts, doubts=(), outcomes={})
        assert events_worth_a_look(seen) == []
    silent = tuple(dataclasses.replace(v, verdict="trust", event="") for v in result.verdicts)
    seen = dataclasses.replace(result, points=points, verdicts=silent, doubts=(), outcomes={})
    assert len(events_worth_a_look(seen)) == 2
