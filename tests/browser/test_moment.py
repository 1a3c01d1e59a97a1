"""The page of an explained moment: zoomed and marked from the start, reachable by everybody."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dashboards import write_moment
from excursions.report.explain import Focus, explain
from tests.browser.conftest import said, violations
from tests.unit.dashboards.made_result import HOSTILE, instant, made_result


@pytest.fixture(scope="module")
def moment(tmp_path_factory: pytest.TempPathFactory) -> Path:
    result = made_result()
    at = instant(95.0)
    return write_moment(
        result, explain(result, "AT-101", Focus(start=at, end=at)), tmp_path_factory.mktemp("moment")
    )


def opened(open_page: Any, path: Path, **more: Any) -> Any:
    seen = open_page(path, **more)
    seen.page.wait_for_selector("html[data-ready=yes]")
    return seen


def test_it_opens_on_the_answer_with_the_moment_marked(open_page: Any, moment: Path) -> None:
    seen = opened(open_page, moment)
    assert seen.page.evaluate("scrollY") == 0
    words = said(seen.page.locator("main .answer"))
    for part in (
        "doubt",
        "AT-101, 6 Apr 2026, 01:00",
        "How wrong",
        "0.24 pH too high",
        "Why",
        "the heat",
        "Verify.",
        "Take care",
    ):
        assert part in words
    assert seen.page.locator(".answer .moment svg").is_visible()
    assert "Marked: 6 Apr 2026, 01:00" in seen.page.locator(".shown").inner_text()
    assert "Mon 6 Apr 2026, 01:00" in seen.page.locator(".note b").inner_text()
    assert seen.complaints == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in seen.requests)


def test_the_words_of_the_record_cover_it_only_once_it_fills_the_window(open_page: Any, moment: Path) -> None:
    page = opened(open_page, moment).page
    position = "getComputedStyle(document.querySelector('.note')).position"
    assert page.evaluate(position) != "sticky"
    page.evaluate("document.getElementById('plot').scrollIntoView()")
    page.wait_for_function(f"{position} === 'sticky'")


def test_every_question_has_an_answer_with_evidence(open_page: Any, moment: Path) -> None:
    rows = opened(open_page, moment).page.locator(".checks tbody tr")
    texts = [rows.nth(n).inner_text() for n in range(rows.count())]
    assert len(texts) >= 5
    assert all(any(word in text for word in ("excluded", "speaks", "could not", "agrees")) for text in texts)


def test_it_is_narrow_and_dark_and_accessible(open_page: Any, moment: Path, axe: str) -> None:
    page = opened(open_page, moment, width=390, scheme="dark").page
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    page.evaluate(axe)
    assert violations(page) == []


def test_a_hostile_name_runs_nothing(open_page: Any, tmp_path: Path) -> None:
    result = made_result()
    path = write_moment(result, explain(result, HOSTILE), tmp_path)
    seen = opened(open_page, path)
    assert seen.page.evaluate("window.broken") is None
    assert seen.complaints == []


def test_the_band_of_the_error_lies_wholly_on_the_picture_of_the_moment(open_page: Any, moment: Path) -> None:
    page = opened(open_page, moment).page
    outside = """() => {
      const plot = document.getElementById('plot'), full = plot._fullLayout, [low, high] = full.yaxis.range;
      const [from, to] = full.xaxis.range.map(t => Date.parse(t + 'Z'));
      const inView = (t, i) => { const at = Date.parse(t.x[i] + 'Z') || t.x[i]; return at >= from && at <= to; };
      const bands = plot.data.filter(t => t.meta === 'band'), seen = bands.flatMap(t => [...t.y].filter((_, i) => inView(t, i)));
      return [seen.length, seen.filter(y => y < low || y > high).length];
    }"""
    count, beyond = page.evaluate(outside)
    assert count > 0
    assert beyond == 0
