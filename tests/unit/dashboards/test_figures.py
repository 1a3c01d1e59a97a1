"""Figures work in a notebook, share one time axis and keep every extreme."""

from __future__ import annotations

import dataclasses
import math
import re
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboards import heat_figure, overview_figure, point_figure, record_figure
from dashboards.content.about import gather
from dashboards.content.found import found_shifts, found_words
from dashboards.content.scale import usual_scale
from dashboards.figures.drawing import Box, beyond_words, curve, spark_ends, sparkline, with_gaps
from dashboards.figures.heat import heat_spec, hottest
from dashboards.figures.marks import MOST_SHADES
from dashboards.figures.moment import moment_drawing
from dashboards.figures.pack import pack_spec, unpack_array
from dashboards.figures.point import PointMarks, point_spec
from dashboards.figures.probe_life import days_of, life_spec, record_ends, unseen
from dashboards.figures.probe_sheet import life_picture
from dashboards.figures.ratings import rated_stretches
from dashboards.figures.sheet import round_step, sheet_picture
from dashboards.figures.spec import label
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.plant import Plant, Point
from excursions.records import STATES, Doubt, LabSample, StateLine
from excursions.report.corrected import corrected_level, hours_in
from excursions.report.lives import ProbeLife, probe_lives
from excursions.report.result import PointFindings, ScanResult
from tests.unit.dashboards.made_result import HOSTILE, STORIES, made_point, made_result, made_series

READER = Reader(tz=ZoneInfo("Europe/Vienna"))


@pytest.fixture(scope="module")
def result() -> ScanResult:
    return made_result()


def spec_of(result: ScanResult, number: int = 0, reader: Reader = READER) -> dict:
    findings = result.points[number]
    name = findings.point.name
    marks = PointMarks(
        calibrations=[c for c in result.calibrations if c.point == name],
        doubts=[d for d in result.doubts if d.point == name],
        samples=[s for s in result.samples if s.point == name],
    )
    return point_spec(findings, result.plant, marks, reader)


def test_every_point_becomes_a_valid_plotly_figure(result: ScanResult) -> None:
    for findings in result.points:
        figure = point_figure(
            findings,
            result.plant,
            calibrations=result.calibrations,
            doubts=result.doubts,
            samples=result.samples,
        )
        assert isinstance(figure, go.Figure)
        assert len(figure.data) >= 4


def test_a_point_alone_is_enough(result: ScanResult) -> None:
    assert len(point_figure(result.points[6]).data) >= 3


def test_everything_hangs_on_one_time_axis(result: ScanResult) -> None:
    spec = spec_of(result)
    assert {trace.get("xaxis", "x") for trace in spec["data"]} == {"x"}
    assert [key for key in spec["layout"] if key.startswith("xaxis")] == ["xaxis"]


@pytest.mark.parametrize("number", [0, 1, 5])
def test_extremes_inside_events_are_drawn_to_the_exact_value(result: ScanResult, number: int) -> None:
    story, findings = STORIES[number], result.points[number]
    time, value, temperature = made_series(story, 120.0, number, 5)
    packed = pack_spec(spec_of(result, number))
    for name, full in (("value", value), ("temperature", temperature)):
        trace = next(t for t in packed["data"] if t.get("meta") == name)
        x, y = unpack_array(trace["x"]), unpack_array(trace["y"])
        for event in findings.events:
            inside = full[(time >= event.start) & (time < event.end)]
            ends = READER.wall_ms(np.array([event.start, event.end], np.int64))
            drawn = y[(x >= ends[0]) & (x < ends[1])]
            np.testing.assert_array_equal(
                [np.nanmin(drawn), np.nanmax(drawn)], [np.nanmin(inside), np.nanmax(inside)]
            )


def test_the_states_stand_on_one_ribbon_below_everything_else(result: ScanResult) -> None:
    spec = spec_of(result)
    tracks = {t["meta"] for t in spec["data"] if str(t.get("meta")).startswith("state:") and not t["meta"].endswith(":start")}  # fmt: skip
    (ribbon,) = [s for s in spec["layout"]["shapes"] if s["type"] == "rect" and s["fillcolor"] == "@band"]
    assert (ribbon["y0"], ribbon["y1"]) == (-0.5, len(tracks) - 0.5)
    heights = {float(y) for t in spec["data"] if t.get("meta") in tracks for y in t["y"] if np.isfinite(y)}
    assert heights
    assert all(ribbon["y0"] < y < ribbon["y1"] for y in heights)


def test_gaps_break_the_line(result: ScanResult) -> None:
    trace = next(t for t in spec_of(result)["data"] if t.get("meta") == "value")
    assert np.isnan(trace["y"]).any()
    assert trace["connectgaps"] is False


def test_ratings_nobody_stated_are_called_assumed(result: ScanResult) -> None:
    notes = [note["text"] for note in spec_of(result, 1)["layout"]["annotations"]]
    assert any(text.startswith("rated 80, steam") and text.endswith("°C, assumed") for text in notes)


def test_no_words_of_a_rating_stand_among_the_curves(result: ScanResult) -> None:
    for spec in (spec_of(result), spec_of(result, 1)):
        (words,) = [note for note in spec["layout"]["annotations"] if note["text"].startswith("rated")]
        title = next(note for note in spec["layout"]["annotations"] if note["text"].startswith("Temperature"))
        assert words["yref"] == "paper"
        assert (words["y"], words["yanchor"]) == (title["y"], "bottom")
    findings = result.points[0]
    event = hottest(findings)
    assert event is not None
    close = heat_spec(findings, result.plant, event, READER)["layout"]
    assert not [note for note in close["annotations"] if "rated" in note["text"]]
    assert "rated 80, steam" in close["title"]["text"]


def test_names_of_lanes_stand_clear_of_bars_that_begin_with_the_record(result: ScanResult) -> None:
    layout = spec_of(result)["layout"]
    lanes = [one for name, one in layout.items() if name.startswith("yaxis") and one.get("ticktext")]
    assert [one["ticklabelstandoff"] >= 5 for one in lanes] == [True]


def test_the_corrected_level_is_the_reading_less_the_error(result: ScanResult) -> None:
    spec, findings = spec_of(result), result.points[0]
    corrected = next(t for t in spec["data"] if t.get("meta") == "corrected")
    doubt = next(d for d in result.doubts if d.point == findings.point.name)
    inside = (findings.levels.time >= doubt.start) & np.isfinite(findings.levels.value)
    assert len(corrected["y"]) > 500
    assert np.isin(np.round(corrected["y"] + 0.24, 6), np.round(findings.levels.value[inside], 6)).all()


def test_screen_and_paper_correct_by_the_same_level_and_not_where_no_error_is_known(
    result: ScanResult,
) -> None:
    findings = result.points[0]
    doubt = next(d for d in result.doubts if d.point == findings.point.name)
    level = corrected_level(findings, doubt)
    drawn = next(t for t in spec_of(result)["data"] if t.get("meta") == "corrected")
    assert np.array_equal(np.round(level.value, 6), drawn["y"])
    assert (level.band > 0).all()
    assert (level.time >= doubt.start).all()
    assert (level.time + NS_PER_HOUR <= doubt.end).all()
    unknown = dataclasses.replace(doubt, knots=(), band=())
    assert corrected_level(findings, unknown).time.size == 0


def test_a_shift_is_drawn_at_the_calibration_that_found_it_as_long_as_it_was_in_the_reading(
    result: ScanResult,
) -> None:
    findings = result.points[0]
    template = next(s for s in result.shifts if s.point == findings.point.name)
    when = findings.end - 3 * NS_PER_DAY
    found, small, unknown = (
        dataclasses.replace(template, parameter=parameter, end=when, significant=significant, reading_error=error)
        for parameter, significant, error in (("slope", True, 0.3), ("offset", False, 9.0), ("zero_point", True, math.nan))
    )  # fmt: skip
    (bar,) = found_shifts(findings, (found, small, unknown))
    assert bar.time == when
    assert bar.reading - bar.truth == pytest.approx(
        0.3
    )  # what is no shift, and what has no known effect, adds nothing
    levels = findings.levels
    last = levels.value[(levels.time + NS_PER_HOUR <= when) & np.isfinite(levels.value)][-1]
    assert bar.reading == last
    spec = point_spec(findings, result.plant, PointMarks(shifts=(found,)), READER)
    drawn = next(t for t in spec["data"] if t.get("meta") == "shift")
    assert drawn["y"].tolist() == [bar.reading, bar.truth]
    assert 'class="shift"' in sheet_picture(findings, (), READER, words="", found=(bar,))
    noted = record_figure(dataclasses.replace(result, shifts=(found,)), findings.point.name)
    assert "shift" in {trace.meta for trace in noted.data}
    about = next(a for a in gather(result) if a.findings.point.name == findings.point.name)
    words = found_words(bar, about, READER)
    assert "Shift found here: slope" in words
    assert "0.30 pH too high" in words or "0.3 pH too high" in words
    late = dataclasses.replace(
        findings, levels=dataclasses.replace(levels, value=np.full_like(levels.value, np.nan))
    )
    assert found_shifts(late, (found,)) == ()  # without a level nobody knows where the reading stood


def test_neighbours_in_the_same_unit_stand_beside_the_reading(result: ScanResult) -> None:
    figure = point_figure(result.points[0], result.plant, neighbours=result.points[1:3])
    assert [t.name for t in figure.data if t.meta == "beside"] == ["AT-102"]


def test_related_points_in_another_unit_have_a_strip_of_their_own_on_the_same_time_axis(
    result: ScanResult,
) -> None:
    figure = point_figure(result.points[0], result.plant, neighbours=result.points[1:3])
    (strip,) = [t for t in figure.data if t.meta == "related"]
    assert strip.name == "AT-201"
    assert strip.xaxis in (None, "x")
    alone = {t.yaxis for t in figure.data if t.meta != "related"}
    assert strip.yaxis not in alone
    held = result.points[2].levels.value
    seen = np.asarray(strip.y, dtype=float)
    assert np.nanmax(seen) == pytest.approx(np.nanmax(held), abs=1e-6)


def test_fahrenheit_moves_curve_and_ratings_alike(result: ScanResult) -> None:
    warm = dataclasses.replace(READER, temperature="degF")
    celsius, fahrenheit = spec_of(result), spec_of(result, reader=warm)
    one, two = (
        next(t for t in s["data"] if t.get("meta") == "temperature")["y"] for s in (celsius, fahrenheit)
    )
    np.testing.assert_allclose(two, one * 1.8 + 32, rtol=0, atol=0.0051)  # two decimals
    assert all(float(f"{t:.2f}") == t for t in two[:50])
    assert any("rated 176, steam 266 °F" in note["text"] for note in fahrenheit["layout"]["annotations"])


def test_names_from_files_are_never_markup_in_a_figure(result: ScanResult) -> None:
    for figure in (overview_figure(result), point_figure(result.points[8], result.plant)):
        assert "<script" not in figure.to_json()
    assert label("<b>&") == "&lt;b&gt;&amp;"
    assert label(HOSTILE * 9).startswith("&lt;script&gt;")


def test_a_point_without_any_signal_still_gives_a_figure() -> None:
    empty = dataclasses.replace(made_point(STORIES[6]), traces={}, events=())
    assert isinstance(point_figure(empty, Plant(points=(Point(name="AT-401"),))), go.Figure)


def test_the_overview_draws_the_worst_points_first(result: ScanResult) -> None:
    figure = overview_figure(result, most_points=3)
    assert list(figure.layout.yaxis.ticktext) == [v.point for v in result.verdicts[:3]][::-1]


def test_heat_and_the_step_after_it_stand_beside_each_other_on_the_time_line(result: ScanResult) -> None:
    findings = result.points[0]
    heat = next(e for e in findings.events if e.kind == "over_temperature")
    step = dataclasses.replace(heat, kind="step", start=heat.start + 60_000_000_000, size_unit="pH")
    both = dataclasses.replace(findings, events=(heat, step))
    figure = overview_figure(dataclasses.replace(result, points=(both, *result.points[1:])))
    row = list(figure.layout.yaxis.ticktext).index(findings.point.name)
    marks = {t.name: t for t in figure.data if t.mode == "markers"}
    at = {name: next(y for y in marks[name].y if round(y) == row) for name in ("heat", "moved")}
    px = (figure.layout.height - figure.layout.margin.t - figure.layout.margin.b) / (len(result.points) + 0.2)
    tall = 1.4 * marks["heat"].marker.size  # of this symbol
    assert (at["heat"] - at["moved"]) * px >= tall * 0.8
    assert figure.layout.showlegend  # which says what the inks mean
    assert all(t.showlegend is not False for t in marks.values())
    assert all(abs(y - round(y)) < 0.45 for t in marks.values() for y in t.y)


def test_heat_shows_the_hottest_exposure_with_what_sampling_could_hide(result: ScanResult) -> None:
    figure = heat_figure(result.points[0], result.plant)
    assert "the true peak lies in this band" in [note.text for note in figure.layout.annotations]
    assert (143.2, 147.3) in [(round(shape.y0, 3), round(shape.y1, 3)) for shape in figure.layout.shapes]
    assert np.nanmax(figure.data[0].y) == pytest.approx(143.2, abs=0.6)


def test_heat_without_an_exposure_is_refused(result: ScanResult) -> None:
    cold = dataclasses.replace(result.points[0], events=())
    with pytest.raises(ValueError, match="no heat exposure"):
        heat_figure(cold)


def test_a_curve_breaks_at_missing_values() -> None:
    box = Box(left=0, top=0, width=10, height=10, start=0, end=10, low=0, high=1)
    path = curve(np.arange(5) * 2, np.array([0, 1, np.nan, 0, 1.0]), box, budget=50)
    assert path == "M0 10L2 0M6 10L8 0"


def test_gaps_in_time_become_breaks() -> None:
    time, value = with_gaps(np.array([0, 1, 9, 10]), np.array([1.0, 2, 3, 4]), 5)
    assert time.tolist() == [0, 1, 8, 9, 10]
    assert np.isnan(value[2])


@pytest.mark.parametrize(("rough", "step"), [(0.013, 0.02), (0.3, 0.5), (1.0, 1.0), (7.0, 10.0), (260, 500)])
def test_scales_step_in_round_numbers(rough: float, step: float) -> None:
    assert round_step(rough) == pytest.approx(step)


def test_a_record_with_nothing_for_lanes_has_its_dates_below_its_lowest_panel() -> None:
    findings = made_point(STORIES[6], seed=6)
    bare = dataclasses.replace(
        findings, events=(), traces={"value": findings.traces["value"]},
        states=StateLine(
            start=findings.states.start[:1], end=findings.states.end[-1:], code=np.zeros(1, np.uint8),
            confidence=np.ones(1), evidence=("",),
        ),
    )  # fmt: skip
    layout = point_spec(bare, Plant(points=(bare.point,)), PointMarks(), READER)["layout"]
    assert layout["xaxis"]["anchor"] == "y"
    assert layout["yaxis"]["domain"][0] == 0.0
    assert "yaxis2" not in layout


def test_near_a_moment_only_lanes_with_something_in_them_are_drawn(result: ScanResult) -> None:
    findings = result.points[0]
    whole = point_spec(findings, result.plant, PointMarks(), READER)
    event = next(e for e in findings.events if e.kind == "over_temperature")
    near = point_spec(findings, result.plant, PointMarks(), READER, near=(event.start, event.start + 1))
    lanes = [{str(t["meta"]) for t in spec["data"] if ":" in str(t["meta"])} for spec in (whole, near)]
    assert "event:over_temperature" in lanes[1]
    assert lanes[1] < lanes[0]


def test_an_hour_that_the_calibration_cuts_is_not_corrected() -> None:
    doubt = Doubt(
        point="P", probe="S", start=NS_PER_HOUR, end=3 * NS_PER_HOUR + NS_PER_HOUR // 2, basis="drift",
        open_end=False, knots=(), band=(), hours_out_of_tolerance=0.0,
    )  # fmt: skip
    assert hours_in(doubt, np.arange(5) * NS_PER_HOUR).tolist() == [False, True, True, False, False]


def test_paper_shows_the_corrected_level_and_the_laboratory(result: ScanResult) -> None:
    findings = result.points[0]
    doubts = [d for d in result.doubts if d.point == findings.point.name]
    sample = LabSample(time=findings.end - NS_PER_DAY, point=findings.point.name, value=7.0)
    plain = sheet_picture(findings, (), READER, words="")
    drawn = sheet_picture(findings, doubts, READER, words="", samples=[sample])
    assert 'class="corrected"' in drawn
    assert 'class="ring"' in drawn
    assert 'class="corrected"' not in plain
    assert 'class="ring"' not in plain


def test_a_peak_is_not_hidden_by_the_edge_of_the_event_that_tells_it(result: ScanResult) -> None:
    """On a long record both are one upright line at the same place."""
    spec = spec_of(result)
    number = next(n for n, t in enumerate(spec["data"]) if t.get("meta") == "temperature")
    low, high = spec["layout"]["yaxis" + spec["data"][number]["yaxis"][1:]]["domain"]
    edges = [
        s for s in spec["layout"]["shapes"] if s.get("yref") == "paper" and s["line"]["color"] == "@heat"
    ]
    assert len(edges) >= 2
    assert all(edge["y1"] <= low or edge["y0"] >= high for edge in edges)
    assert all(edge["layer"] == "below" for edge in edges)
    drawn = str(sheet_picture(result.points[0], (), READER, words=""))
    began = re.findall(r'class="began" d="M[\d.]+ 18V(\d+)M[\d.]+ (\d+)v5"', drawn)
    assert began
    assert drawn.rindex('class="began"') < drawn.index('class="reading"')  # behind the curves
    title = re.search(r'y="(\d+)">Temperature', drawn)
    assert title is not None
    assert int(began[0][0]) < int(title[1]) < int(began[0][1])


def test_paper_draws_the_ratings_that_lie_on_the_scale_of_the_temperature(result: ScanResult) -> None:
    findings = result.points[0]
    drawn = sheet_picture(findings, (), READER, words="", plant=result.plant)
    ratings = result.plant.ratings(findings.point, findings.start)
    assert f"rated {ratings.continuous_degc:.0f}, steam {ratings.sterilisation_degc:.0f} °C" in drawn
    assert drawn.count('class="heat faint"') == 2 * len(rated_stretches(findings, result.plant))
    heat = findings.traces["temperature"]
    cold = dataclasses.replace(heat, value=np.clip(heat.value, None, 30.0))
    cool = dataclasses.replace(findings, traces=findings.traces | {"temperature": cold})
    assert "rated" not in sheet_picture(cool, (), READER, words="", plant=result.plant)


def cut_off(result: ScanResult) -> PointFindings:
    """A point whose reading stands at 100 of its unit for a while that is over."""
    findings = next(f for f in result.points if f.point.measurand == "turbidity")
    trace = findings.traces["value"]
    value = trace.value.copy()
    value[100:110] = 100.0
    event = dataclasses.replace(
        findings.events[0],
        kind="pinned",
        start=int(trace.time[100]),
        end=int(trace.time[109]),
        open_end=False,
    )
    level = findings.levels.value.copy()
    level[np.searchsorted(findings.levels.time, trace.time[105])] = 100.0
    return dataclasses.replace(
        findings,
        traces=findings.traces | {"value": dataclasses.replace(trace, value=value)},
        events=(*findings.events, event),
        levels=dataclasses.replace(findings.levels, value=level),
    )


def test_of_very_many_events_the_worst_are_marked_on_paper_too(result: ScanResult) -> None:
    findings = result.points[0]
    day, template = NS_PER_DAY, next(e for e in findings.events if e.origin == "probe")
    plain = dataclasses.replace(template, severity="check", confidence=0.6)
    many = [
        dataclasses.replace(plain, start=findings.start + n * day // 200) for n in range(MOST_SHADES + 30)
    ]
    worst = dataclasses.replace(template, severity="act", start=findings.end - day // 2)
    drawing = sheet_picture(dataclasses.replace(findings, events=(*many, worst)), (), READER, words="")
    drawn = [float(x) for x in re.findall(r'class="began" d="M([\d.]+) ', drawing)]
    alone = sheet_picture(dataclasses.replace(findings, events=(worst,)), (), READER, words="")
    assert len(drawn) == MOST_SHADES
    assert drawn[-1] == float(re.findall(r'class="began" d="M([\d.]+) ', alone)[0])


def test_paper_says_where_the_reading_is_cut_off(result: ScanResult) -> None:
    assert "cut off at the edge, goes up to 100 NTU" in sheet_picture(
        cut_off(result), (), READER, words=""
    ).replace("\u00a0", " ")
    for findings in result.points:
        assert "cut off" not in sheet_picture(findings, (), READER, words="")


def test_the_days_around_the_start_say_where_the_reading_is_cut_off(result: ScanResult) -> None:
    findings = cut_off(result)
    began = moment_drawing(findings, (), findings.events[-1].start, READER)
    assert began is not None
    assert "cut off at the edge, goes up to 100 NTU</text>" in began.picture.replace("\u00a0", " ")
    quiet = moment_drawing(result.points[1], (), result.points[1].events[-1].start, READER)
    assert quiet is not None
    assert "cut off" not in quiet.picture


def test_the_small_picture_leaves_out_what_was_read_in_steam_and_cleaning(result: ScanResult) -> None:
    findings = result.points[0]
    at = findings.events[-1].start
    trace = findings.traces["value"]
    washed = (trace.time >= at + NS_PER_HOUR) & (trace.time < at + 2 * NS_PER_HOUR)
    assert washed.any()
    far = dataclasses.replace(trace, value=np.where(washed, 13.5, trace.value))
    span = np.array([findings.start, at + NS_PER_HOUR, at + 2 * NS_PER_HOUR], np.int64)
    line = StateLine(
        start=span, end=np.append(span[1:], findings.end), code=np.array([0, STATES.index("cleaning"), 0], np.uint8),
        confidence=np.ones(3), evidence=("", "", ""),
    )  # fmt: skip
    alone = dataclasses.replace(
        findings, levels=dataclasses.replace(findings.levels, value=findings.levels.value * np.nan)
    )
    dirty = dataclasses.replace(alone, traces=findings.traces | {"value": far})
    shown = moment_drawing(dataclasses.replace(dirty, states=line), (), at, READER)
    clean = dataclasses.replace(trace, value=np.where(washed, np.nan, trace.value))
    calm = dataclasses.replace(line, code=np.zeros(3, np.uint8))
    bare = dataclasses.replace(alone, traces=findings.traces | {"value": clean}, states=calm)
    same = moment_drawing(bare, (), at, READER)
    assert shown is not None
    assert same is not None
    assert shown.picture == same.picture
    assert shown.left_out
    assert not same.left_out


def test_the_words_under_a_small_curve_name_its_scale_and_what_lies_beyond(result: ScanResult) -> None:
    findings = cut_off(result)
    window = (findings.start, findings.end)
    ends = spark_ends(findings, (), window, READER)
    assert ends is not None
    scale = usual_scale(findings, ())
    assert scale is not None
    shown = findings.levels.value[findings.levels.value <= scale[1]]
    top = float(shown.max())
    assert ends.high == READER.amount(top, "NTU", findings.point.fine_at(top))
    assert ends.beyond.replace("\u00a0", " ") == "up to 100 NTU"
    drawn = sparkline(findings, (), window=window, since=None, budget=100, reader=READER)
    assert f"{ends.high}, beyond the scale {ends.beyond}" in drawn
    whole = spark_ends(result.points[1], (), window, READER)
    assert whole is not None
    assert whole.beyond == ""


def test_what_lies_beyond_a_scale_is_told_on_both_sides() -> None:
    value = np.array([-25.0, 3.0, np.nan, 490.0])
    assert beyond_words(value, (0.0, 400.0), "µS/cm", READER).replace("\u00a0", " ") == (
        "down to −25 µS/cm and up to 490 µS/cm"
    )
    assert beyond_words(value, (-25.0, 490.0), "µS/cm", READER) == ""


def life_of(result: ScanResult, name: str) -> tuple[ProbeLife, dict[str, PointFindings]]:
    found = {f.point.name: f for f in result.points}
    return next(life for life in probe_lives(result) if life.name == name), found


def titles_of(life: ProbeLife, found: dict[str, PointFindings]) -> list[str]:
    layout = life_spec(life, found, READER, record_ends(found))["layout"]
    return [a["text"] for a in layout["annotations"] if a.get("xref") == "paper"]


def test_the_life_of_a_probe_shows_a_dose_only_where_there_is_one(result: ScanResult) -> None:
    life, found = life_of(result, "S-AT-101-2")
    assert any(t.startswith("Ageing dose") for t in titles_of(life, found))
    assert unseen(life, days_of(life, found)) == ""
    cool = {
        name: dataclasses.replace(f, heat=dataclasses.replace(f.heat, ageing_h=np.zeros_like(f.heat.ageing_h)))
        for name, f in found.items()
    }  # fmt: skip
    titles = titles_of(life, cool)
    assert not any(t.startswith("Ageing dose") for t in titles)
    assert any(t.startswith("Highest of each day") for t in titles)
    idle = next(other for other in probe_lives(dataclasses.replace(result, points=tuple(cool.values()))) if other.name == life.name)  # fmt: skip
    assert unseen(idle, days_of(idle, cool)).startswith("No ageing dose is drawn")


def test_the_life_of_a_probe_without_a_temperature_says_so_and_draws_no_empty_panel(
    result: ScanResult,
) -> None:
    life, found = life_of(result, "S-AT-101-2")
    cold = {
        name: dataclasses.replace(f, heat=dataclasses.replace(f.heat, peak_degc=np.full_like(f.heat.peak_degc, np.nan)))
        for name, f in found.items()
    }  # fmt: skip
    assert not any(t.startswith("Highest") for t in titles_of(life, cold))
    assert unseen(life, days_of(life, cold)).startswith("No temperature of it was recorded")


def test_paper_shows_the_same_panels_of_a_life_as_the_figure(result: ScanResult) -> None:
    """A print of a probe told its dose, slope and zero in tables only."""
    compared = 0
    for life in probe_lives(result):
        found = {f.point.name: f for f in result.points}
        drawn = life_picture(life, found, READER, record_ends(found), "")
        for title in titles_of(life, found)[1:]:
            words = title.partition("; ")[0].partition(", ")[0].replace("&nbsp;", " ")
            assert words in str(drawn).replace("\u00a0", " ")
            compared += 1
        assert str(drawn).count('class="mark"') == len(life.tracks[:3])
        assert "nan" not in str(drawn)
    assert compared > 3


def test_bars_of_uncertainty_stay_on_their_panel(result: ScanResult) -> None:
    seen = 0
    for life in probe_lives(result):
        found = {f.point.name: f for f in result.points}
        spec = life_spec(life, found, READER, record_ends(found))
        for trace in spec["data"]:
            if trace["name"] in ("as found", "as left"):
                low, high = spec["layout"]["yaxis" + trace["yaxis"][1:]]["range"]
                y, bar = np.array(trace["y"]), np.nan_to_num(trace["error_y"]["array"])
                assert low < (y - bar).min()
                assert (y + bar).max() < high
                seen += 1
    assert seen


def test_paper_draws_the_band_of_the_corrected_level(result: ScanResult) -> None:
    findings = result.points[0]
    doubt = next(d for d in result.doubts if d.point == findings.point.name)
    assert sheet_picture(findings, [doubt], READER, words="").count('class="band"') == 1
    assert 'class="band"' not in sheet_picture(findings, (), READER, words="")


def test_close_to_a_moment_the_whole_band_lies_on_the_scale(result: ScanResult) -> None:
    findings = result.points[0]
    doubt = next(d for d in result.doubts if d.point == findings.point.name)
    wide = dataclasses.replace(doubt, band=tuple(1.5 for _ in doubt.band))
    window = (wide.start + NS_PER_DAY, wide.start + NS_PER_DAY + 12 * NS_PER_HOUR)
    drawn = sheet_picture(findings, [wide], READER, words="", window=window)
    band = re.search(r'class="band" d="M([^"]+)Z"', drawn)
    assert band is not None
    heights = {float(pair.split()[1]) for pair in band[1].split("L")}
    assert len(heights) > 2  # both edges move with the level: neither lies along the edge of the panel
    assert min(heights) > 18
    assert max(heights) < 18 + 190
