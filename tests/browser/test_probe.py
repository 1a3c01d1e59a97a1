"""The page of a probe in use: quiet, safe, sorted, drawn on one axis, saved as data, linked both ways."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from pathlib import Path
from typing import Any

import pytest

from dashboards import write_site
from dashboards.slug import slug
from tests.browser.conftest import said, violations
from tests.unit.dashboards.made_result import HOSTILE, STORIES, made_result

SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
CUT_LABELS = """[...document.querySelectorAll('.plot .ytick text, .plot [class$=tick] text')].filter(t => t.getClientRects().length)
  .filter(t => t.getBoundingClientRect().left < t.closest('.plot').getBoundingClientRect().left - 0.5).map(t => t.textContent)"""
DRAWN = "document.querySelectorAll('#lifeplot .main-svg').length > 0"


@pytest.fixture(scope="module")
def probes(site: Path) -> Path:
    return site / "probes"


@pytest.fixture(scope="module")
def heated(probes: Path) -> Path:
    """The probe that was over-heated at AT-101."""
    return probes / f"{slug('S-AT-101-2')}.html"


def test_every_probe_page_opens_quietly_asks_nobody_and_runs_no_name(open_page: Any, probes: Path) -> None:
    pages = sorted(probes.glob("*.html"))
    hostile = probes / f"{slug(f'S-{HOSTILE[:6]}-2')}.html"
    assert len(pages) == 2 * len(STORIES) + 1 - 2 * (len(STORIES) - len({s.name[:6] for s in STORIES}))
    for path in (probes / "index.html", hostile, *pages[:3]):
        seen = open_page(path)
        if path.name != "index.html":
            seen.page.wait_for_function(DRAWN)
        assert seen.complaints == [], path
        assert all(url.startswith(("file:", "data:", "blob:")) for url in seen.requests)
        assert seen.page.evaluate("window.broken") is None


def test_the_heated_probe_answers_first_and_draws_its_steam_out(open_page: Any, heated: Path) -> None:
    page = open_page(heated).page
    assert said(page.locator(".say")).startswith("AT-101: 143 °C on ")
    answer = said(page.locator(".answer dl"))
    assert answer.startswith(
        "Now"
    )  # the point where it sits is in trouble: that and what to do stand here too
    assert "Do next" in answer
    assert "Verify" in answer
    assert "Take care" in answer
    page.wait_for_function("document.querySelectorAll('#close .main-svg').length > 0")
    words = page.locator("#close .plot").first.evaluate(
        "e => e.layout.annotations.map(a => a.text).join('|')"
    )
    assert "the true peak lies in this band" in words
    hover = page.evaluate("document.getElementById('lifeplot').data.every(t => t.hovertemplate)")
    assert hover
    axes = page.evaluate("document.getElementById('lifeplot').data.map(t => t.xaxis || 'x')")
    assert set(axes) == {"x"}  # one time axis for all


def test_tables_sort_and_links_lead_to_the_point_and_back(open_page: Any, heated: Path) -> None:
    page = open_page(heated).page
    peak = "[...document.querySelectorAll('.heat-list tbody tr')].map(r => Number(r.cells[2].dataset.value))"
    assert page.evaluate(peak)[0] == 143.2
    button = page.locator(".heat-list thead button", has_text="Highest")
    button.click()
    page.wait_for_function(f"(p => p[0] === Math.max(...p))({peak})")
    button.press("Enter")
    page.wait_for_function(f"(p => p[0] === Math.min(...p))({peak})")
    page.locator("dl a", has_text="AT-101").click()
    page.wait_for_selector("html[data-ready=yes]")
    page.locator(".lives a", has_text="S-AT-101-2").click()
    page.wait_for_url(heated.as_uri())
    page.locator(".running a", has_text="All probes").click()
    page.locator("input[type=search]").fill("S-AT-101-2")
    page.wait_for_function("document.querySelectorAll('.all-probes tbody tr:not([hidden])').length === 1")


def test_the_life_can_be_zoomed_by_keyboard_opened_as_data_and_saved(open_page: Any, heated: Path) -> None:
    page = open_page(heated).page
    page.wait_for_function(DRAWN)
    ends = "document.getElementById('lifeplot').layout.xaxis.range.join()"
    before = page.evaluate(ends)
    page.locator("#lifeplot").press("+")
    page.wait_for_function(f"({ends}) !== {before!r}")
    page.locator("#lifeplot").press("Escape")
    page.wait_for_function(f"({ends}) === {before!r}")
    page.locator("details.data summary").click()
    page.wait_for_function("document.querySelectorAll('.data-table tbody tr').length > 100")
    times = "[...document.querySelectorAll('.data-table tbody tr')].map(r => r.cells[0].textContent)"
    for down in (True, False):
        page.locator(".data-table thead button", has_text="time (Europe/Vienna)").click()
        listed = page.evaluate(times)
        assert listed == sorted(listed, reverse=down)
    with page.expect_download() as saved:
        page.locator("[data-csv]").click()
    rows = list(csv.reader(io.StringIO(Path(saved.value.path()).read_text(encoding="utf-8"))))
    assert rows[0] == ["time (Europe/Vienna)", "what", "value", "unit"]
    assert {"highest of the day", "exposure", "dose so far"} <= {row[1] for row in rows[1:]}
    assert [row[0] for row in rows[1:]] == sorted(row[0] for row in rows[1:])  # by time, not by series
    units = {row[1]: row[3] for row in rows[1:]}
    assert (units["highest of the day"], units["dose so far"]) == ("°C", "h")
    figures = [row[2] for row in rows[1:] if row[1] in ("highest of the day", "exposure", "dose so far")]
    assert max(len(figure.replace("-", "").replace(".", "").lstrip("0")) for figure in figures) <= 4
    with page.expect_download() as picture:
        page.locator("[data-picture=svg]").click()
    assert picture.value.suggested_filename.endswith(".svg")


def test_arrow_keys_go_from_mark_to_mark_of_a_life_and_say_what_stands_there(
    open_page: Any, heated: Path
) -> None:
    page = open_page(heated).page
    page.wait_for_function(DRAWN)
    plot, line = page.locator("#lifeplot"), page.locator("#reading-line")
    plot.press("Home")
    first = said(line)
    assert "AT-101: 122 °C on " in first
    assert page.locator(".cursor").is_visible()
    plot.press("ArrowRight")
    assert said(line) != first
    plot.press("ArrowLeft")
    assert said(line) == first
    heard = []
    for _ in range(400):
        plot.press("ArrowRight")
        if heard[-1:] == [said(line)]:
            break
        heard.append(said(line))
    assert any("143 °C on " in words for words in heard)
    assert any(re.match(r"\d+ [A-Z][a-z]+ 2026: highest of the day", words) for words in heard)  # no minute
    assert any(re.search(r"Slope as found [\d.]+ % ± [\d.]+", words) for words in heard)


def test_probe_pages_are_accessible_and_never_scroll_sideways(
    open_page: Any, heated: Path, probes: Path, axe: str
) -> None:
    for path in (heated, probes / "index.html"):
        page = open_page(path).page
        page.evaluate(axe)
        for width, scheme in ((1440, "light"), (1440, "dark"), (390, "light")):
            page.set_viewport_size({"width": width, "height": 900})
            page.emulate_media(color_scheme=scheme)
            page.wait_for_function(f"({SIDEWAYS}) === 0")
            assert violations(page) == [], (path.name, width, scheme)


def test_without_script_the_answer_and_the_drawing_still_stand(browser: Any, heated: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(heated.as_uri())
    assert page.locator("svg.sheet").is_visible()
    assert page.locator(".heat-list tbody tr").count() > 0
    context.close()


def test_no_label_of_an_axis_is_cut_off_however_long_figure_and_unit_are(
    open_page: Any, tmp_path: Path
) -> None:
    heat = dataclasses.replace(
        STORIES[0], name="QX-1", measurand="conductivity", level=2650.0, swing=80.0, noise=5.0
    )
    site = write_site(made_result((heat,)), tmp_path).parent
    path = site / "probes" / f"{slug('S-QX-1-2')}.html"
    for width in (1440, 390):
        page = open_page(path, width=width).page
        page.wait_for_function("document.querySelectorAll('#close .main-svg').length > 0")
        page.wait_for_function(DRAWN)
        labels = page.evaluate(
            "[...document.querySelectorAll('#close .y2tick text')].map(t => t.textContent)"
        )
        assert any("µS/cm" in text for text in labels)
        assert page.evaluate(CUT_LABELS) == [], width
        page = open_page(site / "points" / f"{slug('QX-1')}.html", width=width).page
        assert page.evaluate(CUT_LABELS) == [], width
