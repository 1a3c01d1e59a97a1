"""The first page in use: finding, filtering, ordering, deep links, the keyboard, two thousand points."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path
from typing import Any

import pytest

from dashboards.slug import slug
from tests.browser.conftest import said, write_site
from tests.unit.dashboards.made_result import STORIES, made_result

# Rows below the first ones come in the frames after a key: the list is busy until they are all there.
SHOWN = """(async () => {
  while (document.querySelector('.entries[aria-busy]')) await new Promise(requestAnimationFrame);
  return [...document.querySelectorAll('.entry:not([hidden]) h3 a')].map(a => a.textContent);
})()"""


@pytest.fixture
def index(open_page: Any, site: Path) -> Any:
    return open_page(site / "index.html").page


def test_the_worst_point_stands_in_the_first_view_with_its_answer(index: Any) -> None:
    first = index.locator(".entry").first
    box = first.bounding_box()
    assert box["y"] + box["height"] < 900
    words = said(first)
    for part in ("do not use", "since 22 Apr 2026", "AT-102", "Stuck reading", "Do next", "Known"):
        assert part in words


def test_search_finds_by_any_word_of_an_entry(index: Any) -> None:
    index.fill("[name=q]", "oxygen noise")
    assert index.evaluate(SHOWN) == ["AT-302"]
    assert "1 of 13 points" in index.locator(".count").inner_text()


def test_a_search_without_an_answer_says_what_next(index: Any) -> None:
    index.fill("[name=q]", "zzz")
    assert index.evaluate(SHOWN) == []
    assert "Show all" in index.locator(".count").inner_text()
    index.click(".clear")
    assert len(index.evaluate(SHOWN)) == 13


def test_verdicts_filter_by_word(index: Any) -> None:
    index.click("[data-verdict='cannot tell']")
    assert index.locator("[data-verdict='cannot tell']").get_attribute("aria-pressed") == "true"
    assert index.evaluate(SHOWN) == ["AT-301", "../../etc/passwd"]


def test_order_by_name_and_back(index: Any) -> None:
    worst = index.evaluate(SHOWN)
    index.select_option("[name=sort]", "name")
    by_name = index.evaluate(SHOWN)
    assert [n for n in by_name if n.startswith("AT-")] == sorted(n for n in worst if n.startswith("AT-"))
    index.select_option("[name=sort]", "")
    assert index.evaluate(SHOWN) == worst


def test_what_was_asked_stays_in_the_address(index: Any, open_page: Any, site: Path) -> None:
    index.fill("[name=q]", "AT-2")
    index.click("[data-verdict='doubt']")
    shown = index.evaluate(SHOWN)
    index.wait_for_function("location.hash.includes('doubt')")  # the address follows when no key has
    anchor = index.evaluate("location.hash.slice(1)")
    again = open_page(site / "index.html", anchor=anchor).page
    assert again.evaluate(SHOWN) == shown == ["AT-202", "AT-201"]


def test_a_day_of_the_calendar_shows_its_points(index: Any) -> None:
    index.locator("rect[data-day]").last.dispatch_event("click")
    index.wait_for_function("document.querySelector('.count').textContent.includes('event on')")
    assert index.evaluate(SHOWN) == ["AT-102"]
    assert "event on 22 Apr 2026" in index.locator(".count").inner_text()


def test_the_days_are_one_stop_of_the_keyboard_and_say_what_stood_there(index: Any) -> None:
    index.locator(".calendar").focus()
    index.keyboard.press("End")
    assert said(index.locator(".cal-said")).startswith("22 Apr 2026: does not follow")
    index.keyboard.press("ArrowLeft")
    assert not said(index.locator(".cal-said")).startswith("22 Apr 2026")
    index.keyboard.press("ArrowRight")
    index.keyboard.press("Enter")
    index.wait_for_function("document.querySelector('.count').textContent.includes('event on 22 Apr 2026')")
    assert index.evaluate(SHOWN) == ["AT-102"]


@pytest.mark.parametrize("word", ["heat", "overheated", "steam"])
def test_a_point_is_found_by_what_people_call_that_which_happened_there(index: Any, word: str) -> None:
    index.fill("[name=q]", word)
    assert "AT-101" in index.evaluate(SHOWN)  # its row says over-temperature
    assert word == "steam" or len(index.evaluate(SHOWN)) < 13  # every point was steamed


def test_a_link_to_a_point_lands_on_its_entry(open_page: Any, site: Path) -> None:
    page = open_page(site / "index.html", anchor=f"p-{slug('AT-401')}").page
    assert page.locator(f"#p-{slug('AT-401')}").is_visible()
    assert 0 <= page.locator(f"#p-{slug('AT-401')}").bounding_box()["y"] < 900


def test_a_foreign_address_does_no_harm(open_page: Any, site: Path) -> None:
    seen = open_page(
        site / "index.html", anchor="q=%3Cimg%20src=x%20onerror=window.broken=1%3E&sort=nothing&day=x"
    )
    assert seen.complaints == []
    assert seen.page.evaluate("window.broken") is None


def test_the_keyboard_reaches_the_answer_and_the_fields(index: Any) -> None:
    reached = []
    for _ in range(40):
        index.keyboard.press("Tab")
        reached.append(
            index.evaluate(
                "document.activeElement.name || document.activeElement.textContent.trim().replace(/\\s+/g, ' ')"
            )
        )
    assert reached[0] == "Skip to the answer"
    for wanted in ("1 do not use", "q", "measurand", "day", "sort", "AT-102", "See the moment it began"):
        assert wanted in reached


def test_focus_can_be_seen(index: Any) -> None:
    index.keyboard.press("Tab")
    index.keyboard.press("Tab")
    style = index.evaluate(
        "(() => { const s = getComputedStyle(document.activeElement); return [s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
    )
    assert style[0] == "solid"
    assert style[1] >= 2


def test_glove_sized_targets(open_page: Any, site: Path) -> None:
    page = open_page(site / "index.html", width=390).page
    heights = page.evaluate(
        "[...document.querySelectorAll('button, select, input')].filter(e => e.offsetParent).map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 40


@pytest.mark.slow
def test_two_thousand_points_filter_to_the_one_asked_for(open_page: Any, fleet: Path) -> None:
    page = open_page(fleet / "index.html").page
    page.fill("[name=q]", "AT-1999")
    assert page.evaluate(SHOWN) == ["AT-1999"]


@pytest.mark.slow
def test_a_large_fleet_starts_with_the_worst_and_offers_the_rest_in_portions(
    open_page: Any, fleet: Path
) -> None:
    page = open_page(fleet / "index.html").page
    assert len(page.evaluate(SHOWN)) == 30
    page.locator(".more button").scroll_into_view_if_needed()
    page.wait_for_function(
        "document.querySelectorAll('.entry h3')[29].checkVisibility({ contentVisibilityAuto: true })"
    )
    before = page.locator(".entry").nth(29).bounding_box()
    page.locator(".more button").press("Enter")
    assert len(page.evaluate(SHOWN)) == 230
    # Nothing above moves when more is shown: a row a person aims at stays where it is.
    assert page.locator(".entry").nth(29).bounding_box()["height"] == before["height"]
    assert "of the other 1\u202f770" in page.locator(".more button").inner_text()


@pytest.mark.slow
def test_a_large_fleet_keeps_few_rows_in_the_page_and_any_order_after_many_questions(
    open_page: Any, fleet: Path
) -> None:
    page = open_page(fleet / "index.html").page
    page.wait_for_function("document.querySelectorAll('.entry').length < 300")
    worst = page.evaluate(SHOWN)
    for words, order in (("AT-19", ""), ("AT-1", "name"), ("", "since"), ("AT-18", "name"), ("", "name")):
        page.fill("[name=q]", words)
        page.select_option("[name=sort]", order)
        names = page.evaluate(SHOWN)
        assert len(names) == 30
        if order == "name":
            numbers = [int(name.removeprefix("AT-")) for name in names]
            assert numbers == sorted(numbers)
    page.select_option("[name=sort]", "")
    assert page.evaluate(SHOWN) == worst


@pytest.mark.slow
def test_a_link_to_a_row_far_down_a_large_fleet_brings_it_into_view(open_page: Any, fleet: Path) -> None:
    page = open_page(fleet / "index.html").page
    target = re.findall(r'<li class="entry[^>]* id="(p-[^"]+)"', (fleet / "index.html").read_text())[700]
    page.evaluate(f"location.hash = '{target}'")
    page.wait_for_function(
        f"(() => {{ const b = document.getElementById('{target}').getBoundingClientRect(); return b.height > 0 && b.top >= -1 && b.top < innerHeight; }})()"
    )


def test_what_changed_and_what_is_known_can_be_filtered_and_read(open_page: Any, changed_site: Path) -> None:
    page = open_page(changed_site / "index.html").page
    assert "Since the run before" in page.locator("header").inner_text()
    assert page.locator("#changed tbody tr").count() >= 2
    assert "new since the run before" in page.locator(f"#p-{slug('AT-102')}").inner_text()
    page.select_option("[name=known]", "open")
    assert set(page.evaluate(SHOWN)) >= {"AT-101", "AT-102"}
    assert "AT-401" not in page.evaluate(SHOWN)
    page.wait_for_function("location.hash.includes('known=open')")
    page.locator("#changed tbody a").first.click()
    page.wait_for_selector("html[data-ready=yes]")


def test_the_days_and_the_time_line_open_as_data_and_save_as_pictures(index: Any) -> None:
    with index.expect_download() as waiting:
        index.click("[data-calendar=rows]")
    rows = Path(waiting.value.path()).read_text(encoding="utf-8").splitlines()
    assert rows[0] == "day,what,events"
    assert "2026-04-22,does not follow,1" in rows
    with index.expect_download() as waiting:
        index.click("[data-calendar=picture]")
    picture = Path(waiting.value.path()).read_text(encoding="utf-8")
    assert "does not follow" in picture
    assert "rgb(" in picture  # the colours of the style sheet are written into it
    index.locator("[data-figure=timeline] summary").press("Enter")
    index.wait_for_selector("#timeline .main-svg")
    with index.expect_download() as waiting:
        index.click("[data-rows=timeline]")
    rows = Path(waiting.value.path()).read_text(encoding="utf-8").splitlines()
    assert any("AT-102" in row and "Stuck reading" in row for row in rows)
    assert all(row.split(",")[2] for row in rows[1:] if row.count(",") == 3 and '"' not in row)
    legend = index.locator("#timeline .legendtext").all_text_contents()
    assert {"heat", "does not follow", "moved"} <= set(legend)


def test_paper_holds_the_whole_of_what_a_filter_shows_and_says_what_it_leaves_out(
    open_page: Any, fleet: Path
) -> None:
    """Even when it is asked for in the moment after a key, while the list is still filling."""
    page = open_page(fleet / "index.html").page
    first = int(page.evaluate("document.querySelector('.entries').dataset.first"))
    page.evaluate(
        "() => { const q = document.querySelector('[name=q]'); q.value = 'AT-1'; q.dispatchEvent(new Event('input', { bubbles: true }));"
        " dispatchEvent(new Event('beforeprint')); }"
    )
    shown = page.evaluate("document.querySelectorAll('.entry:not([hidden])').length")
    fitting = int(page.evaluate("document.querySelector('.count').textContent.split(' ')[0]"))
    assert shown == first < fitting
    page.emulate_media(media="print")
    said = page.locator(".left-out").inner_text().replace("\u202f", "")
    assert said.startswith(f"{fitting - first} more points fit")
    assert page.evaluate("location.hash") == "#q=AT-1"


def test_a_point_with_a_short_name_is_found_by_its_tag(open_page: Any, tmp_path: Path) -> None:
    quiet = next(story for story in STORIES if not story.kind)
    stories = tuple(dataclasses.replace(quiet, name=name) for name in ("O2", "EC-3"))
    made = made_result(stories, days=5.0, budget=200)
    tagged = dataclasses.replace(made.points[0].point, value="Котёл/O2")
    points = (dataclasses.replace(made.points[0], point=tagged), *made.points[1:])
    page = open_page(write_site(dataclasses.replace(made, points=points), tmp_path)).page
    page.fill("[name=q]", "котёл")
    assert page.evaluate(SHOWN) == ["O2"]
