"""Every table sorts by every heading, with the mouse and the keyboard, and by what its cells mean."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

UNSORTED = """[...document.querySelectorAll('main table')].filter(t => t.tBodies[0].rows.length > 1)
  .flatMap(t => [...t.tHead.rows[0].cells].filter(th => !th.querySelector('button')).map(th => th.textContent))"""
MADE = """rows => {
  const table = document.createElement('table');
  table.innerHTML = '<thead><tr><th>What</th></tr></thead><tbody></tbody>';
  for (const text of rows) table.tBodies[0].insertRow().insertCell().textContent = text;
  Book.sortable(table);
  const order = () => [...table.tBodies[0].rows].map(r => r.cells[0].textContent);
  const seen = [];
  for (let i = 0; i < 2; i++) { table.querySelector('button').click(); seen.push([table.querySelector('th').getAttribute('aria-sort'), order()]); }
  return seen;
}"""


def test_every_table_of_every_sort_of_page_sorts_by_every_heading(
    open_page: Any, site: Path, points: dict[str, Path]
) -> None:
    for path in (site / "index.html", points["AT-101"], site / "probes" / "index.html"):
        page = open_page(path).page
        assert page.locator("main table").count()
        assert page.evaluate(UNSORTED) == [], path.name


@pytest.mark.parametrize(
    ("upwards", "numbers"),
    [
        (["9 Apr 2026, 11:20", "23 Apr 2026, 03:00", "2 Jun 2026, 01:00"], True),
        (["2026-03-02 01:00", "2026-03-02T13:05:30", "2026-04-01 00:00", "2027-01-01"], True),
        (["2 min", "1 h", "1 h 8 min", "7.1 h", "3 d 13 h"], True),
        (["–", "−25 mV", "+0.3 mV ± 0.2", "1\u202f380 mV", "12\u202f000 mV"], True),
        (["AT-9", "AT-10", "AT-101"], False),
        (["not foreseeable", "slope about 2 Feb 2027"], False),
    ],
    ids=["dates", "instants", "spans", "figures", "names", "words"],
)
def test_a_column_is_sorted_by_what_it_says(
    open_page: Any, site: Path, upwards: list[str], numbers: bool
) -> None:
    page = open_page(site / "probes" / "index.html").page
    mixed = [*upwards[1:], upwards[0]]
    seen = page.evaluate(MADE, mixed)
    expected = [["ascending", upwards], ["descending", upwards[::-1]]]
    assert seen == (expected[::-1] if numbers else expected)


def test_a_heading_is_reached_and_used_by_keyboard_on_a_narrow_screen_too(open_page: Any, site: Path) -> None:
    page = open_page(site / "probes" / "index.html", width=390).page
    button = page.locator("#probes thead button").first
    button.focus()
    assert button.bounding_box()["height"] >= 40
    before = page.locator("#probes tbody tr").all_inner_texts()
    button.press("Enter")
    after = page.locator("#probes tbody tr").all_inner_texts()
    assert page.locator("#probes th").first.get_attribute("aria-sort") == "ascending"
    assert after != before
    assert sorted(after) == sorted(before)
