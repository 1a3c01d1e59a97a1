"""Names as people and attackers give them, from the file through the scan to the page: shown as they are, and harmless."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from dashboards import write_site
from excursions.pipeline.scan import scan
from excursions.read.exports.cells.columns import clean
from tests.browser.conftest import PATIENCE_MS

NAMES = (
    '"quoted" name',
    "AT 101 with blanks",
    "<b>pH</b> & <script>document.title='run'</script>",
    "タンク pH",
    "реактор pH",
    'Kühlung "Süd" / pH',
    "=cmd|calc!A1",
    "../../etc/passwd",
    "X" * 300,
    "Reaktor-" + "pH-" * 97,
    "a,b;c",
    "%s {x} {{ y }}",
    "__proto__",
    "constructor",
)
HOURS = 60


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("names")
    with (folder / "export.csv").open("w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out)
        rows.writerow(["tag", "time", "value", "unit"])
        for number, name in enumerate(NAMES):
            for hour in range(HOURS):
                stamp = f"2024-03-{1 + hour // 24:02d}T{hour % 24:02d}:00:00Z"
                rows.writerow([name, stamp, 7 + 0.01 * ((hour * (number + 3)) % 7), "pH"])
    return write_site(scan([folder / "export.csv"]).result, folder / "out")


def test_every_name_is_shown_as_it_is(named: Path, browser: Any) -> None:
    page = browser.new_page()
    page.goto(named.as_uri())
    shown = " ".join(page.evaluate("document.body.textContent").split())
    assert [name for name in NAMES if clean(name) not in shown] == []
    assert page.title() != "run"
    page.close()


def test_every_page_of_a_point_names_it_and_no_name_makes_it_scroll_sideways(
    named: Path, browser: Any
) -> None:
    page = browser.new_page()
    points = sorted((named.parent / "points").glob("*.html"))
    assert len(points) >= len(NAMES)
    texts = []
    for path in (named, *points):
        page.goto(path.as_uri())
        for width in (390, 1440):
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_function(f"document.documentElement.scrollWidth <= {width}", timeout=PATIENCE_MS)
        texts.append(" ".join(page.evaluate("document.body.textContent").split()))
        assert page.title() != "run"
    assert [name for name in NAMES if not any(clean(name) in text for text in texts[1:])] == []
    page.close()


BROKEN = """(() => {
  const broken = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const held = walk.currentNode.parentElement;
    if (held.closest('script, svg, .visually-hidden') || !held.getClientRects().length) continue;
    for (const found of walk.currentNode.data.matchAll(/[A-Z]+\\w*-\\w+/g)) {
      const range = document.createRange();
      range.setStart(walk.currentNode, found.index);
      range.setEnd(walk.currentNode, found.index + found[0].length);
      if (range.getClientRects().length > 1 && found[0].length < 17) broken.push(found[0]);
    }
  }
  return broken;
})()"""


def test_no_name_is_broken_at_its_hyphen(open_page: Any, site: Path, points: dict[str, Path]) -> None:
    probe = next((site / "probes").glob("s-at-*.html"))
    for path in (
        site / "index.html",
        points["AT-101"],
        points["AT-202"],
        probe,
        site / "probes" / "index.html",
    ):
        page = open_page(path).page
        assert "AT-" in page.locator("main").inner_text()
        for width, media in ((1440, "screen"), (390, "screen"), (695, "print")):
            page.set_viewport_size({"width": width, "height": 900})
            page.emulate_media(media=media)
            assert page.evaluate(BROKEN) == [], (path.name, width)
