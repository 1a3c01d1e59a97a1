"""A point's page in use: one time axis, words under the pointer, landing on events, data, pictures, paper."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboards import write_site
from dashboards.slug import slug
from tests.browser.conftest import said
from tests.unit.dashboards.made_result import HOSTILE, STORIES, made_point, made_result

RANGE = "document.getElementById('plot')._fullLayout.xaxis.range.map(t => Date.parse(t.replace(' ', 'T') + (t.length > 10 ? 'Z' : 'T00:00Z')))"
HOUR = 3_600_000


@pytest.fixture
def page(open_page: Any, points: dict[str, Path]) -> Any:
    return open_page(points["AT-101"]).page


@pytest.fixture(scope="module")
def cleaned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of a point that a short cleaning takes far beyond its usual readings every few days."""
    result = made_result(STORIES[6:7])
    findings = result.points[0]
    trace = findings.traces["value"]
    value = np.where(np.arange(trace.value.size) % 120 == 0, 5_000.0, trace.value / 100)
    spiked = dataclasses.replace(
        findings,
        traces={"value": dataclasses.replace(trace, value=value)},
        levels=dataclasses.replace(findings.levels, value=findings.levels.value / 100),
    )
    site = write_site(
        dataclasses.replace(result, points=(spiked,), samples=()), tmp_path_factory.mktemp("cleaned")
    ).parent
    return next((site / "points").glob("*.html"))


def over_temperature() -> Any:
    return next(e for e in made_point(STORIES[0], seed=0).events if e.kind == "over_temperature")


def wall(instant: int) -> float:
    """Wall clock of Vienna in summer, in milliseconds."""
    return instant / 1e6 + 2 * HOUR


def hover(page: Any, part: float, height: float = 0.2) -> str:
    page.locator("#plot").scroll_into_view_if_needed()
    box = page.locator("#plot .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] * part, box["y"] + box["height"] * height)
    page.wait_for_function("document.querySelector('.note b')")
    page.wait_for_timeout(60)
    return said(page.locator(".note"))


def test_a_drag_zooms_every_panel_at_once(page: Any) -> None:
    page.locator("#plot").scroll_into_view_if_needed()
    before = page.evaluate(RANGE)
    box = page.locator("#plot .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + 60, steps=5)
    page.mouse.up()
    page.wait_for_timeout(300)
    after = page.evaluate(RANGE)
    assert after[1] - after[0] == pytest.approx((before[1] - before[0]) * 0.2, rel=0.05)
    axes = page.evaluate(
        "Object.keys(document.getElementById('plot')._fullLayout).filter(k => /^xaxis/.test(k))"
    )
    assert axes == ["xaxis"]
    assert "Shown:" in page.locator(".shown").inner_text()
    assert page.locator(".plotly-notifier .notifier-note").count() == 0  # the page says itself how to go back


def test_the_line_under_the_pointer_is_explained_in_words(page: Any) -> None:
    words = hover(page, 0.9)
    assert "pH" in words
    assert "(drawn sample of 00:55)" in words  # the nearest that is drawn, and not that of the moment itself
    assert "temperature" in words
    assert "°C" in words
    assert "measuring (nothing speaks against it)" in words
    assert (
        "Doubtful here: reads about 0.24 pH too high (± 0.06 pH); this rests on: the over-temperature found."
        in words
    )


def test_a_reading_that_follows_nothing_is_called_beyond_correction(
    open_page: Any, points: dict[str, Path]
) -> None:
    words = hover(open_page(points["AT-102"]).page, 0.99)
    assert "Stuck reading" in words
    assert "Beyond correction here: the reading says nothing of the process." in words
    assert "Doubtful here" not in words


def test_a_deep_link_lands_on_the_event(open_page: Any, points: dict[str, Path]) -> None:
    event = over_temperature()
    page = open_page(points["AT-101"], anchor=f"ev-{event.id}").page
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked')")
    start, end = page.evaluate(RANGE)
    assert start < wall(event.start) < wall(event.end) < end
    assert end - start < 24 * HOUR
    assert page.locator(f"#ev-{event.id}").get_attribute("aria-current") == "true"
    assert "Over-temperature to 143 °C" in page.locator(".note").inner_text()
    page.wait_for_function(
        "document.getElementById('plot').getBoundingClientRect().top < innerHeight / 2 && document.getElementById('plot').getBoundingClientRect().bottom > 0"
    )


def test_the_words_of_a_deep_link_do_not_lie_over_the_record(open_page: Any, points: dict[str, Path]) -> None:
    page = open_page(points["AT-101"], anchor=f"ev-{over_temperature().id}").page
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked')")
    page.wait_for_timeout(300)
    plot, words = page.locator("#plot").bounding_box(), page.locator(".note").bounding_box()
    assert plot["y"] >= 0
    assert plot["y"] + plot["height"] <= words["y"] + 1
    assert words["y"] + words["height"] <= 900 + 4


def test_a_row_of_the_table_zooms_the_record(page: Any) -> None:
    event = over_temperature()
    page.locator(f"#ev-{event.id} td").first.click()
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked')")
    assert page.evaluate(RANGE)[1] - page.evaluate(RANGE)[0] < 24 * HOUR


def test_routine_events_wait_behind_a_button_and_a_link_brings_them_out(
    open_page: Any, points: dict[str, Path]
) -> None:
    routine = next(e for e in made_point(STORIES[0], seed=0).events if e.kind == "sterilisation")
    page = open_page(points["AT-101"]).page
    assert page.locator("table.events tbody tr:visible").count() == 1
    page.evaluate(f"location.hash = 'ev-{routine.id}'")
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Sterilisation')")
    assert page.locator(f"#ev-{routine.id}").is_visible()


def test_events_sort_and_filter(page: Any) -> None:
    page.click("[data-which=all]")
    starts = "[...document.querySelectorAll('table.events tbody tr')].map(r => Number(r.dataset.start))"
    assert page.evaluate(starts) == sorted(page.evaluate(starts), reverse=True)
    page.click("table.events th button:text('Began')")
    assert page.evaluate(starts) == sorted(page.evaluate(starts))
    assert page.locator("table.events thead th:has-text('Began')").get_attribute("aria-sort") == "ascending"
    page.click("table.events th button:text('Size')")
    assert page.locator("table.events tbody tr").first.inner_text().count("over-temperature") == 1
    page.fill("#events [name=q]", "sterilisation")
    assert page.locator("table.events tbody tr:visible").count() == 9


def test_range_buttons_show_the_stretch_they_name(page: Any) -> None:
    for days in (30, 7, 1):
        page.click(f"[data-days='{days}']")
        page.wait_for_selector(f"[data-days='{days}'][aria-pressed=true]")
        start, end = page.evaluate(RANGE)
        assert end - start == pytest.approx(days * 24 * HOUR, rel=0.001)
    page.click("[data-move='-0.6']")
    page.wait_for_function(f"({RANGE})[0] < {start}")
    page.click("[data-days=all]")
    page.wait_for_function("document.querySelector('.shown').textContent.includes('the whole record')")


def test_the_keyboard_moves_the_reading_line_and_zooms(page: Any) -> None:
    page.focus("#plot")
    page.keyboard.press("End")
    first = page.locator(".note b").inner_text()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert page.locator(".note b").inner_text() != first
    before = page.evaluate(RANGE)
    page.keyboard.press("+")
    after = page.evaluate(RANGE)
    assert after[1] - after[0] == pytest.approx((before[1] - before[0]) / 2, rel=0.01)
    page.keyboard.press("Escape")
    assert page.evaluate(RANGE) == before


def test_closer_looks_use_the_whole_height(page: Any) -> None:
    heights = "document.getElementById('plot')._fullLayout.yaxis2.range"
    whole = page.evaluate(heights)
    page.click("[data-days='1']")
    close = page.evaluate(heights)
    assert close[1] - close[0] < (whole[1] - whole[0]) / 5


def test_what_goes_beyond_the_usual_scale_is_cut_and_said_and_can_be_asked_for(
    open_page: Any, cleaned: Path
) -> None:
    page = open_page(cleaned).page
    heights = "document.getElementById('plot')._fullLayout.yaxis.range"
    assert page.evaluate(heights)[1] < 12
    assert "beyond the usual scale" in page.locator(".shown").inner_text()
    page.click("[data-scale]")
    page.wait_for_function(f"({heights})[1] > 100")
    page.wait_for_function("!document.querySelector('.shown').textContent.includes('beyond the usual scale')")


def test_the_page_says_when_it_does_not_hold_every_sample(open_page: Any, points: dict[str, Path]) -> None:
    page = open_page(points["AT-101"]).page
    words = page.locator(".drawn-words")
    assert re.search(r"\d samples stand for all \d+\s\d+ of the record", words.inner_text())


def test_samples_that_come_as_the_signal_moves_are_not_counted_by_an_interval(
    open_page: Any, tmp_path: Path
) -> None:
    made = made_result(STORIES[:1])
    sampling = dataclasses.replace(made.points[0].sampling["value"], kind="exception")
    one = dataclasses.replace(made.points[0], sampling={**made.points[0].sampling, "value": sampling})
    site = write_site(dataclasses.replace(made, points=(one,)), tmp_path).parent
    page = open_page(site / "points" / f"{slug('AT-101')}.html").page
    page.click("[data-days='30']")
    words = page.locator(".drawn-words")
    assert "about" not in words.inner_text()
    assert "samples are drawn in this stretch" in words.inner_text()


def test_the_figure_opens_as_data_and_saves(page: Any) -> None:
    page.click("[data-days='1']")
    page.click("details.data summary")
    page.wait_for_function("document.querySelectorAll('.data-table table').length === 3")
    assert page.locator(".data-table tbody tr").count() > 20
    with page.expect_download() as waiting:
        page.click("[data-csv]")
    rows = list(csv.reader(io.StringIO(Path(waiting.value.path()).read_text(encoding="utf-8"))))
    assert rows[0] == ["time (Europe/Vienna)", "clock", "series", "value", "unit"]
    assert {row[2] for row in rows[1:]} >= {"value", "temperature"}
    assert {row[1] for row in rows[1:]} <= {"UTC+01:00", "UTC+02:00"}


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_figure_saves_as_a_picture(page: Any, kind: str) -> None:
    with page.expect_download() as waiting:
        page.click(f"[data-picture={kind}]")
    assert waiting.value.suggested_filename.endswith(f".{kind}")
    assert Path(waiting.value.path()).stat().st_size > 10_000


def test_dark_and_light_follow_the_system(page: Any) -> None:
    inks = "[...document.querySelectorAll('#plot .js-line')].map(line => line.style.stroke)"
    assert "rgb(28, 78, 148)" in page.evaluate(inks)
    page.emulate_media(color_scheme="dark")
    page.wait_for_function(f"({inks}).includes('rgb(143, 188, 245)')")
    assert "rgb(28, 78, 148)" not in page.evaluate(inks)


def test_the_sheet_on_paper_is_whole_and_two_pages_at_most(page: Any, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    target = tmp_path / "sheet.pdf"
    page.pdf(path=str(target), prefer_css_page_size=True, print_background=True)
    reader = pypdf.PdfReader(target)
    assert len(reader.pages) <= 2
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    for words in (
        "doubt",
        "AT-101",
        "Do next",
        "The record",
        "over-temperature, the probe",
        "143 °C",
        "81 %",
        "ordinary ageing",
        "Cautions",
        "a1b2c3d4e5",
        "S-AT-101-2",
        "not over",
    ):
        assert words in text
    assert "Point at the record" not in text


@pytest.mark.slow
def test_a_year_at_a_minute_shows_its_picture_before_any_script_and_then_the_live_figure(
    open_page: Any, browser: Any, tmp_path: Path
) -> None:
    site = write_site(made_result(STORIES[:1], days=365.0, step_min=1), tmp_path).parent
    path = next((site / "points").glob("*.html"))
    text = path.read_text(encoding="utf-8")
    assert "<script src" in text
    assert all("defer" in tag for tag in re.findall(r"<script src[^>]*>", text))
    context = browser.new_context(java_script_enabled=False)
    bare = context.new_page()
    bare.goto(path.as_uri())
    assert bare.locator("svg.sheet path.reading").is_visible()
    context.close()
    live = open_page(path).page
    assert live.evaluate("performance.getEntriesByName('drawn').length") == 1
    assert live.locator("#plot .js-line").count() > 3


def test_the_hottest_exposure_and_the_moment_it_began_save_as_data_and_pictures(page: Any) -> None:
    page.locator("[data-figure=hottest] summary").press("Enter")
    page.wait_for_selector("#hottest .main-svg")
    with page.expect_download() as waiting:
        page.locator("[data-rows=hottest]").press("Enter")
    rows = list(csv.DictReader(io.StringIO(Path(waiting.value.path()).read_text(encoding="utf-8"))))
    assert max(float(row["y"]) for row in rows if row["y"]) == over_temperature().size
    with page.expect_download() as waiting:
        page.locator("[data-began=picture]").press("Enter")
    assert "xmlns=" in Path(waiting.value.path()).read_text(encoding="utf-8")  # opens on its own


def test_a_link_by_time_lands_there_and_marks_it(open_page: Any, points: dict[str, Path]) -> None:
    page = open_page(points["AT-101"], anchor="at=2026-04-05T14:05").page
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked')")
    start, end = page.evaluate(RANGE)
    assert end - start == pytest.approx(12 * HOUR, rel=0.01)
    assert "Sun 5 Apr 2026, 14:05" in page.locator(".note b").inner_text()
    page.evaluate("location.hash = 'from=2026-03-01T00:00&to=2026-03-05T00:00'")
    page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked: Sun 1 Mar')")
    start, end = page.evaluate(RANGE)
    assert end - start > 4 * 24 * HOUR


def test_a_moment_can_be_typed_and_nonsense_in_the_address_does_no_harm(
    open_page: Any, points: dict[str, Path]
) -> None:
    seen = open_page(points["AT-101"], anchor="at=%3Cimg%20src=x%3E")
    assert "the whole record" in seen.page.locator(".shown").inner_text()
    seen.page.fill("[name=goto]", "2026-04-05T14:05")
    seen.page.wait_for_function("document.querySelector('.shown').textContent.includes('Marked')")
    assert "at=2026-04-05T14:05" in seen.page.evaluate("location.hash")
    assert seen.complaints == []


def test_samples_and_related_points_stand_beside_the_reading(page: Any) -> None:
    beside = page.locator("#beside").inner_text()
    assert "AT-102" in beside
    assert "tolerance" in beside
    assert page.locator("#beside tbody tr").count() >= 10


def test_the_page_names_the_command_that_shows_every_sample_but_not_for_a_name_a_shell_would_run(
    open_page: Any, points: dict[str, Path]
) -> None:
    page = open_page(points["AT-101"], anchor="at=2026-04-05T14:05").page
    page.wait_for_function(
        "document.querySelector('.drawn-words').textContent.includes('--point \"AT-101\" --at \"2026-04-05 14:05\"')"
    )
    hostile = open_page(points[HOSTILE]).page
    assert "explain" not in hostile.locator(".drawn-words").inner_text()


def test_the_line_that_explains_stays_in_sight_of_what_it_explains(page: Any) -> None:
    page.evaluate("document.getElementById('plot').scrollIntoView()")
    box = page.locator("#plot").bounding_box()
    for share in (0.5, 0.6):
        page.mouse.move(box["x"] + box["width"] * share, box["y"] + 150)
    page.wait_for_function("document.querySelector('.note b')")
    assert page.evaluate("document.querySelector('.note').getBoundingClientRect().bottom <= innerHeight")


def test_the_drawing_of_the_start_opens_as_data_and_a_link_shows_the_last_weeks(
    open_page: Any, points: dict[str, Path]
) -> None:
    page = open_page(points["AT-101"], anchor="last=14").page
    assert (
        page.evaluate(
            "(() => { const [a, b] = document.getElementById('plot').layout.xaxis.range.map(t => Date.parse(t)); return Math.round((b - a) / 86400000); })()"
        )
        == 14
    )
    with page.expect_download() as waiting:
        page.click("[data-began=data]")
    rows = Path(waiting.value.path()).read_text().splitlines()
    assert rows[0].startswith("time (")
    assert any(",value," in row for row in rows)


def test_a_phone_shows_what_is_used_most_and_the_rest_behind_a_button(
    open_page: Any, points: dict[str, Path]
) -> None:
    page = open_page(points["AT-101"], width=390).page
    assert page.locator(".stretch").bounding_box()["height"] < 120
    for fold, hidden in ((".stretch .fold", "[name=goto]"), (".head .fold", ".head nav a >> nth=0")):
        assert not page.locator(hidden).is_visible()
        page.locator(fold).press("Enter")
        assert page.locator(hidden).is_visible()
        assert page.locator(fold).get_attribute("aria-expanded") == "true"


def test_a_related_point_in_another_unit_is_drawn_below_and_said(page: Any) -> None:
    page.locator("#plot").focus()
    page.keyboard.press("Home")
    assert page.evaluate("document.getElementById('plot').data.filter(t => t.meta === 'related').length") == 1
    assert "AT-201" in page.locator(".note").inner_text()
    assert "AT-201" in page.locator("#beside").inner_text()


def test_a_neighbour_on_another_level_leaves_the_reading_its_scale_and_is_said_to(
    open_page: Any, tmp_path: Path
) -> None:
    made = made_result(STORIES[:2])
    first, second = made.points
    point = dataclasses.replace(first.point, neighbours=(second.point.name,))
    own = dataclasses.replace(first, point=point)
    heights = "document.getElementById('plot')._fullLayout.yaxis.range"
    spans = []
    for name, away in (("near", 0.1), ("far", 1000.0)):
        level = own.levels.value + away
        other = dataclasses.replace(
            second,
            point=dataclasses.replace(second.point, measurand=first.point.measurand),
            traces={**second.traces, "value": first.traces["value"]},
            levels=dataclasses.replace(own.levels, value=level),
        )
        write_site(dataclasses.replace(made, points=(own, other)), tmp_path / name)
        page = open_page(next((tmp_path / name / "points").glob("at-101*.html"))).page
        page.wait_for_selector("html[data-ready=yes]")
        low, high = page.evaluate(heights)
        spans.append(high - low)
        assert ("stands on another level" in page.locator(".shown").inner_text()) == (name == "far")
    assert spans[1] <= spans[0]


def test_a_day_of_what_is_shown_is_one_of_those_days(page: Any) -> None:
    box = page.locator("#plot .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + 60, steps=5)
    page.mouse.up()
    page.wait_for_timeout(300)
    view = page.evaluate(RANGE)
    page.click("[data-days='1']")
    close = page.evaluate(RANGE)
    assert view[0] - 1000 <= close[0] < close[1] <= view[1] + 1000


@pytest.fixture(scope="module")
def put_back(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of a record over the last Sunday of October 2026, when Vienna's clock was put back from 3:00 to 2:00."""
    result = made_result(STORIES[6:7])
    findings = result.points[0]
    time = (
        np.arange(48 * 12, dtype=np.int64) * 300_000_000_000 + 1_792_800_000_000_000_000
    )  # 24 Oct 2026 02:00 on
    trace = dataclasses.replace(
        findings.traces["value"], time=time, value=np.sin(np.arange(time.size) / 9), samples=time.size
    )
    start, end = int(time[0]), int(time[-1])
    states = dataclasses.replace(
        findings.states,
        start=np.array([start]), end=np.array([end]), code=np.array([0], np.uint8), confidence=np.ones(1), evidence=("a",),
    )  # fmt: skip
    one = dataclasses.replace(
        findings, start=start, end=end, traces={"value": trace}, events=(), states=states, samples=time.size
    )
    site = write_site(
        dataclasses.replace(
            result,
            points=(one,),
            samples=(),
            calibrations=(),
            doubts=(),
            shifts=(),
            links=(),
            verdicts=result.verdicts,
        ),
        tmp_path_factory.mktemp("put_back"),
    ).parent
    return next((site / "points").glob("*.html"))


def test_an_hour_that_comes_twice_is_drawn_in_two_passes_and_saved_with_the_clock_of_each(
    open_page: Any, put_back: Path
) -> None:
    page = open_page(put_back, anchor="at=2026-10-25T02:30").page
    assert "02:00 to 03:00 comes twice" in page.locator(".shown").inner_text()
    assert "showed this hour twice" in page.locator(".note").inner_text()
    assert re.search(r"drawn sample of 02:\d\d \+0[12]:00", page.locator(".note").inner_text())
    drawn = "document.getElementById('plot').data.find(t => t.meta === 'value')"
    back = f"(() => {{ const t = {drawn}; const i = t.x.findIndex((x, k) => k && x < t.x[k - 1]); return Number.isNaN(t.y[i - 1]); }})()"
    assert page.evaluate(back)  # the line ends before it goes back
    with page.expect_download() as waiting:
        page.click("[data-csv]")
    rows = list(csv.reader(io.StringIO(Path(waiting.value.path()).read_text(encoding="utf-8"))))[1:]
    keys = [(row[0], row[1]) for row in rows if row[2] == "value"]
    assert len(keys) == len(set(keys))
    assert [k[1] for k in keys if k[0].startswith("2026-10-25 02:30")] == ["UTC+02:00", "UTC+01:00"]
    assert all(row[3] for row in rows if row[2] == "value")
