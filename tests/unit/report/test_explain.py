"""One moment explained: the verdict it gets, since when, how wrong, why, and what was ruled out."""

from __future__ import annotations

import dataclasses
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from excursions import clock
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.errors import UsageError
from excursions.plant import Plant, Point
from excursions.records import (
    CALIBRATING,
    HOLD,
    LABORATORY,
    MEASURING,
    MOVED_NOT,
    MOVED_TOO,
    NO_DATA,
    NOT_BORNE_OUT,
    PRORATION,
    SHOWED_IT,
    STEAMING,
    TEMPERATURE,
    Calibration,
    Doubt,
    Event,
    LabSample,
    Limit,
    Link,
    Sampling,
    Shift,
    StateLine,
    Witness,
)
from excursions.report.concluded import corrected_table
from excursions.report.corrected import corrected_level
from excursions.report.explain import LABORATORY_AGAINST, NOTHING_AGAINST, Focus, explain, newest
from excursions.report.explanation import AGAINST, AGREES, EXCLUDED, OPEN, SPEAKS_FOR, Explanation
from excursions.report.result import Levels, PointFindings, ScanResult, Trace, Verdict
from excursions.report.shown import shown
from excursions.report.tables import events_table, limits_table
from excursions.report.unseen import moves_unseen

DAY = NS_PER_DAY
STEP_DAY, CALIBRATED_DAY, DAYS = 20, 40, 60


def day(number: float) -> int:
    return round(number * DAY)


def made_step(**more: object) -> Event:
    facts: dict[str, object] = {
        "point": "P", "kind": "step", "start": day(STEP_DAY), "end": day(STEP_DAY) + NS_PER_HOUR, "size": 0.5,
        "size_low": 0.4, "size_high": 0.6, "size_unit": "pH", "confidence": 0.9, "origin": "probe", "severity": "act",
    }  # fmt: skip
    return Event(**(facts | more))  # type: ignore[arg-type]


def made_doubt(event: Event) -> Doubt:
    """Nothing wrong at the step, 0.52 too high when it was calibrated."""
    return Doubt(
        point="P", probe="", start=event.start, end=day(CALIBRATED_DAY), open_end=False,
        knots=((event.start, 0.0), (day(CALIBRATED_DAY), 0.52)), band=(0.1, 0.1), basis="drift",
        hours_out_of_tolerance=400.0, event=event.id,
    )  # fmt: skip


def made_peer(*, moves: bool) -> PointFindings:
    time = np.arange(DAYS * 24, dtype=np.int64) * NS_PER_HOUR
    value = 5 + 0.01 * np.sin(np.arange(time.size) / 7)
    value[time >= day(STEP_DAY)] += 1.0 if moves else 0.0
    findings = made_findings()
    return dataclasses.replace(
        findings,
        point=Point(name="Q", measurand="ph"),
        levels=Levels(time=time, value=value, temperature=np.full(time.size, np.nan)),
    )


def made_findings(
    *events: Event, state: int = MEASURING, sampling: str = "grid", **point: object
) -> PointFindings:
    """Sixty days of hours at pH 7; the state holds on day 10 alone."""
    time = np.arange(DAYS * 24, dtype=np.int64) * NS_PER_HOUR
    value = 7 + 0.01 * np.sin(np.arange(time.size) / 5)
    edges = [0, day(10), day(11), day(DAYS)]
    return PointFindings(
        point=Point(name="P", measurand="ph", **point),  # type: ignore[arg-type]
        start=0,
        end=day(DAYS),
        samples=time.size,
        events=events,
        states=StateLine(
            start=np.array(edges[:-1], np.int64), end=np.array(edges[1:], np.int64),
            code=np.array([MEASURING, state, MEASURING], np.uint8), confidence=np.ones(3), evidence=("a", "hold flag", "a"),
        ),
        sampling={"value": Sampling(kind=sampling, interval_s=600.0)},
        traces={"value": Trace(name="value", unit="pH", time=time, value=value, samples=time.size)},
        levels=Levels(time=time, value=value, temperature=30 + 0.1 * np.cos(np.arange(time.size) / 3)),
    )  # fmt: skip


def made_scan(findings: PointFindings, *others: PointFindings, **more: object) -> ScanResult:
    verdict = Verdict(
        point="P", verdict="trust", sentence="", since=None, advice="", caution="", rank_score=1.0
    )
    return ScanResult(
        plant=Plant(points=(findings.point,)), points=(findings, *others), verdicts=(verdict,),
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def asked(result: ScanResult, at: float, until: float | None = None) -> Explanation:
    return explain(result, "P", Focus(start=day(at), end=day(until if until is not None else at)))


def outcome(answer: Explanation, word: str) -> str:
    return next(check.outcome for check in answer.checks if word in check.question)


def doubted() -> ScanResult:
    step = made_step()
    shift = Shift(
        probe="", point="P", measurand="ph", parameter="zero_point", unit="pH", start=day(1), end=day(CALIBRATED_DAY),
        before=7.0, after=6.5, uncertainty=0.05, p_value=1e-6, significant=True,
    )  # fmt: skip
    links = [
        Link(shift=shift.id, cause=cause, event=event, probability=p, rank=rank, predicted=-0.5, predicted_uncertainty=0.1)
        for rank, (cause, event, p) in enumerate([("event", step.id, 0.85), ("ageing", "", 0.12), ("unrecorded", "", 0.03)], 1)
    ]  # fmt: skip
    calibration = Calibration(
        time=day(CALIBRATED_DAY), point="P", probe="", measurand="ph", action="calibration"
    )
    return made_scan(
        made_findings(step), shifts=(shift,), links=tuple(links), doubts=(made_doubt(step),), calibrations=(calibration,)
    )  # fmt: skip


def test_the_error_of_a_moment_is_read_off_between_the_knots() -> None:
    answer = asked(doubted(), 30)
    assert answer.verdict == "doubt"
    assert (answer.error, answer.error_low, answer.error_high) == pytest.approx((0.26, 0.16, 0.36))
    assert (answer.since, answer.until) == (day(STEP_DAY), day(CALIBRATED_DAY))
    assert "0.3 pH too high (nine times in ten between +0.2 pH and +0.4 pH)" in answer.wrong


def test_of_a_range_the_worst_moment_is_told() -> None:
    assert asked(doubted(), 22, 30).error == pytest.approx(0.26)


def test_before_the_event_and_after_the_calibration_the_reading_is_trusted() -> None:
    assert asked(doubted(), 15).verdict == "trust"
    assert asked(doubted(), 45).verdict == "trust"


def test_causes_come_from_the_shift_and_sum_to_one() -> None:
    answer = asked(doubted(), 30)
    assert [cause.event for cause in answer.causes] == [made_step().id, "", ""]
    assert sum(cause.probability for cause in answer.causes) == pytest.approx(1.0)
    assert "which found the zero point changed by −0.50 pH" in answer.basis


def moved_probe(asked_at: str) -> ScanResult:
    """A probe that steps at Q, moves to P on day 28 and is found off there: one shift, a doubt at each place."""
    base, step = doubted(), made_step(point="Q", probe="S")
    shift = dataclasses.replace(base.shifts[0], probe="S")
    links = tuple(
        dataclasses.replace(link, shift=shift.id, event=step.id if link.event else "") for link in base.links
    )
    there = dataclasses.replace(made_findings(step), point=Point(name="Q", measurand="ph"))
    doubt = dataclasses.replace(made_doubt(step), point=asked_at, probe="S")
    verdicts = (base.verdicts[0], dataclasses.replace(base.verdicts[0], point="Q"))
    return dataclasses.replace(
        made_scan(made_findings(), there), shifts=(shift,), links=links, doubts=(doubt,), verdicts=verdicts
    )


def test_what_happened_to_a_probe_elsewhere_is_named_with_its_place() -> None:
    answer = asked(moved_probe("P"), 30)
    assert answer.causes[0].words.startswith("at Q: Step")
    assert answer.causes[0].probability == pytest.approx(0.85)


def test_where_a_probe_stood_before_the_calibration_found_it_off_elsewhere_weighs_the_cause() -> None:
    focus = Focus(start=day(25), end=day(25))
    answer = explain(moved_probe("Q"), "Q", focus)
    assert answer.causes[0].probability == pytest.approx(0.85)
    assert "at P, which found the zero point changed by −0.50 pH" in answer.basis


def two_moves(*, sampled: bool) -> ScanResult:
    """Off by 0.5 from day 5 on, put back on day 15; the calibration weighs what the step of day 20 left."""
    early = made_step(
        kind="drift",
        start=day(5),
        end=day(14),
        witnesses=(Witness(source=LABORATORY, said=SHOWED_IT, words="samples saw 0.5"),),
    )
    base = doubted()
    first, ageing, unrecorded = base.links
    links = (
        dataclasses.replace(first, probability=0.9),
        dataclasses.replace(first, event=early.id, probability=0.06, rank=2),
        dataclasses.replace(ageing, probability=0.01, rank=4),
        dataclasses.replace(unrecorded, probability=0.03, rank=3),
    )
    knots = ((day(4), 0.0), (day(6), 0.5), (day(15), 0.4), (day(16), 0.0), (day(20), 0.0), (day(40), 0.3))
    doubt = dataclasses.replace(
        base.doubts[0], start=day(4), knots=knots, band=(0.1,) * len(knots),
        basis="laboratory samples" if sampled else "drift",
    )  # fmt: skip
    return dataclasses.replace(
        base, points=(made_findings(early, made_step()),), links=links, doubts=(doubt,)
    )


@pytest.mark.parametrize(("at", "until"), [(8, None), (6, 12), (5, 35)])
def test_a_cause_does_not_come_after_the_error_that_is_told(at: float, until: float | None) -> None:
    answer = asked(two_moves(sampled=True), at, until)
    assert [round(cause.probability, 2) for cause in answer.causes] == [0.6, 0.3, 0.1]
    assert sum(cause.probability for cause in answer.causes) == pytest.approx(1.0)
    assert answer.causes[0].words.startswith("Drift of ")
    assert answer.causes[0].reasons[0] == "samples saw 0.5"
    assert answer.event == answer.causes[0].event
    assert answer.basis.startswith("the error is shown by laboratory samples; causes weighed from")
    assert "left out, though it may have made 90 % of all that the calibration found" in answer.basis


def test_after_both_moves_the_calibration_weighs_both() -> None:
    answer = asked(two_moves(sampled=False), 35)
    assert [round(cause.probability, 2) for cause in answer.causes] == [0.9, 0.06, 0.03, 0.01]
    assert answer.event == made_step().id
    assert answer.basis.startswith("weighed from")
    assert "left" not in answer.basis
    assert "later" not in answer.basis


def test_an_error_before_its_only_candidate_has_no_cause_in_the_record() -> None:
    base = two_moves(sampled=True)
    answer = asked(dataclasses.replace(base, links=(), shifts=()), 8)
    assert [cause.words for cause in answer.causes] == ["what made it cannot be told from this record"]
    assert answer.causes[0].reasons == ("the error is shown by laboratory samples",)
    assert answer.event == ""


def test_of_a_range_that_follows_nothing_for_a_while_the_why_is_that_event() -> None:
    base = doubted()
    pinned = made_step(kind="pinned", start=day(30), end=day(31))
    link = dataclasses.replace(base.links[-1], cause="event", event=pinned.id, probability=0.0, rank=4)
    findings = made_findings(made_step(), pinned)
    answer = asked(dataclasses.replace(base, points=(findings,), links=(*base.links, link)), 22, 35)
    assert answer.verdict == "do not use"
    assert answer.causes[0].event == pinned.id
    assert sum(cause.probability for cause in answer.causes) == pytest.approx(1.0)
    assert answer.basis == "judged from the event itself, without a calibration"


def test_what_a_calibration_put_right_needs_no_work_on_the_probe() -> None:
    assert [action.verb for action in asked(doubted(), 30).actions] == ["set aside", "nothing"]


def test_an_event_nobody_verified_asks_for_verification() -> None:
    answer = asked(made_scan(made_findings(made_step())), 25)
    assert answer.verdict == "doubt"
    assert answer.error == 0.5
    assert answer.until is None
    assert [action.verb for action in answer.actions] == ["set aside", "verify", "calibrate"]
    assert sum(cause.probability for cause in answer.causes) == pytest.approx(1.0)


def test_what_passed_by_itself_is_over_in_every_part_of_the_answer() -> None:
    spikes = made_step(kind="spikes", end=day(STEP_DAY + 2))
    answer = asked(made_scan(made_findings(spikes)), STEP_DAY + 1)
    assert answer.until == spikes.end
    assert "from 21 Jan 00:00 to 23 Jan 00:00" in answer.actions[0].words


def test_heat_does_not_speak_for_the_process_by_its_own_temperature() -> None:
    heat = made_step(kind="over_temperature", size=146.0, size_unit="degC")
    answer = asked(made_scan(made_findings(heat)), 25)
    assert answer.checks
    assert outcome(answer, "temperature") == OPEN
    assert answer.causes[0].words.startswith("the heat: ")


def test_fouling_is_cleaned_before_it_is_calibrated() -> None:
    answer = asked(made_scan(made_findings(made_step(kind="fouling", end=day(DAYS), open_end=True))), 55)
    assert [action.verb for action in answer.actions] == ["set aside", "clean", "calibrate"]


def test_a_stuck_reading_is_not_used_and_its_broken_glass_is_named() -> None:
    stuck = made_step(kind="stuck", end=day(25))
    answer = asked(made_scan(made_findings(stuck)), 22)
    assert answer.verdict == "do not use"
    assert "beyond correction" in answer.wrong
    assert any("Broken glass" in text for text in answer.cautions)
    assert asked(made_scan(made_findings(stuck)), 30).verdict == "trust"  # it ended by itself


def test_what_came_back_by_itself_inside_a_longer_doubt_is_told_with_both() -> None:
    step, pinned = made_step(), made_step(kind="pinned", start=day(30), end=day(31), size_unit="pH")
    log = Calibration(point="P", probe="", measurand="ph", time=day(CALIBRATED_DAY), action="calibration")
    findings = made_findings(step, pinned)
    answer = asked(made_scan(findings, doubts=(made_doubt(step),), calibrations=(log,)), 30.5)
    assert answer.verdict == "do not use"
    assert "Readings around it are to be doubted too, from 21 Jan 00:00 to 10 Feb 00:00." in answer.sentence
    assert (
        "it was over on 1 Feb 00:00, and the probe was calibrated on 10 Feb 00:00" in answer.actions[-1].words
    )
    level = corrected_level(findings, made_doubt(step))  # what follows nothing cannot be put right
    assert not ((level.time < pinned.end) & (level.time + NS_PER_HOUR > pinned.start)).any()
    assert level.time.size == (CALIBRATED_DAY - STEP_DAY - 1) * 24
    rows = corrected_table(made_scan(findings, doubts=(made_doubt(step),)))
    times = rows["time"].cast(pl.Int64).to_numpy()
    assert rows.height == level.time.size
    assert not ((times >= pinned.start) & (times < pinned.end)).any()
    alone = asked(made_scan(findings), 30.5)
    assert "doubted too" not in alone.sentence


def test_probe_or_process_is_not_decided_for_the_user() -> None:
    answer = asked(made_scan(made_findings(made_step(origin="undecided", confidence=0.5))), 25)
    assert answer.verdict == "cannot tell"
    assert "if the probe did it" in answer.wrong


def test_a_move_of_the_process_is_trusted_and_said() -> None:
    moved = made_step(origin="process", end=day(STEP_DAY + 1), severity="note")
    answer = asked(made_scan(made_findings(moved)), STEP_DAY + 0.5)
    assert answer.verdict == "trust"
    assert "the process did that" in answer.sentence


def test_a_hold_is_no_reading_and_no_fault() -> None:
    answer = asked(made_scan(made_findings(state=HOLD)), 10.5)
    assert answer.verdict == "do not use"
    assert "nothing against the probe" in answer.sentence
    assert (answer.since, answer.until) == (day(10), day(11))
    assert outcome(answer, "hold") == SPEAKS_FOR


@pytest.mark.parametrize(
    ("code", "hours", "expected"),
    [(MEASURING, 0.4, OPEN), (MEASURING, 3.0, EXCLUDED), (CALIBRATING, 0.4, EXCLUDED)],
)
def test_work_in_the_log_of_which_the_signals_show_nothing_is_not_excluded(
    code: int, hours: float, expected: str
) -> None:
    """An entry of day 11, just after the state that holds on day 10 alone."""
    logged = Calibration(time=day(11), point="P", probe="", measurand="ph", action="calibration")
    answer = asked(made_scan(made_findings(state=code), calibrations=(logged,)), 11 + hours / 24)
    assert outcome(answer, "hold") == expected
    assert answer.verdict == ("cannot tell" if expected == OPEN else "trust")
    assert ("The log has work at the point on 12 Jan 00:00" in answer.sentence) is (expected == OPEN)


@pytest.mark.parametrize("open_end", [False, True])
def test_a_hold_inside_a_doubt_does_not_send_to_the_readings_around_it(open_end: bool) -> None:
    base = doubted()
    held = dataclasses.replace(made_findings(made_step(), state=HOLD), events=())
    doubt = dataclasses.replace(base.doubts[0], start=day(5), event="", open_end=open_end)
    answer = asked(dataclasses.replace(base, points=(held,), doubts=(doubt,)), 10.5)
    assert answer.verdict == "do not use"
    (action,) = answer.actions
    assert action.verb == "set aside"
    assert "readings around it are to be doubted too, from 6 Jan" in action.words
    assert action.words.endswith(" on." if open_end else "00:00.")


def test_silence_and_moments_outside_the_record_cannot_be_told() -> None:
    assert asked(made_scan(made_findings(state=NO_DATA)), 10.5).verdict == "cannot tell"
    outside = asked(made_scan(made_findings()), 99)
    assert outside.verdict == "cannot tell"
    assert "does not reach there" in outside.sentence


def test_a_moment_outside_the_record_asks_for_an_export_that_reaches_there() -> None:
    action = asked(made_scan(made_findings(temperature="T")), 99).actions[0]
    assert action.verb == "ask for a better export"
    assert action.words == "Ask for an export of T that reaches 10 Apr 1970."


def test_the_last_sample_of_a_record_lies_inside_it() -> None:
    findings = made_findings()
    last = dataclasses.replace(findings, end=int(findings.levels.time[-1]))
    assert outcome(asked(made_scan(last), DAYS - 1 / 24), "export") == EXCLUDED
    assert outcome(asked(made_scan(last), DAYS), "export") == OPEN


def test_a_line_drawn_across_an_outage_is_no_reading() -> None:
    bridged = made_step(kind="bridged", origin="record", end=day(STEP_DAY + 2))
    answer = asked(made_scan(made_findings(bridged)), STEP_DAY + 1)
    assert answer.verdict == "do not use"
    assert outcome(answer, "export") == SPEAKS_FOR
    assert answer.actions[-1].verb == "ask for a better export"


def test_a_line_drawn_across_a_small_part_of_a_range_does_not_answer_for_all_of_it() -> None:
    bridged = made_step(kind="bridged", origin="record", end=day(STEP_DAY + 1))
    assert asked(made_scan(made_findings(bridged)), STEP_DAY, STEP_DAY + 1.5).verdict == "do not use"
    assert asked(made_scan(made_findings(bridged)), STEP_DAY - 3, STEP_DAY + 3).verdict != "do not use"


def test_a_range_that_reaches_beyond_the_record_says_so() -> None:
    result = made_scan(made_findings(made_step()))
    assert "The record ends" in asked(result, DAYS - 1, DAYS + 5).sentence
    assert "The record begins" in asked(result, -4, 2).sentence
    inside = asked(result, 1, 2).sentence
    assert "The record ends" not in inside
    assert "The record begins" not in inside


@pytest.mark.parametrize(("moves", "expected"), [(True, SPEAKS_FOR), (False, EXCLUDED)])
def test_a_neighbour_speaks_for_the_process_only_when_it_moved(moves: bool, expected: str) -> None:
    findings = made_findings(made_step(), neighbours=("Q",))
    assert outcome(asked(made_scan(findings, made_peer(moves=moves)), 25), "Q") == expected


@pytest.mark.parametrize(("said", "expected"), [(MOVED_TOO, SPEAKS_FOR), (MOVED_NOT, EXCLUDED)])
def test_what_else_moved_is_told_as_the_event_itself_weighed_it(said: str, expected: str) -> None:
    words = "it was seen, in any words"
    step = made_step(witnesses=(Witness(source=TEMPERATURE, said=said, words=words),))
    answer = asked(made_scan(made_findings(step)), 25)
    assert outcome(answer, "temperature") == expected
    assert words in next(check.evidence for check in answer.checks if "temperature" in check.question)


@pytest.mark.parametrize(("hours", "expected"), [(8, EXCLUDED), (15 * 24, SPEAKS_FOR)])
def test_a_drawn_line_makes_a_drift_only_when_it_covers_most_of_it(hours: int, expected: str) -> None:
    drift = made_step(kind="drift", end=day(STEP_DAY + 20))
    line = made_step(
        kind="bridged", origin="record", start=day(STEP_DAY + 2), end=day(STEP_DAY + 2) + hours * NS_PER_HOUR
    )
    answer = asked(made_scan(made_findings(drift, line)), STEP_DAY + 19)
    assert outcome(answer, "export") == expected


def test_what_could_not_be_checked_says_why() -> None:
    findings = made_findings(made_step(), sampling="averages")
    findings = dataclasses.replace(
        findings,
        levels=dataclasses.replace(findings.levels, temperature=np.full(findings.levels.time.size, np.nan)),
    )
    answer = asked(made_scan(findings), 25)
    open_checks = {check.question: check.evidence for check in answer.checks if check.outcome == OPEN}
    assert "no temperature of this point was exported" in open_checks.values()
    assert "no laboratory sample of this point was given" in open_checks.values()
    assert any("averages over 10 min" in text for text in open_checks.values())
    assert answer.actions[-1].verb == "ask for a better export"
    assert any("averages over 10 min" in text for text in answer.hidden)


def test_a_laboratory_sample_off_by_more_than_tolerance_speaks_against_the_reading() -> None:
    result = dataclasses.replace(
        made_scan(made_findings(made_step())), samples=(LabSample(point="P", time=day(25.5), value=6.5),)
    )
    answer = asked(result, 25)
    assert outcome(answer, "laboratory") == AGAINST


def test_nothing_is_not_said_to_speak_against_a_reading_that_a_sample_speaks_against() -> None:
    quiet = made_scan(made_findings())
    assert asked(quiet, 5).sentence == NOTHING_AGAINST
    assert asked(sampled(quiet, (5.1, 7.0)), 5).sentence == NOTHING_AGAINST
    off = asked(sampled(quiet, (5.1, 6.0)), 5)
    assert outcome(off, "laboratory") == AGAINST
    assert off.sentence == LABORATORY_AGAINST


def sampled(result: ScanResult, *samples: tuple[float, float]) -> ScanResult:
    """With laboratory samples (day, pH)."""
    return dataclasses.replace(
        result, samples=tuple(LabSample(point="P", time=day(at), value=value) for at, value in samples)
    )


def said_of(answer: Explanation, word: str) -> str:
    return next(check.evidence for check in answer.checks if word in check.question)


def test_of_a_stretch_every_laboratory_sample_counts() -> None:
    result = sampled(doubted(), (22.5, 6.5), (24.5, 6.6), (26.5, 7.0), (28.5, 7.0), (36.5, 6.0))
    answer = asked(result, 22, 30)
    assert outcome(answer, "laboratory") == AGAINST
    words = said_of(answer, "laboratory")
    assert words.startswith("2 of 4 samples differ by more than the tolerance, up to +0.5")
    assert "sample of 23 Jan 12:00" in words
    agreed = asked(sampled(doubted(), (22.5, 7.0), (24.5, 7.0)), 22, 30)
    assert outcome(agreed, "laboratory") == AGREES
    assert said_of(agreed, "laboratory").startswith("none of 2 samples differs")


def test_of_a_moment_the_nearest_sample_decides_and_the_others_of_the_doubt_are_told() -> None:
    result = sampled(doubted(), (21.5, 7.0), (30.1, 6.5), (38.5, 6.4), (50, 6.0))
    near = asked(result, 30)
    assert outcome(near, "laboratory") == AGAINST
    assert said_of(near, "laboratory").endswith(
        "of all the time that is doubted, 2 of 3 samples differ by more than the tolerance"
    )
    far = asked(result, 25)
    assert outcome(far, "laboratory") == OPEN
    assert "of all the time that is doubted: 2 of 3 samples differ" in said_of(far, "laboratory")


@pytest.mark.parametrize(("at", "expected"), [(24, EXCLUDED), (STEP_DAY, SPEAKS_FOR)])
def test_an_artefact_of_the_export_counts_only_where_it_touches_the_event(at: float, expected: str) -> None:
    dropout = made_step(kind="dropout", origin="record", start=day(at), end=day(at) + NS_PER_HOUR)
    result = dataclasses.replace(doubted(), points=(made_findings(made_step(), dropout),))
    answer = asked(result, 22, 30)
    assert outcome(answer, "export") == expected
    assert ("dropout" in said_of(answer, "export")) == (expected == SPEAKS_FOR)


def test_of_a_range_it_is_told_how_long_it_is_beyond_correction_and_how_wrong_the_rest_is() -> None:
    first = made_step(kind="pinned", start=day(30), end=day(31))
    second = made_step(kind="stuck", start=day(30.5), end=day(32))
    third = made_step(kind="stuck", start=day(34), end=day(40))
    result = dataclasses.replace(doubted(), points=(made_findings(made_step(), first, second, third),))
    wrong = asked(result, 25, 35).wrong
    assert wrong.startswith("beyond correction for 3 d in 2 stretches of the 10 d asked about")
    # Straight from 0 on day 20 to 0.52 on day 40: 0.364 on day 34, where the last of the rest ends.
    assert wrong.endswith(
        "the rest: 0.4 pH too high (nine times in ten between +0.3 pH and +0.5 pH) at worst"
    )
    alone = asked(made_scan(made_findings(first)), 25, 35).wrong
    assert alone.endswith("the rest: nothing is known to be wrong")
    stepped = asked(made_scan(made_findings(made_step(), first)), 18, 35).wrong
    assert "the rest: cannot be said yet; step of +0.5 pH" in stepped
    for whole in (asked(result, 30.2), asked(result, 35, 39)):
        assert whole.wrong == "beyond correction: the reading does not follow the process"


def test_without_a_moment_the_present_trouble_or_the_newest_event_is_explained() -> None:
    early, late = made_step(), made_step(start=day(50), end=day(50) + NS_PER_HOUR)
    result = made_scan(made_findings(early, late))
    assert newest(result, "P").event == late.id
    leading = dataclasses.replace(result.verdicts[0], event=early.id)
    assert newest(dataclasses.replace(result, verdicts=(leading,)), "P").event == early.id
    quiet = newest(made_scan(made_findings()), "P")
    assert (quiet.start, quiet.event) == (day(DAYS), "")


def test_an_unknown_point_is_named_with_the_nearest_known() -> None:
    with pytest.raises(UsageError, match='found point "p"'):
        explain(made_scan(made_findings()), "p")


def test_a_start_that_is_a_guess_has_no_minute_in_what_to_do() -> None:
    base = two_moves(sampled=True)
    guessed = dataclasses.replace(base, doubts=(dataclasses.replace(base.doubts[0], about=True),))
    for scan, words in ((guessed, "from about 5 Jan to"), (base, "from 5 Jan 00:00 to")):
        actions = {action.verb: action.words for action in asked(scan, 8).actions}
        assert words in actions["set aside"] or words.replace(" to", " until") in actions["set aside"]


def test_a_window_that_is_too_small_to_tell_makes_no_doubt_of_a_moment() -> None:
    base = two_moves(sampled=True)
    assert asked(base, 8).verdict == "doubt"
    small = dataclasses.replace(base.doubts[0], too_small="its error may as well be none")
    events = dataclasses.replace(base.points[0], events=())
    answer = asked(dataclasses.replace(base, points=(events,), doubts=(small,)), 8)
    assert answer.verdict == "trust"
    assert "Its error may as well be none." in answer.sentence


def test_a_step_after_heat_says_how_wrong_a_range_over_it_is() -> None:
    heat = made_step(kind="over_temperature", size=142.0, size_unit="degC", severity="act")
    step = made_step(
        start=heat.end + NS_PER_HOUR, end=heat.end + NS_PER_HOUR, origin="undecided", confidence=0.4
    )
    scan = made_scan(made_findings(heat, step))
    answer = asked(scan, 18, 25)
    assert "A step of +0.5 pH followed on" in answer.sentence
    assert answer.wrong.startswith("0.5 pH too high")
    assert answer.wrong.endswith("if the probe did it")
    newest_one = explain(scan, "P", Focus(start=heat.start, end=heat.end, event=heat.id))
    assert "A step of +0.5 pH followed" in newest_one.sentence
    assert "followed" not in asked(scan, 18, STEP_DAY + 0.04).sentence


def test_steam_over_an_event_of_heat_is_told_and_its_temperature_is_not_passed_over() -> None:
    heat = made_step(kind="over_temperature", start=day(10.2), end=day(10.3), size=142.0, size_unit="degC")
    answer = asked(made_scan(made_findings(heat, state=STEAMING)), 12)
    assert outcome(answer, "steam") == SPEAKS_FOR
    (steam,) = [check.evidence for check in answer.checks if "steam" in check.question]
    assert "that is the heat itself, not the readings asked about" in steam
    (process,) = [check for check in answer.checks if "process" in check.question]
    assert process.outcome == OPEN
    assert "the heat itself" in process.evidence


def test_a_change_of_a_temperature_that_is_a_point_of_its_own_is_a_difference() -> None:
    findings = made_findings(made_step(), neighbours=("Q",))
    peer = made_peer(moves=True)
    traces = {role: dataclasses.replace(trace, unit="degC") for role, trace in peer.traces.items()}
    answer = asked(made_scan(findings, dataclasses.replace(peer, traces=traces)), 25)
    evidence = next(check.evidence for check in answer.checks if "Q" in check.question)
    assert " K from the" in evidence
    assert "degC" not in evidence


def test_a_drift_that_a_step_took_back_is_over_and_said_to_be() -> None:
    drift = made_step(
        kind="drift", start=day(20), end=day(30), size=1.0, origin="undecided", severity="check",
        details={"returned_after_s": 10.5 * 86_400},
    )  # fmt: skip
    result = made_scan(made_findings(drift))
    inside, after = asked(result, 25), asked(result, 40)
    assert inside.verdict == "cannot tell"
    assert inside.until == day(30.5)
    assert "It was over on " in inside.sentence
    assert after.verdict == "trust"
    assert "It was over on " in after.sentence


def test_a_moment_inside_a_window_that_is_told_is_doubted_also_where_the_best_estimate_is_small() -> None:
    """A page that shades it and an answer that trusts it would contradict each other."""
    scan = made_scan(made_findings(made_step()), doubts=(made_doubt(made_step()),))
    early = asked(scan, STEP_DAY + 1)
    assert early.verdict == "doubt"
    assert "May be off, between −" in early.sentence
    assert asked(scan, STEP_DAY - 1).verdict == "trust"


def test_a_moment_in_the_steam_names_the_heat_above_the_rating_and_asks_for_a_look() -> None:
    heat = made_step(
        kind="over_temperature", size=146.0, size_unit="degC", start=day(10.2), end=day(10.4), severity="act"
    )
    answer = asked(made_scan(made_findings(heat, state=STEAMING)), 10.3)
    assert answer.verdict == "do not use"
    assert answer.sentence.startswith("Over-temperature to 146 °C")
    assert "The point was steaming" in answer.sentence
    assert "verify" in [action.verb for action in answer.actions]
    assert any("Steam" in caution for caution in answer.cautions)
    cool = asked(made_scan(made_findings(state=STEAMING)), 10.3)
    assert "nothing against the probe" in cool.sentence


def test_a_slow_change_is_put_right_by_an_adjustment_shortly_before_the_end_it_was_given() -> None:
    drift = made_step(kind="drift", start=day(10), end=day(STEP_DAY + 1))
    adjusted = Calibration(time=day(STEP_DAY), point="P", probe="", measurand="ph", action="calibration")
    scan = made_scan(made_findings(drift), calibrations=(adjusted,))
    assert asked(scan, STEP_DAY - 1).verdict == "doubt"
    assert asked(scan, STEP_DAY + 2).verdict == "trust"
    early = dataclasses.replace(adjusted, time=day(STEP_DAY - 3))  # the drift went on after this one
    assert asked(made_scan(made_findings(drift), calibrations=(early,)), STEP_DAY + 2).verdict == "doubt"


def test_the_reading_is_told_as_it_stood_and_without_its_error() -> None:
    scan = made_scan(made_findings(made_step()), doubts=(made_doubt(made_step()),))
    told = asked(scan, CALIBRATED_DAY - 1).reading
    assert told.startswith(("7.00 pH at ", "6.99 pH at ", "7.01 pH at "))
    assert "without its error about 6.5 pH (± 0.1 pH)" in told
    assert "without" not in asked(scan, STEP_DAY - 5).reading
    assert asked(scan, 30, 31).reading.startswith("between 6.99 pH and 7.01 pH")
    gone = asked(scan, 30 + 0.9 / 24).reading
    assert (
        gone == "not known at that moment: the last sample at hand before it is of 31 Jan 00:00"
    )  # samples every ten minutes: the last of an hour ago does not stand


def test_the_whole_stay_in_steam_tells_the_heat_not_only_its_hottest_minutes() -> None:
    heat = made_step(
        kind="over_temperature", size=146.0, size_unit="degC", start=day(10.4), end=day(10.5), severity="act"
    )
    scan = made_scan(made_findings(heat, state=STEAMING))
    for moment in (10.1, 10.45, 10.9):
        assert asked(scan, moment).sentence.startswith("Over-temperature to 146")


def test_a_slow_change_is_as_large_at_a_moment_as_it_had_grown_by_then() -> None:
    walk = made_step(kind="drift", start=day(10), end=day(50), size=0.8, size_low=0.7, size_high=0.9)
    scan = made_scan(made_findings(walk))
    assert asked(scan, 20).error == pytest.approx(0.2, abs=0.001)
    assert asked(scan, 55).error == pytest.approx(0.8)


def test_what_the_probe_did_else_is_told_beside_a_change_nobody_can_lay_to_it() -> None:
    walk = made_step(kind="drift", start=day(10), end=day(50), origin="undecided", confidence=0.5)
    heat = made_step(
        kind="over_temperature", size=146.0, size_unit="degC", start=day(15), end=day(15.01), severity="check"
    )
    assert asked(made_scan(made_findings(walk)), 30).verdict == "cannot tell"
    answer = asked(made_scan(made_findings(walk, heat)), 30)
    assert answer.verdict == "doubt"
    assert "Also: over-temperature to 146" in answer.sentence


def test_of_a_handful_of_samples_nothing_is_called_excluded() -> None:
    few = dataclasses.replace(made_findings(), samples=3)
    answer = asked(made_scan(few), 10)
    assert answer.verdict == "cannot tell"
    assert answer.sentence.startswith("Only ")
    assert answer.checks == ()


def test_the_table_of_events_says_of_each_when_it_was_over_as_the_explanation_does() -> None:
    step = made_step()
    still = dataclasses.replace(
        step, kind="stuck", start=day(DAYS - 2), end=day(DAYS), open_end=True, size=48.0, size_unit="h"
    )
    stuck = dataclasses.replace(still, start=day(5), end=day(6), open_end=False)
    work = Calibration(time=day(CALIBRATED_DAY), point="P", probe="", measurand="ph", action="calibration")
    for event, calibrations, over in (
        (step, (), None),
        (step, (work,), day(CALIBRATED_DAY)),
        (still, (), None),
        (stuck, (work,), day(6)),
    ):
        result = made_scan(made_findings(event), calibrations=calibrations)
        row = events_table(result).row(0, named=True)
        answer = explain(result, "P", Focus(start=event.start, end=event.end, event=event.id))
        assert (answer.until, answer.since) == (over, event.start)
        assert row["over"] == (None if over is None else clock.to_datetime(over))


def test_a_moment_in_an_event_of_the_probe_is_not_called_one_that_nothing_speaks_against() -> None:
    noise = dataclasses.replace(
        made_step(), kind="noise_growth", start=day(20), end=day(24), size=2.0, size_low=1.8, size_high=2.2,
        size_unit="", severity="check",
    )  # fmt: skip
    outcomes = {noise.id: (NOT_BORNE_OUT, "The calibration found no shift.")}
    inside = asked(made_scan(made_findings(noise), outcomes=outcomes), 22)
    assert (
        inside.verdict == "doubt"
    )  # what a later calibration found says nothing of readings while it lasted
    assert "Noise growth" in inside.sentence
    assert inside.sentence.endswith("The calibration found no shift.")
    slight = dataclasses.replace(noise, severity="note")
    told = asked(made_scan(made_findings(slight), outcomes=outcomes), 22)
    assert told.verdict == "trust"
    assert "Nothing in this record" not in told.sentence
    assert "On record there: noise growth to 2 times the usual" in told.sentence
    assert "not borne out by the calibration after it" in told.sentence
    after = asked(made_scan(made_findings(noise)), 30)
    assert after.sentence == "Nothing in this record speaks against the reading there."


def test_a_moment_is_a_minute_because_onsets_are_told_by_the_minute() -> None:
    spikes = dataclasses.replace(
        made_step(), kind="spikes", start=day(20) + 40 * 10**9, end=day(20.1), severity="check"
    )
    assert "Spikes" in asked(made_scan(made_findings(spikes)), 20).sentence


def test_a_record_that_cannot_show_most_faults_is_not_trusted_for_a_moment_either() -> None:
    blind = made_scan(made_findings())
    words = "Little can be told from 36 samples of this point."
    verdict = dataclasses.replace(blind.verdicts[0], verdict="cannot tell", sentence=words)
    answer = asked(dataclasses.replace(blind, verdicts=(verdict,)), 20)
    assert (answer.verdict, answer.sentence) == ("cannot tell", words)
    assert [action.verb for action in answer.actions] == ["verify"]


def limited(*limits: Limit, events: tuple[Event, ...] = ()) -> ScanResult:
    return made_scan(dataclasses.replace(made_findings(*events), limits=limits))


def limit(kind: str, size: float, unit: str, sentence: str, lasting_s: float = 0.0) -> Limit:
    return Limit(kind=kind, size=size, unit=unit, lasting_s=lasting_s, sentence=sentence)


def test_who_trusts_a_reading_is_told_what_of_importance_its_record_could_not_show() -> None:
    still = limit("stuck", 3_600.0, "s", "a flicker of less than 83 d may not be seen", 83 * 86_400.0)
    drift = limit("drift", 1.1, "pH", "a drift of less than 1.1 pH may not be seen")
    fouling = dataclasses.replace(
        drift, kind="fouling", sentence="fouling of less than 1.1 pH may not be seen"
    )
    small = limit("step", 0.02, "pH", "a step of less than 0.02 pH may not be seen")
    noise = limit("noise_growth", 2.0, "", "noise less than 2 times as large may not be seen")
    answer = asked(limited(still, drift, fouling, small, noise), 25)
    assert answer.sentence == (
        "Nothing in this record speaks against the reading there. It could not show everything: "
        "a flicker of less than 83 d may not be seen."
    )
    assert answer.hidden[1:] == (f"fault: {still.sentence}", f"fault: {drift.sentence}")
    doubted = asked(limited(still, drift, events=(made_step(),)), 25)
    assert doubted.verdict == "doubt"
    assert len(doubted.hidden) == 1


def test_a_failure_of_hours_that_a_record_hides_is_no_part_of_the_answer() -> None:
    hours = limit("stuck", 3_600.0, "s", "an hour may not be seen", 4 * 3_600.0)
    answer = asked(limited(hours), 25)
    assert answer.sentence == "Nothing in this record speaks against the reading there."
    assert len(answer.hidden) == 1


def test_of_a_kind_that_was_found_no_table_says_that_the_record_cannot_show_it() -> None:
    unstated = limit("noise_growth", float("nan"), "", "this record cannot show it")
    noise = made_step(kind="noise_growth", size=2.0, size_unit="")
    assert limits_table(limited(unstated))["sentence"].to_list() == [unstated.sentence]
    told = limits_table(limited(unstated, events=(noise,)))["sentence"].to_list()
    assert told == ["one was found here; how small one would still be found cannot be said"]


@pytest.mark.parametrize("state", [MEASURING, STEAMING])
@pytest.mark.parametrize("after", ["", NOT_BORNE_OUT])
@pytest.mark.parametrize("severity", ["note", "check"])
def test_in_heat_beyond_a_rating_no_reading_is_trusted_whatever_a_calibration_says_later(
    state: int, after: str, severity: str
) -> None:
    heat = made_step(
        kind="over_temperature",
        start=day(10.2),
        end=day(10.4),
        size=145.0,
        size_unit="degC",
        severity=severity,
    )
    outcomes = {heat.id: (after, "The calibration of 10 Feb found no shift.")} if after else {}
    calibrated = Calibration(time=day(40), point="P", probe="", measurand="ph", action="calibration")
    scan = made_scan(made_findings(heat, state=state), outcomes=outcomes, calibrations=(calibrated,))
    hot = asked(scan, 10.3)
    assert hot.verdict == ("doubt" if state == MEASURING else "do not use")
    assert "ver-temperature to 145" in hot.sentence
    assert "against the probe" not in hot.sentence
    assert "next verification" not in hot.sentence or not after
    assert outcome(hot, "temperature") == OPEN  # the heat is no move of the process that could be excluded
    if after:
        assert "is laid to it" in hot.actions[-1].words
        assert asked(scan, 10.5 if state == MEASURING else 12).verdict != "doubt"


def test_a_step_soon_after_heat_is_told_with_it() -> None:
    step = made_step()
    heat = made_step(
        kind="over_temperature", start=day(STEP_DAY) - 3 * NS_PER_HOUR, end=day(STEP_DAY) - 2 * NS_PER_HOUR,
        size=144.0, size_unit="degC", severity="check",
    )  # fmt: skip
    answer = asked(made_scan(made_findings(heat, step)), 25)
    assert "It followed over-temperature to 144 °C" in answer.sentence
    assert answer.causes[0].words.startswith("the heat: Step of +0.5 pH")
    assert "after over-temperature to 144 °C" in answer.causes[0].words
    early = dataclasses.replace(heat, start=day(STEP_DAY - 3), end=day(STEP_DAY - 3) + NS_PER_HOUR)
    assert asked(made_scan(made_findings(early, step)), 25).causes[0].words.startswith("the probe: Step")


def test_a_doubt_without_a_shift_that_is_sure_says_what_it_rests_on() -> None:
    doubt = dataclasses.replace(made_doubt(made_step()), event="", basis=PRORATION)
    answer = asked(made_scan(made_findings(), doubts=(doubt,)), 30)
    assert answer.verdict == "doubt"
    (cause,) = answer.causes
    assert not cause.is_named
    assert cause.reasons == ("found off later; no event in the record explains it",)


def test_where_nothing_on_record_is_a_candidate_no_cause_has_a_probability() -> None:
    scan = doubted()
    link = dataclasses.replace(scan.links[0], cause="unrecorded", event="", probability=0.998)
    doubt = dataclasses.replace(scan.doubts[0], event="")
    alone = dataclasses.replace(
        scan, points=(made_findings(),), links=(link,), doubts=(doubt,)
    )  # nothing in the record began in time
    (cause,) = asked(alone, 30).causes
    assert not cause.is_named


def test_heat_that_a_calibration_bore_out_has_one_probability_in_and_after_it() -> None:
    scan = doubted()
    heat = made_step(
        kind="over_temperature",
        start=day(STEP_DAY),
        end=day(STEP_DAY) + NS_PER_HOUR,
        size=144.0,
        size_unit="degC",
    )
    links = tuple(dataclasses.replace(k, event=heat.id if k.event else "") for k in scan.links)
    told = dataclasses.replace(
        scan,
        points=(made_findings(heat),),
        links=links,
        doubts=(),
        outcomes={heat.id: ("verified by calibration", "So.")},
    )
    assert asked(told, STEP_DAY + 0.02).causes[0].probability == pytest.approx(0.85)


def test_a_reading_less_its_error_is_what_a_reader_reckons() -> None:
    findings = made_findings()
    findings = dataclasses.replace(
        findings,
        traces={"value": dataclasses.replace(findings.traces["value"], value=np.full(DAYS * 24, 7.384))},
    )
    told = shown(findings, Focus(start=day(5), end=day(5)), ZoneInfo("UTC"), 0.386, 0.07)
    assert told == "7.38 pH at 6 Jan 00:00; without its error about 6.99 pH (± 0.07 pH)"


def test_what_is_known_is_what_stood_at_the_moment_asked_about() -> None:
    first, second = (
        Calibration(time=day(at), point="P", probe=probe, measurand="ph", action="calibration")
        for at, probe in ((10, "S1"), (40, "S2"))
    )
    scan = made_scan(made_findings(), calibrations=(first, second))
    assert asked(scan, 20).knowledge == (
        "Last calibration before it 11 Jan 00:00; the next after it 10 Feb 00:00 (of probe S2)."
    )
    assert asked(scan, 5).knowledge.startswith("No calibration before it was given; the next after it 11 Jan")
    assert asked(scan, 50).knowledge == scan.verdicts[0].knowledge


def test_while_a_slow_change_stays_within_the_tolerance_a_moment_is_trusted_and_the_change_is_told() -> None:
    drift = dataclasses.replace(
        made_step(), kind="drift", start=day(20), end=day(50), size=-0.8, open_end=True
    )
    window = dataclasses.replace(
        made_doubt(drift), start=day(24), end=day(50), knots=((day(24), -0.1), (day(50), -0.8)), about=True
    )
    scan = made_scan(made_findings(drift), doubts=(window,))
    early = asked(scan, 22)
    assert early.verdict == "trust"
    assert early.sentence.startswith("No error of the reading there is known. On record there: drift of")
    assert "out of tolerance from about 25 Jan on" in early.sentence
    assert asked(scan, 40).verdict == "doubt"


def test_of_a_range_only_what_was_measured_is_told_not_the_standards_of_a_calibration() -> None:
    findings = made_findings(state=CALIBRATING)
    trace = findings.traces["value"]
    buffers = np.where((trace.time >= day(10)) & (trace.time < day(11)), 4.0, trace.value)
    held = dataclasses.replace(findings, traces={"value": dataclasses.replace(trace, value=buffers)})
    assert asked(made_scan(held), 9, 12).reading == (
        "between 6.99 pH and 7.01 pH, cleanings, calibrations and holds left out"
    )
    assert asked(made_scan(held), 12, 14).reading == "between 6.99 pH and 7.01 pH"


@pytest.mark.parametrize(("severity", "verdict"), [("act", "cannot tell"), ("check", "trust")])
def test_what_may_be_the_process_and_is_too_slight_for_the_list_is_too_slight_here(
    severity: str, verdict: str
) -> None:
    """The first page trusts the point and says what waits; the answer about the event does not say otherwise."""
    step = made_step(origin="undecided", severity=severity, confidence=0.6)
    result = made_scan(made_findings(step))
    for focus in (Focus(start=step.start, end=step.end, event=step.id), Focus(start=day(50), end=day(50))):
        assert explain(result, "P", focus).verdict == verdict


def test_how_an_export_leaves_changes_out_is_told_in_its_unit() -> None:
    sampling = Sampling(kind="exception", interval_s=60.0, deadband=0.05)
    findings = dataclasses.replace(made_findings(made_step()), sampling={"value": sampling})
    assert "changes below 0.05 pH left out" in said_of(asked(made_scan(findings), 25), "export")
    warm = dataclasses.replace(
        findings,
        point=dataclasses.replace(findings.point, measurand="temperature"),
        traces={"value": dataclasses.replace(findings.traces["value"], unit="degC")},
    )
    assert "changes below 0.05 K left out" in said_of(asked(made_scan(warm), 25), "export")


def test_a_slow_return_names_the_heat_it_followed() -> None:
    """Who reads that the probe stands off after steam has to read that the steam was too hot for it."""
    heat = made_step(kind="over_temperature", size=144.0, size_unit="degC", start=day(20), end=day(20.05))
    slow = made_step(kind="slow_return", start=day(20.1), end=day(DAYS), open_end=True)
    answer = explain(
        made_scan(made_findings(heat, slow)), "P", Focus(start=slow.start, end=slow.end, event=slow.id)
    )
    assert "It followed over-temperature to 144 °C" in answer.sentence


def test_what_came_back_by_itself_is_no_reason_to_replace_a_probe() -> None:
    stuck = made_step(kind="stuck", start=day(5), end=day(6))
    over = asked(made_scan(made_findings(stuck)), 5.5)
    assert [action.verb for action in over.actions] == ["set aside", "verify"]
    assert over.actions[1].words.startswith(
        "It came back by itself. When somebody is there anyway: look at the probe"
    )
    still = asked(made_scan(made_findings(dataclasses.replace(stuck, end=day(DAYS), open_end=True))), 30)
    assert [action.verb for action in still.actions] == ["set aside", "verify"]
    assert still.actions[1].words.count("replace") == 1


def test_what_a_temperature_point_could_not_show_is_told_though_its_changes_are_in_kelvins() -> None:
    limit = Limit(
        kind="drift",
        size=5.0,
        unit="K",
        lasting_s=86_400.0,
        sentence="a drift of less than 5 K may not be seen",
    )
    findings = made_findings()
    warm = dataclasses.replace(
        findings,
        limits=(limit,),
        traces={"value": dataclasses.replace(findings.traces["value"], unit="degC")},
    )
    assert moves_unseen(warm, 0.5) == (limit.sentence,)
    assert moves_unseen(dataclasses.replace(findings, limits=(limit,)), 0.5) == ()
