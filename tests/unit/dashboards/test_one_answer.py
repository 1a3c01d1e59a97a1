"""One thing is told in one figure and one word, wherever it stands: badge, table, drawing and terminal."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboards.content.about import About, gather
from dashboards.content.probe import probe_content
from dashboards.content.rows import doubt_rows, event_rows
from dashboards.figures.moment import moment_drawing
from dashboards.figures.point import PointMarks, point_spec
from dashboards.probes import write_probes
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import HeatTally
from excursions.records import LABORATORY, SHOWED_IT, Doubt, Witness
from excursions.report.lives import ProbeLife, probe_lives
from excursions.report.result import Levels, ScanResult, Trace
from excursions.report.wording import worst_error
from tests.unit.dashboards.made_result import made_result

READER = Reader(tz=ZoneInfo("Europe/Vienna"))


@pytest.fixture(scope="module")
def result() -> ScanResult:
    return made_result(days=110.0, step_min=20, budget=800)


def about_of(result: ScanResult, point: str) -> About:
    return next(about for about in gather(result) if about.findings.point.name == point)


def test_the_table_of_doubts_holds_the_largest_error_that_the_sentence_tells(result: ScanResult) -> None:
    doubt = Doubt(
        point="AT-101", probe="", start=0, end=3 * NS_PER_DAY, open_end=False, basis="drift", hours_out_of_tolerance=50.0,
        knots=((0, 0.3), (NS_PER_DAY, 3.2), (3 * NS_PER_DAY, 0.85)), band=(0.4, 1.1, 0.2),
    )  # fmt: skip
    (row,) = doubt_rows(dataclasses.replace(about_of(result, "AT-101"), doubts=(doubt,)), READER)
    assert "at most +3 pH ± 1" in row.error.replace("\u00a0", " ")
    assert worst_error(doubt, "pH") == "up to 3 pH high (± 1 pH)"


def test_no_event_asks_to_be_acted_on_where_the_reading_is_trusted(result: ScanResult) -> None:
    for about in gather(result):
        trusted = dataclasses.replace(about.verdict, verdict="trust")
        rows, _ = event_rows(dataclasses.replace(about, verdict=trusted), READER)
        assert "act on it" not in {row.severity for row in rows}
    doubted = about_of(result, "AT-101")
    assert "act on it" in {row.severity for row in event_rows(doubted, READER)[0]}
    over = tuple(
        dataclasses.replace(e, kind="pinned", severity="act", origin="probe", open_end=False)
        for e in doubted.findings.events[-1:]
    )
    past = dataclasses.replace(
        doubted, findings=dataclasses.replace(doubted.findings, events=over), outcomes={}
    )
    assert [row.severity for row in event_rows(past, READER)[0]] == ["over"]


def test_what_samples_saw_is_not_called_unfounded_by_a_calibration_after_it(result: ScanResult) -> None:
    about = about_of(result, "AT-101")
    seen = Witness(source=LABORATORY, said=SHOWED_IT, words="samples show it")
    for witnesses, words in (((), "not borne out"), ((seen,), "shown by samples")):
        event = dataclasses.replace(about.findings.events[-1], witnesses=witnesses)
        findings = dataclasses.replace(about.findings, events=(event,))
        state = {event.id: ("not borne out", "The calibration found no shift.")}
        ((row,), _) = event_rows(dataclasses.replace(about, findings=findings, outcomes=state), READER)
        assert row.after.startswith(words)


def life_at(result: ScanResult, point: str) -> ProbeLife:
    return next(life for life in probe_lives(result) if life.points == (point,) and life.stays[-1].open_end)


def badge(life: ProbeLife, result: ScanResult, verdict: str) -> str:
    point = life.stays[-1].point
    verdicts = {v.point: dataclasses.replace(v, verdict=verdict) for v in result.verdicts if v.point == point}
    return probe_content(life, READER, {}, verdicts).verdict


def test_a_badge_of_a_probe_says_what_stands_and_of_heat_only_what_was_recorded(result: ScanResult) -> None:
    base = life_at(result, "AT-102")
    calm = dataclasses.replace(base, exposures=())
    assert badge(calm, result, "do not use") == "do not use"
    assert badge(calm, result, "trust") == "heat within ratings"
    half = tuple(dataclasses.replace(s, hours_with_temperature=s.hours / 2) for s in calm.stays)
    assert badge(dataclasses.replace(calm, stays=half), result, "trust") == "heat known in part"
    none = tuple(
        dataclasses.replace(s, hours_with_temperature=0.0, maximum_degc=float("nan"), maximum_time=None)
        for s in calm.stays
    )
    assert badge(dataclasses.replace(calm, stays=none), result, "trust") == "heat not known"


def test_a_change_to_summer_time_adds_no_hour_to_a_small_picture(result: ScanResult) -> None:
    changed = 1_774_746_000 * 10**9  # 29 March 2026, 01:00 UTC: the clocks go on
    hours = np.arange(changed - 20 * NS_PER_DAY, changed + 20 * NS_PER_DAY, NS_PER_HOUR)
    value = np.linspace(7.0, 8.0, hours.size)
    findings = dataclasses.replace(
        result.points[0], start=int(hours[0]), end=int(hours[-1]), events=(),
        traces={"value": Trace(name="value", unit="pH", time=hours, value=value, samples=hours.size)},
        levels=Levels(time=hours, value=value, temperature=value), heat=HeatTally(),
    )  # fmt: skip
    began = moment_drawing(findings, (), changed + NS_PER_HOUR, READER)
    assert began is not None
    assert {end.split(", ")[1] for end in began.span} == {"04:00"}
    assert READER.away(READER.away(changed, -NS_PER_DAY), NS_PER_DAY) == changed


def test_an_empty_list_of_probes_says_truly_why(result: ScanResult, tmp_path: Path) -> None:
    point = result.points[0]
    moment = dataclasses.replace(point, end=point.start, samples=1, events=(), heat=HeatTally())
    for points, words in (((moment,), "a life needs a stretch of time"), ((), "no point has a record")):
        plant = dataclasses.replace(result.plant, probes=(), installations=())
        few = dataclasses.replace(
            result,
            plant=plant,
            points=points,
            calibrations=(),
            shifts=(),
            links=(),
            doubts=(),
            due=(),
            verdicts=(),
        )
        write_probes(few, tmp_path, READER, {})
        assert words in (tmp_path / "probes" / "index.html").read_text(encoding="utf-8")


def test_a_noise_of_which_nothing_is_known_has_no_panel(result: ScanResult) -> None:
    about = about_of(result, "AT-101")
    noise = about.findings.traces["noise"]
    few = dataclasses.replace(noise, value=np.full(noise.value.shape, np.nan))
    traces = {**about.findings.traces, "noise": few}
    spec = point_spec(dataclasses.replace(about.findings, traces=traces), about.plant, PointMarks(), READER)
    assert "noise" not in {trace.get("meta") for trace in spec["data"]}
    whole = point_spec(about.findings, about.plant, PointMarks(), READER)
    assert "noise" in {trace.get("meta") for trace in whole["data"]}
