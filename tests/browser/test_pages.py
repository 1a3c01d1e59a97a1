"""Every page opens in a real browser: quiet, alone, wide or narrow, light or dark."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import violations
from tests.unit.dashboards.made_result import HOSTILE, LONG, NON_LATIN, STORIES

NAMES = [story.name for story in STORIES]
IDS = [f"point-{number}" for number, _ in enumerate(NAMES)]
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.mark.parametrize("name", NAMES, ids=IDS)
def test_a_point_page_opens_quietly_and_asks_nobody(
    open_page: Any, points: dict[str, Path], name: str
) -> None:
    seen = open_page(points[name])
    assert seen.complaints == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in seen.requests)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_overview_opens_quietly_and_asks_nobody(open_page: Any, site: Path, scheme: str) -> None:
    seen = open_page(site / "index.html", scheme=scheme)
    seen.page.locator("summary").first.click()
    seen.page.wait_for_selector("#timeline .main-svg")
    assert seen.complaints == []
    assert all(url.startswith(("file:", "data:")) for url in seen.requests)


@pytest.mark.parametrize(
    "name",
    ["index", "AT-101", HOSTILE, LONG, NON_LATIN],
    ids=["index", "plain", "script", "long", "non-latin"],
)
def test_nothing_scrolls_sideways(open_page: Any, site: Path, points: dict[str, Path], name: str) -> None:
    page = open_page(points.get(name, site / "index.html")).page
    for width in (1440, 960, 768, 390):
        page.set_viewport_size({"width": width, "height": 900})
        # The figure follows a new width a moment later; what is still too wide then stays so.
        page.wait_for_function(f"({SIDEWAYS}) === 0")


def test_hostile_names_ran_nothing(open_page: Any, site: Path, points: dict[str, Path]) -> None:
    for path in (site / "index.html", points[HOSTILE], points["AT-101"]):
        assert open_page(path).page.evaluate("window.broken") is None


@pytest.mark.parametrize("name", ["index", "AT-101"])
def test_the_accessibility_checker_finds_nothing(
    open_page: Any, site: Path, points: dict[str, Path], axe: str, name: str
) -> None:
    page = open_page(points.get(name, site / "index.html")).page
    page.evaluate(axe)
    for width, scheme in ((1440, "light"), (1440, "dark"), (390, "light")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(200)
        assert violations(page) == [], (width, scheme)


USABLE = """() => {
  let n = 0;
  for (const e of document.querySelectorAll('a[href], button, input, select, summary, [tabindex="0"]')) {
    const folded = e.closest('details:not([open])') && !e.matches('summary');
    if (e.checkVisibility({ visibilityProperty: true }) && !e.disabled && !folded) e.dataset.tab = n++;
  }
  return n;
}"""
FOCUSED = """() => {
  const e = document.activeElement, b = e.getBoundingClientRect();
  return [e.dataset.tab ?? '', b.width > 0 && b.bottom > 0 && b.top < innerHeight && b.left < innerWidth];
}"""


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("name", ["index", "AT-101"])
def test_the_keyboard_reaches_everything_that_can_be_used_and_it_is_in_sight_then(
    open_page: Any, site: Path, points: dict[str, Path], name: str, width: int
) -> None:
    page = open_page(points.get(name, site / "index.html"), width=width).page
    count = page.evaluate(USABLE)
    assert count > 40
    reached = set()
    for _ in range(count + 40):  # a field for a date has several stops
        page.keyboard.press("Tab")
        found, in_sight = page.evaluate(FOCUSED)
        assert in_sight
        reached.add(found)
    assert {str(n) for n in range(count)} <= reached


def test_plotly_is_not_loaded_until_somebody_wants_a_time_line(open_page: Any, site: Path) -> None:
    seen = open_page(site / "index.html")
    assert not any("plotly" in url for url in seen.requests)


def test_without_script_the_answer_and_the_picture_still_stand(browser: Any, points: dict[str, Path]) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(points["AT-101"].as_uri())
    assert page.locator("svg.sheet").is_visible()
    assert page.locator("table.events tbody tr").count() > 0
    context.close()
