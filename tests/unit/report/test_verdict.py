"""The answer for a point, from what its record and its calibrations say."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.plant import Point
from excursions.records import (
    RETURNED,
    UNVERIFIED,
    Calibration,
    Doubt,
    Event,
    Limit,
    Parameter,
    StateLine,
)
from excursions.report.answers import past_faults
from excursions.report.result import Levels, PointFindings, Trace, Verdict
from excursions.report.telling import NO_SIGN, THE_PROCESS, WITHIN, weighed_doubts
from excursions.report.verdict import judge, order

UTC = ZoneInfo("UTC")
DAY = NS_PER_DAY


def made_event(kind: str, *, day: float = 10.0, **more: object) -> Event:
    facts: dict[str, object] = {
        "point": "P", "kind": kind, "start": int(day * DAY), "end": int(day * DAY) + NS_PER_HOUR, "size": 1.0,
        "size_unit": "pH", "confidence": 0.9, "origin": "probe", "severity": "act",
    }  # fmt: skip
    return Event(**(facts | more))  # type: ignore[arg-type]


def made_findings(*events: Event, samples: int = 1000) -> PointFindings:
    time = np.arange(30 * 24, dtype=np.int64) * NS_PER_HOUR
    value = np.full(time.size, 7.0)
    line = np.array([0], np.int64), np.array([30 * DAY], np.int64)
    return PointFindings(
        point=Point(name="P", measurand="ph"),
        start=0,
        end=30 * DAY,
        samples=samples,
        events=events,
        states=StateLine(
            start=line[0], end=line[1], code=np.zeros(1, np.uint8), confidence=np.ones(1), evidence=("",)
        ),
        sampling={},
        traces={"value": Trace(name="value", unit="pH", time=time, value=value, samples=samples)},
        levels=Levels(time=time, value=value, temperature=value),
    )


def judged(findings: PointFindings, **more: object) -> Verdict:
    """The verdict as a scan comes to it: windows are weighed first."""
    given: dict[str, Any] = {"doubts": [], "calibrations": [], "outcomes": {}, "tz": UTC} | more
    given["doubts"] = weighed_doubts(
        given["doubts"], findings, calibrations=given["calibrations"], outcomes=given["outcomes"]
    )
    return judge(findings, **given)


def made_doubt(error: float, *, start: float = 10.0, event: str = "") -> Doubt:
    begin = int(start * DAY)
    return Doubt(
        point="P", probe="", start=begin, end=30 * DAY, open_end=True, knots=((begin, error), (30 * DAY, error)),
        band=(0.05, 0.05), basis="step", hours_out_of_tolerance=480.0, event=event,
    )  # fmt: skip


def test_a_record_that_ends_before_the_plants_says_for_which_time_the_answer_holds() -> None:
    findings = made_findings()
    other = judged(findings, newest=findings.end + int(0.9 * DAY))  # made at another hour of the day
    early = judged(findings, newest=findings.end + 4 * DAY)
    assert repr(judged(findings, newest=findings.end + 40 * DAY)) == repr(early)
    assert (other.ended, early.ended) == (None, findings.end)
    assert "nothing is known" not in other.sentence
    assert "before the plant's: of the time since, nothing is known." in early.sentence


def test_a_temperature_that_ends_before_its_reading_is_said() -> None:
    findings = made_findings()
    trace = findings.traces["value"]
    half = trace.time.size // 2
    cut = replace(trace, name="temperature", time=trace.time[:half], value=trace.value[:half])
    both = replace(findings, traces={"value": trace, "temperature": cut})
    whole = replace(findings, traces={"value": trace, "temperature": replace(trace, name="temperature")})
    assert "heat after that would not be seen" in judged(both, newest=findings.end).sentence
    assert "heat after that" not in judged(whole, newest=findings.end).sentence


def test_a_quiet_record_is_trusted() -> None:
    assert judged(made_findings()).verdict == "trust"


def test_a_handful_of_samples_tells_nothing() -> None:
    assert judged(made_findings(samples=5)).verdict == "cannot tell"


def test_a_reading_stuck_at_the_end_is_not_to_be_used() -> None:
    verdict = judged(made_findings(made_event("stuck", open_end=True)))
    assert verdict.verdict == "do not use"
    assert verdict.since == 10 * DAY


def test_a_reading_that_was_stuck_is_trusted_now_and_named() -> None:
    findings = made_findings(made_event("stuck"))
    verdict = judged(findings)
    assert verdict.verdict == "trust"
    assert "To be left out: Stuck reading" in verdict.sentence
    assert len(past_faults(findings)) == 1


@pytest.mark.parametrize(("severity", "named"), [("check", True), ("note", False)])
def test_a_temperature_that_was_wrong_for_a_while_is_named_and_its_reading_trusted(
    severity: str, named: bool
) -> None:
    verdict = judged(
        made_findings(made_event("temperature_fault", severity=severity, size=12.0, size_unit="K"))
    )
    assert verdict.verdict == "trust"
    assert (
        "Its temperature was wrong for a while: temperature element fault of 12 K from" in verdict.sentence
    ) is named
    assert ("reference thermometer" in verdict.advice) is named


def test_values_that_the_record_played_back_are_to_be_left_out_and_no_fault_of_the_probe() -> None:
    verdict = judged(made_findings(made_event("stuck", origin="record")))
    assert verdict.verdict == "trust"
    assert "To be left out: Stuck reading" in verdict.sentence
    assert "record" in verdict.advice
    assert "probe, stood" in verdict.advice


def test_an_open_window_beyond_tolerance_is_doubt_with_its_error() -> None:
    step = made_event("step")
    verdict = judged(made_findings(step), doubts=[made_doubt(-0.4, event=step.id)])
    assert verdict.verdict == "doubt"
    assert verdict.error == pytest.approx(-0.4)
    assert "low" in verdict.sentence


@pytest.mark.parametrize(
    ("begins", "words"), [(10.0, "low since about"), (15.0, "out of tolerance since about")]
)
def test_what_crept_before_it_left_the_tolerance_says_what_its_second_date_is(
    begins: float, words: str
) -> None:
    drift = made_event("drift")
    window = replace(made_doubt(-0.4, start=drift.start / DAY + begins - 10, event=drift.id), about=True)
    sentence = judged(made_findings(drift), doubts=[window]).sentence
    assert words in re.sub(r" \(± [^)]*\),?", "", sentence)


def test_an_error_that_may_as_well_be_none_is_not_told() -> None:
    step = made_event("step")
    wide = replace(made_doubt(-0.4, event=step.id), band=(0.41, 0.41))
    verdict = judged(made_findings(step), doubts=[wide])
    assert verdict.verdict == "doubt"
    assert "reads about" not in verdict.sentence.lower()


def test_a_change_that_went_back_by_itself_is_over() -> None:
    assert judged(made_findings(made_event("step", details={RETURNED: 3_600.0}))).verdict == "trust"


def test_an_open_window_within_tolerance_is_no_doubt() -> None:
    assert judged(made_findings(), doubts=[made_doubt(0.02)]).verdict == "trust"


@pytest.mark.parametrize(
    ("doubt", "why"),
    [
        (made_doubt(-0.4), ""),
        (made_doubt(0.02), WITHIN),
        (replace(made_doubt(-0.4), band=(0.41, 0.41)), NO_SIGN),
        (replace(made_doubt(-0.9), basis=UNVERIFIED), THE_PROCESS),  # no event speaks for it
        (replace(made_doubt(0.02), open_end=False), ""),  # a calibration found it
    ],
)
def test_a_window_says_why_it_is_not_told(doubt: Doubt, why: str) -> None:
    (weighed,) = weighed_doubts([doubt], made_findings(), calibrations=[], outcomes={})
    assert weighed.too_small == why


def test_what_was_off_and_went_back_is_told_and_does_not_speak_against_the_reading_now() -> None:
    gone = replace(
        made_doubt(0.0), knots=((10 * DAY, 0.4), (20 * DAY, 0.0), (30 * DAY, 0.0)), band=(0.05,) * 3
    )
    verdict = judged(made_findings(), doubts=[gone])
    assert verdict.verdict == "trust"
    assert "on are to be doubted, up to 0.40 pH high" in verdict.sentence


def test_a_window_that_is_open_was_never_calibrated_since() -> None:
    before = Calibration(time=5 * DAY, point="P", probe="", measurand="ph", action="calibration")
    sentence = judged(made_findings(), doubts=[made_doubt(0.02)], calibrations=[before]).sentence
    assert "Since then it was calibrated" not in sentence
    assert "has not been verified" in sentence


def test_events_likelier_the_processes_open_no_doubt_together() -> None:
    step = made_event("step", origin="undecided", confidence=0.3, severity="check")
    doubt = replace(made_doubt(-0.9), basis=UNVERIFIED)
    assert judged(made_findings(step), doubts=[doubt]).verdict == "trust"
    likelier = replace(step, confidence=0.6)
    assert judged(made_findings(likelier), doubts=[doubt]).verdict == "doubt"


def test_a_trouble_nobody_laid_to_anything_is_not_trusted_away_while_it_goes_on() -> None:
    noise = made_event("noise_collapse", origin="undecided", confidence=0.5, severity="check", open_end=True)
    assert judged(made_findings(noise)).verdict == "cannot tell"
    assert judged(made_findings(replace(noise, open_end=False))).verdict == "trust"


def test_a_change_that_waits_for_a_verification_is_asked_for_and_not_called_nothing() -> None:
    verdict = judged(made_findings(), doubts=[made_doubt(0.02)])
    assert verdict.sentence.startswith("Nothing certain speaks against the reading now")
    assert verdict.advice.startswith("Verify it")


def test_heat_is_measured_and_not_a_matter_of_opinion() -> None:
    sentence = judged(made_findings(made_event("over_temperature", size_unit="degC", size=142.0))).sentence
    assert "measured" in sentence
    assert "% sure" not in sentence


def test_an_effect_is_not_told_before_its_cause() -> None:
    step = made_event("step", day=20)
    sentence = judged(made_findings(step), doubts=[made_doubt(-0.4, start=5, event=step.id)]).sentence
    assert sentence.startswith("Reads about")


def test_a_calibration_since_settles_a_step() -> None:
    since = Calibration(time=20 * DAY, point="P", probe="", measurand="ph", action="calibration")
    assert judged(made_findings(made_event("step")), calibrations=[since]).verdict == "trust"


@pytest.mark.parametrize(("confidence", "verdict"), [(0.45, "cannot tell"), (0.2, "trust")])
def test_an_undecided_step_asks_only_when_the_probe_is_likely_enough(confidence: float, verdict: str) -> None:
    step = made_event("step", origin="undecided", confidence=confidence)
    assert judged(made_findings(step)).verdict == verdict


def test_a_probe_outside_its_band_is_to_be_replaced_though_put_right() -> None:
    worn = Calibration(
        time=20 * DAY,
        point="P",
        probe="",
        measurand="ph",
        action="calibration",
        as_left={"slope": Parameter(value=84.6, uncertainty=0.4, unit="%", basis="computed")},
    )
    verdict = judged(made_findings(), calibrations=[worn])
    assert verdict.verdict == "trust"
    assert verdict.advice == "Plan its replacement. Slope 84.6 % is outside its limits (USP <791>)."
    assert verdict.worn
    assert verdict.sentence.startswith(
        "Nothing in this record speaks against the reading now, but the probe is due for replacement: slope 84.6 % is outside"
    )


def test_worst_comes_first() -> None:
    verdicts = [
        judged(made_findings()),
        judged(made_findings(made_event("stuck", open_end=True))),
        judged(made_findings(), doubts=[made_doubt(-0.4)]),
    ]
    assert [v.verdict for v in order(verdicts)] == ["do not use", "doubt", "trust"]


def test_an_adjustment_that_does_not_show_takes_no_step_away() -> None:
    step = made_event("step", size=-0.4, severity="check", confidence=0.9)
    later = [Calibration(time=20 * DAY, point="P", probe="S", measurand="ph", action="calibration")]
    told = "The reading did not come back with it."
    stands = {step.id: ("not seen put right", told)}
    seen = judged(made_findings(step), calibrations=later, outcomes=stands)
    assert seen.verdict == "doubt"
    assert seen.sentence.endswith(told)
    assert judged(made_findings(step), calibrations=later).verdict == "trust"


def test_a_step_after_heat_is_told_with_its_size() -> None:
    heat = made_event("over_temperature", size_unit="degC", size=142.0, severity="check")
    step = made_event(
        "step", day=10.1, size=-0.38, size_low=-0.49, size_high=-0.27, origin="undecided", confidence=0.4, severity="check",
    )  # fmt: skip
    told = judged(made_findings(heat, step)).sentence
    assert told.endswith(
        "A step of −0.4 pH followed on 11 Jan 02:24; the reading is off by it since, if the probe did it."
    )
    back = replace(step, details={RETURNED: 3600.0})
    assert "followed" not in judged(made_findings(heat, back)).sentence
    late = replace(step, start=step.start + DAY, end=step.end + DAY)
    assert "followed" not in judged(made_findings(heat, late)).sentence


def test_nothing_is_to_be_compared_with_a_calibration_that_was_not_given() -> None:
    findings = made_findings(made_event("over_temperature", size_unit="degC", size=142.0))
    assert "no calibration was given to compare it with" in judged(findings).advice
    before = Calibration(time=5 * DAY, point="P", probe="", measurand="ph", action="calibration")
    assert "with the last calibration" in judged(findings, calibrations=[before]).advice


def test_readings_before_a_calibration_that_says_only_what_it_left_are_not_verified() -> None:
    figures = {"zero_point": Parameter(value=7.0, uncertainty=0.02, unit="pH", basis="entered")}
    left = Calibration(
        time=20 * DAY, point="P", probe="", measurand="ph", action="calibration", as_left=figures
    )
    findings = made_findings(made_event("step"))
    seen = judged(findings, calibrations=[left])
    assert seen.verdict == "trust"
    assert "Readings from 11 Jan 00:00 to 21 Jan 00:00 are not verified: step of" in seen.sentence
    both = replace(left, as_found=figures)
    assert "not verified" not in judged(findings, calibrations=[both]).sentence
    doubt = replace(made_doubt(0.4, event=findings.events[0].id), open_end=False, end=20 * DAY)
    once = judged(findings, calibrations=[left], doubts=[doubt]).sentence
    assert "are to be doubted" in once
    assert "not verified" not in once  # the same stretch is not told twice


def test_where_most_kinds_of_fault_cannot_show_silence_is_no_answer() -> None:
    blind, seen = (
        Limit(kind="drift", size=size, unit="pH", lasting_s=0.0, sentence="") for size in (math.nan, 0.1)
    )
    few = judged(replace(made_findings(samples=40), samples=80, limits=(blind, blind, seen)))
    assert few.verdict == "cannot tell"
    assert "Little can be told from 40 samples" in few.sentence
    assert "2 of 3 kinds" in few.sentence
    assert judged(replace(made_findings(), limits=(blind, seen, seen))).verdict == "trust"


def test_without_a_plan_no_planned_calibration_is_waited_for() -> None:
    findings = made_findings()
    assert judged(findings).advice == "Nothing to do now."
    planned = replace(findings, point=replace(findings.point, plan_days=30.0))
    assert "next planned calibration" in judged(planned).advice


def test_earlier_stretches_are_counted_beside_the_one_that_is_named() -> None:
    early, late = (
        replace(made_doubt(0.4, start=start), end=int((start + 3) * DAY), open_end=False)
        for start in (2.0, 10.0)
    )
    told = judged(made_findings(), doubts=[early, late]).sentence
    assert "; and 1 earlier stretch." in told
    assert "earlier" not in judged(made_findings(), doubts=[late]).sentence
    stuck = made_findings(made_event("stuck", day=4.0), made_event("stuck", day=20.0, open_end=True))
    assert judged(stuck).sentence.endswith("Before that: 1 earlier stretch to leave out.")
    both = judged(stuck, doubts=[early, late]).sentence
    assert both.endswith("Before that: 2 earlier stretches to doubt and 1 to leave out.")


def test_a_grave_change_nobody_laid_to_anything_leads_over_heat_that_may_have_done_nothing() -> None:
    heat = made_event("over_temperature", day=5, size=149.0, size_unit="degC", severity="check")
    walk = made_event("drift", day=12, origin="undecided", confidence=0.5, end=30 * DAY)
    answer = judged(made_findings(heat, walk))
    assert answer.verdict == "doubt"
    assert answer.event == walk.id
    assert "Also: over-temperature to 149" in answer.sentence


def test_what_followed_heat_is_told_with_it_and_not_beside_it() -> None:
    heat = made_event("over_temperature", day=5, size=149.0, size_unit="degC", severity="check")
    step = made_event("step", day=5.1, origin="undecided", confidence=0.7)
    answer = judged(made_findings(heat, step))
    assert answer.event == heat.id
    assert "A step of +1.0 pH followed" in answer.sentence
    assert "Also" not in answer.sentence


def test_what_still_lasts_goes_on_beyond_a_window_that_a_calibration_closed() -> None:
    stuck = made_event("stuck", open_end=True)
    over = replace(made_doubt(0.3, event=stuck.id), open_end=False, end=20 * DAY)
    assert (
        judged(made_findings(stuck), doubts=[over]).verdict == judged(made_findings(stuck)).verdict != "trust"
    )


def test_an_event_with_a_window_that_is_open_still_bears_on_the_reading() -> None:
    drift = made_event("drift")
    over = replace(made_doubt(0.3, event=drift.id), open_end=False, end=20 * DAY)
    assert judged(made_findings(drift), doubts=[over, made_doubt(0.3, event=drift.id)]).verdict == "doubt"


def test_what_an_event_did_is_over_with_its_window() -> None:
    """Samples showed that the error went again: the drift that made it is no trouble of now."""
    drift = made_event("drift")
    over = replace(made_doubt(0.3, event=drift.id), open_end=False, end=20 * DAY)
    assert judged(made_findings(drift), doubts=[over]).verdict == "trust"
    assert judged(made_findings(drift), doubts=[]).verdict == "doubt"
