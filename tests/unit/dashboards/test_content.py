"""What pages say: order, counts, scale, and what is left out and said to be."""

from __future__ import annotations

import dataclasses
import math
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from dashboards.content.about import gather, told_doubts
from dashboards.content.compare import related_rows
from dashboards.content.entry import wrong_now
from dashboards.content.heat import heat_rows
from dashboards.content.overview import _answer, overview_content
from dashboards.content.point import figure_in_words, point_content, ratings_words
from dashboards.content.rows import event_rows, shift_rows
from dashboards.content.run import grouped, run_content
from dashboards.content.sampling import sampling_words
from dashboards.content.scale import usual, usual_scale
from dashboards.panels import doubt as doubt_panel
from dashboards.slug import slugs
from dashboards.wording import Reader, size_words
from excursions.cli.summary import findings_at
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.records import Decision, Doubt, Event, Link, Sampling
from excursions.report.concluded import corrected_table
from excursions.report.followed import moved_sentence
from excursions.report.result import ScanResult
from excursions.report.tables import doubts_table
from tests.unit.dashboards.made_result import START, STORIES, instant, made_point, made_result

READER = Reader(tz=ZoneInfo("Europe/Vienna"))


@pytest.fixture(scope="module")
def result() -> ScanResult:
    return made_result(days=110.0, step_min=20, budget=800)


def overview_of(result: ScanResult):
    return overview_content(result, READER, slugs(f.point.name for f in result.points))


def test_entries_keep_the_order_of_the_verdicts_and_count_them(result: ScanResult) -> None:
    page = overview_of(result)
    assert [e.name for e in page.entries] == [v.point for v in result.verdicts]
    assert [(word, count) for word, count, _ in page.counts] == [
        ("do not use", 1), ("doubt", 5), ("cannot tell", 2), ("trust", 5),
    ]  # fmt: skip
    assert page.answer == "6 of 13 points are not to be trusted as they stand; of 2 more it cannot be told."


def test_all_well_is_said_plainly(result: ScanResult) -> None:
    calm = [v for v in result.verdicts if v.verdict == "trust"]
    page = overview_of(dataclasses.replace(result, verdicts=tuple(calm), doubts=()))
    assert page.answer == "All 5 points may be trusted, as far as this record goes."
    assert page.earlier == ""


def test_doubt_that_is_over_is_not_forgotten(result: ScanResult) -> None:
    over = tuple(dataclasses.replace(doubt, open_end=False) for doubt in result.doubts[:2])
    page = overview_of(dataclasses.replace(result, doubts=over))
    names = [v.point for v in result.verdicts if v.point in {d.point for d in over}]
    assert page.earlier == f"Stretches of earlier readings are doubtful at {names[0]} and {names[1]}."


def test_the_calendar_counts_each_event_on_the_day_it_began(result: ScanResult) -> None:
    page = overview_of(result)
    heat = next(counts for words, _, counts in page.calendar if words == "heat")
    assert [day for day, count in enumerate(heat) if count] == [92]
    assert sum(sum(counts) for _, _, counts in page.calendar) == 8


def test_routine_and_process_are_no_trouble(result: ScanResult) -> None:
    entry = next(e for e in overview_of(result).entries if e.name == "AT-402")
    assert entry.happened == ""
    assert entry.days == ()


def test_the_scale_leaves_out_cleanings_but_no_trouble() -> None:
    findings = made_point(STORIES[0], seed=0)
    values = findings.levels.value.copy()
    values[::50] = 400.0
    trace = findings.traces["value"]
    spiked = dataclasses.replace(
        findings,
        levels=dataclasses.replace(findings.levels, value=values),
        traces={
            "value": dataclasses.replace(
                trace, value=np.where(np.arange(trace.value.size) % 90 == 0, 400.0, trace.value)
            )
        },
    )
    scale = usual_scale(spiked, ())
    assert scale is not None
    assert scale[0] < 6.9
    assert 7.4 < scale[1] < 12


@pytest.mark.parametrize(("open_end", "on_scale"), [(False, False), (True, True)])
def test_impossible_readings_that_are_over_do_not_flatten_the_record(open_end: bool, on_scale: bool) -> None:
    findings = made_point(STORIES[6], seed=6)
    trace = findings.traces["value"]
    at = int(trace.time[trace.value.size // 2])
    event = Event(
        point=findings.point.name, kind="out_of_range", start=at, end=at + NS_PER_DAY // 24, size=5000.0, size_unit="mV",
        confidence=0.9, severity="act", origin="probe", open_end=open_end,
    )  # fmt: skip
    inside = (trace.time >= event.start) & (trace.time < event.end)
    struck = dataclasses.replace(
        findings,
        events=(event,),
        traces={"value": dataclasses.replace(trace, value=np.where(inside, 5000.0, trace.value))},
    )
    scale = usual_scale(struck, ())
    assert (scale is None or scale[1] >= 5000.0) == on_scale


def test_how_wrong_an_undecided_step_would_be_is_told_with_its_condition() -> None:
    result = made_result(STORIES[4:5])
    verdict = dataclasses.replace(
        result.verdicts[0],
        event=next(e.id for e in result.points[0].events if e.kind == "step"),
        error=math.nan,
    )
    words = wrong_now(verdict, result.points[0], Reader(tz=ZoneInfo("UTC")))
    assert words.replace("\u00a0", " ").startswith("0.8 mg/L too low")
    assert words.endswith("if the probe did it, nothing if the process did")
    step = next(e for e in result.points[0].events if e.id == verdict.event)
    its_own = dataclasses.replace(result.points[0], events=(dataclasses.replace(step, origin="probe"),))
    doubted = dataclasses.replace(verdict, verdict="doubt")
    words = wrong_now(doubted, its_own, Reader(tz=ZoneInfo("UTC"))).replace("\u00a0", " ")
    assert words.startswith("0.8 mg/L too low")
    assert words.endswith(", by the size of the step alone")
    now = Doubt(
        point=step.point, probe="", start=step.start, end=result.points[0].end, open_end=True, event=step.id,
        knots=((step.start, -0.8), (result.points[0].end, 0.1)), band=(0.3, 0.3), basis="step", hours_out_of_tolerance=9.0,
    )  # fmt: skip
    words = wrong_now(doubted, its_own, Reader(tz=ZoneInfo("UTC")), (now,)).replace("\u00a0", " ")
    assert words == "between −0.2 mg/L and +0.4 mg/L"  # what is left of it now, not what it was


def test_a_scale_that_is_hardly_narrower_is_not_worth_having() -> None:
    assert usual_scale(made_point(STORIES[6], seed=6), ()) is None


def test_the_newest_days_are_always_on_the_scale() -> None:
    findings = made_point(STORIES[6], seed=6)
    values = np.where(findings.levels.time > findings.end - NS_PER_DAY, 900.0, findings.levels.value)
    trace = findings.traces["value"]
    raised = dataclasses.replace(
        findings,
        levels=dataclasses.replace(findings.levels, value=values),
        traces={"value": dataclasses.replace(trace, value=np.append(trace.value[:-1], 5000.0))},
    )
    scale = usual_scale(raised, ())
    assert scale is not None
    assert scale[1] >= 900.0


def test_few_levels_are_taken_as_they_are() -> None:
    assert usual(np.array([1.0, np.nan, 3.0])) == (1.0, 3.0)
    low, high = usual(np.empty(0))
    assert low > high


def test_events_beyond_a_page_are_counted_not_dropped_in_silence(result: ScanResult) -> None:
    about = gather(result)[0]
    event = about.findings.events[0]
    many = tuple(
        dataclasses.replace(event, start=START + n * 60_000_000_000, end=START + (n + 1) * 60_000_000_000)
        for n in range(1_500)
    )
    crowded = dataclasses.replace(about, findings=dataclasses.replace(about.findings, events=many))
    rows, left_out = event_rows(crowded, READER)
    assert (len(rows), left_out) == (1_200, 300)
    assert rows[0].start_sort > rows[-1].start_sort


def test_causes_next_to_impossible_are_summed_up(result: ScanResult) -> None:
    about = next(a for a in gather(result) if a.shifts)
    shift = about.shifts[0]
    faint = tuple(
        Link(
            shift=shift.id,
            cause="event",
            event="",
            probability=0.001,
            rank=n,
            predicted=0.0,
            predicted_uncertainty=1.0,
        )
        for n in range(4, 9)
    )
    row = shift_rows(dataclasses.replace(about, links=(*about.links, *faint)), READER)[0]
    assert [cause.share for cause in row.causes] == ["81 %", "12 %", "7 %"]
    assert row.unlikely == "5 other causes with less than 1 % each, in tables/links.csv."


def test_heat_rows_keep_every_exposure_above_a_rating(result: ScanResult) -> None:
    findings = next(f for f in result.points if f.point.name == "AT-101")
    rows, left_out = heat_rows(findings, READER)
    hot = next(row for row in rows if row.label == "over-temperature")
    assert (hot.peak, hot.continuous, hot.f0, hot.dose) == (
        "143 °C, could be up to 147 °C",
        "31 min",
        "410 min",
        "6.3 h",
    )
    assert left_out == 0


def test_decisions_that_say_the_same_share_a_row() -> None:
    rows = grouped(
        [
            Decision(subject="a/b/plant/x.csv", what="values taken as degC", why="w"),
            Decision(subject="B", what="values taken as degC", why="w"),
            Decision(subject="C", what="other", why="w"),
        ],
        READER,
    )
    assert [(row.subject, row.what) for row in rows] == [
        ("plant/x.csv, B", "values taken as °C"),
        ("C", "other"),
    ]


def test_run_facts_of_any_shape_do_no_harm(result: ScanResult) -> None:
    odd = dataclasses.replace(
        result, run={"inputs": "text", "rows": [1], "problems": None, "status_words": {"a": 1}}
    )
    facts = run_content(odd, READER)
    assert facts.sources == ()
    assert facts.account == ""
    assert facts.problems == ()


def test_sampling_says_what_averages_hide(result: ScanResult) -> None:
    said = sampling_words(result.points[0], READER)
    assert any("the true peak can be higher than any drawn here" in sentence for sentence in said)
    assert any(sentence.startswith("Reading, flat stretches: ") for sentence in said)
    assert "no extreme is lost" in said[-1]


def test_a_step_of_an_export_in_degf_is_a_round_figure_of_that(result: ScanResult) -> None:
    sampling = Sampling(kind="grid", interval_s=60.0, resolution=0.1 / 1.8)
    findings = dataclasses.replace(result.points[0], sampling={"temperature": sampling})
    said = " ".join(sampling_words(findings, dataclasses.replace(READER, temperature="degF")))
    assert "smallest step 0.1 °F" in said
    assert "smallest step 0.0556 K" in " ".join(sampling_words(findings, READER))


def test_the_figure_has_words_for_those_who_cannot_see_it(result: ScanResult) -> None:
    about = next(a for a in gather(result) if a.findings.point.name == "AT-101")
    words = figure_in_words(about, READER)
    assert words.startswith("1 Jan 2026, 00:00 to ")
    assert "Events worth a look: 1 × over-temperature. 2 calibrations, 10 laboratory samples." in words
    assert "to the end of the record are doubtful." in words


def test_assumed_ratings_are_called_assumed(result: ScanResult) -> None:
    by_name = {a.findings.point.name: a for a in gather(result)}
    assert ratings_words(by_name["AT-101"], READER).endswith("As stated in the register.")
    assert "Assumed: usual values for pH probes" in ratings_words(by_name["AT-102"], READER)


def test_a_point_knows_only_its_own(result: ScanResult) -> None:
    for about in gather(result):
        page = point_content(about, READER, "s")
        assert all(row.probe in ("", page.probe) for row in page.shifts)
        assert len(page.calibrations) == 2
    assert instant(0) == START


def test_a_figure_that_the_evidence_says_is_not_said_again(result: ScanResult) -> None:
    about = gather(result)[0]
    event = dataclasses.replace(
        about.findings.events[0], kind="drift", details={"before": 7.0, "samples": 12.0, "rate_per_day": 0.02}
    )
    findings = dataclasses.replace(about.findings, events=(event,))
    (row,), _ = event_rows(dataclasses.replace(about, findings=findings), READER)
    assert row.figures == (f"Rate 0.02 {READER.unit(findings.unit)} a day",)


def test_a_related_point_in_another_unit_says_where_it_stands(result: ScanResult) -> None:
    about = next(a for a in gather(result) if a.findings.point.name == "AT-101")
    (row,) = related_rows(about, READER)
    assert row.name == "AT-201"
    assert row.said == "as usual" or row.said.endswith("from the usual")
    assert about.neighbours[0].unit == about.findings.unit


@pytest.mark.parametrize(
    ("moved", "usual"), [(0.0, True), (42.0, False)], ids=["as ever", "twice its scatter"]
)
def test_a_week_is_held_against_weeks_and_not_against_single_hours(
    result: ScanResult, moved: float, usual: bool
) -> None:
    about = next(a for a in gather(result) if a.findings.point.name == "AT-101")
    other = next(f for f in result.points if f.point.measurand == "redox")
    end = about.findings.end - about.findings.end % NS_PER_HOUR
    hours = np.arange(end - 70 * NS_PER_DAY, end, NS_PER_HOUR)
    scatter = 21.0 * np.random.default_rng(5).standard_normal(hours.size)
    level = 185.0 + scatter + moved * (hours >= end - 7 * NS_PER_DAY)
    swung = dataclasses.replace(other, levels=Levels(time=hours, value=level, temperature=level * 0))
    (row,) = related_rows(dataclasses.replace(about, related=(swung,)), READER)
    assert (row.said == "as usual") is usual, row


def test_points_of_which_nothing_can_be_told_are_not_counted_as_wrong(result: ScanResult) -> None:
    entries = overview_of(result).entries
    untold = [entry for entry in entries if entry.verdict == "cannot tell"]
    trusted = [entry for entry in entries if entry.verdict == "trust"]
    assert len(untold) == 2
    one = _answer(tuple(untold[:1]))
    assert one == f"Whether the reading of {untold[0].name} may be trusted cannot be told from this record."
    assert _answer((*untold, *trusted)) == "No point is found wrong, but of 2 it cannot be told."


def test_a_doubt_that_is_too_small_to_tell_stands_in_its_table_alone(result: ScanResult) -> None:
    (verdict, doubt), *_ = [
        (v, d) for v in result.verdicts for d in result.doubts if d.point == v.point and d.open_end
    ]
    assert doubt in told_doubts(result)[verdict.point]
    small = dataclasses.replace(doubt, too_small="its band holds zero")
    less = dataclasses.replace(result, doubts=tuple(small if d == doubt else d for d in result.doubts))
    assert small not in told_doubts(less).get(verdict.point, [])
    assert findings_at(less, "check") == findings_at(result, "check") - 1
    table = doubts_table(less)
    assert table.height == len(result.doubts)
    assert table.filter(pl.col("too_small") != "")["point"].to_list() == [doubt.point]
    assert corrected_table(less).height < corrected_table(result).height


def test_without_a_band_nothing_is_called_none_where_the_answer_is_no_trust(result: ScanResult) -> None:
    about = dataclasses.replace(gather(result)[0], doubts=())
    said = {
        verdict: doubt_panel.blocks(
            dataclasses.replace(about, verdict=dataclasses.replace(about.verdict, verdict=verdict)), READER
        )[0].text
        for verdict in ("trust", "doubt", "cannot tell")
    }
    assert said["trust"].startswith("None")
    assert said["doubt"] == said["cannot tell"]
    assert "answer above" in said["doubt"]


def test_a_probe_outside_its_limits_is_not_just_verified(result: ScanResult) -> None:
    trusted = next(v for v in result.verdicts if v.verdict == "trust")
    logged = dataclasses.replace(result.calibrations[0], point=trusted.point)
    worn = dataclasses.replace(trusted, worn="slope 84.6 % is outside its limits")
    known = []
    for verdict in (trusted, worn):
        verdicts = tuple(verdict if v.point == trusted.point else v for v in result.verdicts)
        page = overview_of(dataclasses.replace(result, verdicts=verdicts, calibrations=(logged,)))
        known.append(next(e.known for e in page.entries if e.name == trusted.point))
    assert known == [
        "Verified by a calibration",
        "Verified by a calibration, which found the probe outside its limits",
    ]
    left = dataclasses.replace(logged, as_found={})
    assert left.left_only
    page = overview_of(dataclasses.replace(result, calibrations=(left,)))
    known = next(e.known for e in page.entries if e.name == trusted.point)
    assert known == "No calibration confirms this answer yet"


def test_a_step_lasts_as_long_as_its_evidence_says_it_took(result: ScanResult) -> None:
    about = gather(result)[0]
    step = Event(
        point="AT-101", kind="step", start=START, end=START, size=0.3, size_unit="pH", confidence=0.9,
        details={"transition_s": 2160.0},
    )  # fmt: skip
    bare = dataclasses.replace(step, start=START + 1, end=START + 1, details={})
    slow = dataclasses.replace(
        step, start=START + 2, end=START + 5040 * 10**9, details={"transition_s": 5040.0}
    )
    back = dataclasses.replace(step, start=START + 3, end=START + 3 + 7200 * 10**9)
    findings = dataclasses.replace(about.findings, events=(step, bare, slow, back))
    rows, _ = event_rows(dataclasses.replace(about, findings=findings), READER)
    assert {row.lasting for row in rows} == {"within 36 min", "at once", "within 1 h 24 min", "2 h"}


def test_the_headline_says_what_was_never_compared_with_a_calibration(result: ScanResult) -> None:
    calm = dataclasses.replace(
        overview_of(result).entries[0], in_trouble=False, verdict="trust", known_key="never"
    )
    held = dataclasses.replace(calm, known_key="verified")
    assert _answer((calm,)).endswith("as far as this record goes; it was never compared with a calibration.")
    assert _answer((calm, held)).endswith("goes; 1 of them was never compared with a calibration.")
    assert _answer((calm, calm)).endswith("goes; none was ever compared with a calibration.")
    assert "calibration" not in _answer((held, held))


def test_a_step_is_told_with_one_precision_and_no_digit_more_than_two(result: ScanResult) -> None:
    event = dataclasses.replace(
        result.points[0].events[0],
        kind="step",
        size=0.3562,
        size_low=0.3552,
        size_high=0.3571,
        size_unit="pH",
    )
    told = (size_words(event, READER), READER.event(event), moved_sentence(event, "pH", READER.tz))
    assert all("0.36 pH" in text and "0.356" not in text for text in told), told


def test_a_range_of_one_figure_is_told_as_that_figure(result: ScanResult) -> None:
    about = gather(result)[0]
    trace = dataclasses.replace(
        about.findings.traces["value"], value=about.findings.traces["value"].value * 0 + 7.0
    )
    findings = dataclasses.replace(about.findings, traces={"value": trace})
    words = figure_in_words(dataclasses.replace(about, findings=findings), READER)
    assert "pH at 7.00 pH" in words
    assert "between 7 pH" not in words
