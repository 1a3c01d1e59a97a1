"""The sheet on paper: every cell of every table is there in full, nothing runs over the edge, two pages at most."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dashboards import write_moment, write_site
from dashboards.slug import slug
from excursions.pipeline.scan import scan
from excursions.report.explain import explain
from tests.unit.dashboards.made_result import HOSTILE, LONG, made_result

SAMPLE = Path(__file__).parents[2] / "sample_data" / "plant"
PAPER_WIDTH = 695  # A4 less the margins of the style sheet: 184 mm at 96 px an inch
# Every piece of text inside a table that paper shows, as it stands in the page.
PIECES = """(() => {
  const pieces = [];
  for (const table of document.querySelectorAll('table')) {
    const walk = document.createTreeWalker(table, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const held = walk.currentNode.parentElement;
      if (held.getClientRects().length && walk.currentNode.data.trim()) pieces.push(walk.currentNode.data);
    }
  }
  return pieces;
})()"""
OVER = (
    "[...document.querySelectorAll('main *, .head *, .foot *')].filter(e => e.offsetParent && getComputedStyle(e).overflow === 'visible'"
    " && !e.closest('svg') && !e.closest('.visually-hidden') && e.getBoundingClientRect().right > innerWidth + 1)"
    ".map(e => e.tagName + ' ' + e.textContent.slice(0, 40))"
)


def squeezed(text: str) -> str:
    """Text without any white space: lines break elsewhere in a PDF.  Hyphens at the end of a line stay."""
    return "".join(text.split())


def printed(page: Any, target: Path, **paper: str) -> tuple[str, int]:
    """Text of the PDF without white space, and how many pages it has; on the sheet's own paper unless one is named."""
    pypdf = pytest.importorskip("pypdf")
    page.pdf(path=str(target), prefer_css_page_size=not paper, **paper, print_background=True)
    reader = pypdf.PdfReader(target)
    return squeezed("".join(p.extract_text() for p in reader.pages)), len(reader.pages)


def missing_pieces(page: Any, text: str) -> list[str]:
    """Pieces of tables that paper shows and the PDF does not hold in full.

    Scripts for which a machine may have no font cannot be compared and are left out.
    """
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER_WIDTH, "height": 1000})
    pieces = [piece for piece in page.evaluate(PIECES) if max(map(ord, piece)) < 0x250]
    assert pieces
    return [piece for piece in pieces if squeezed(piece) not in text]


@pytest.mark.parametrize(
    "name", ["AT-101", "AT-202", HOSTILE, LONG], ids=["heat", "fouling", "hostile", "long"]
)
def test_a_findings_sheet_holds_its_tables_whole_on_two_pages(
    open_page: Any, points: dict[str, Path], tmp_path: Path, name: str
) -> None:
    page = open_page(points[name]).page
    text, pages = printed(page, tmp_path / "sheet.pdf")
    assert pages <= 2
    assert missing_pieces(page, text) == []
    assert page.evaluate(OVER) == []


def test_the_overview_on_paper_holds_its_tables_whole(open_page: Any, site: Path, tmp_path: Path) -> None:
    page = open_page(site / "index.html").page
    text, _ = printed(page, tmp_path / "overview.pdf")
    assert missing_pieces(page, text) == []
    assert page.evaluate(OVER) == []


# Lines that a file's name takes in the list of what went in, beside notes as long as real ones.
NAMED = """(name) => {
  const row = document.querySelector('#inputs tbody tr'), cell = row.querySelector('td.name');
  cell.textContent = name;
  row.querySelector('[data-label=Note]').textContent = 'wide; text, separator ";", UTF-8, 1 May 2026, 00:00 to 10 Jun 2026, 23:55 '.repeat(3);
  const span = document.createRange();
  span.selectNodeContents(cell);
  return span.getClientRects().length;
}"""


def test_the_name_of_a_file_stays_whole_on_paper(open_page: Any, site: Path) -> None:
    page = open_page(site / "index.html").page
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER_WIDTH, "height": 1000})
    assert page.evaluate(NAMED, "d41/samples_of_may.csv") == 1
    page.evaluate(NAMED, "a1" * 32)
    assert page.evaluate(OVER) == []


# The events of the page as a table of eight rows, one of them not printed, after so much else on the sheet.
EIGHT_ROWS = """(space) => {
  const table = document.querySelector('table.events').cloneNode(true), body = table.tBodies[0], row = body.rows[0];
  body.replaceChildren(...[1, 2, 3, 4, 5, 6, 7, 8].map(number => {
    const made = row.cloneNode(true);
    made.hidden = false;
    made.className = number === 8 ? 'serious paper-extra' : 'serious';
    made.cells[1].textContent = 'Row' + number + 'ends';
    return made;
  }));
  const before = document.createElement('div');
  before.style.height = space + 'px';
  document.querySelector('.head').remove();
  document.querySelector('main').replaceChildren(before, table);
}"""


@pytest.mark.parametrize("space", range(640, 921, 40))
def test_a_table_that_goes_on_has_its_headings_again_and_leaves_no_row_alone(
    open_page: Any, points: dict[str, Path], tmp_path: Path, space: int
) -> None:
    pypdf = pytest.importorskip("pypdf")
    page = open_page(points["AT-101"]).page
    page.evaluate(EIGHT_ROWS, space)
    page.pdf(path=str(tmp_path / "rows.pdf"), prefer_css_page_size=True)
    sheets = [squeezed(sheet.extract_text()) for sheet in pypdf.PdfReader(tmp_path / "rows.pdf").pages]
    rows = [[n for n in range(1, 9) if f"Row{n}ends" in sheet] for sheet in sheets]
    assert [n for here in rows for n in here] == list(range(1, 8))
    assert all(len(here) != 1 for here in rows), rows
    assert all(("Began" in sheet) == bool(here) for sheet, here in zip(sheets, rows, strict=True))


def test_an_explained_moment_on_paper_shows_it_close_up(open_page: Any, tmp_path: Path) -> None:
    result = made_result()
    path = write_moment(result, explain(result, "AT-101"), tmp_path)
    page = open_page(path).page
    page.wait_for_selector("html[data-ready=yes]")
    text, pages = printed(page, tmp_path / "moment.pdf")
    assert pages <= 2
    assert missing_pieces(page, text) == []
    assert page.evaluate(OVER) == []
    assert "3Apr,08:36" in text  # the drawing begins two hours before the event, not with the record


def test_no_word_of_the_drawing_runs_off_the_paper(open_page: Any, points: dict[str, Path]) -> None:
    page = open_page(points["AT-302"]).page
    page.emulate_media(media="print")
    outside = page.evaluate(
        "[...document.querySelectorAll('svg.sheet text')].filter(t => { const b = t.getBBox(), v = t.ownerSVGElement.viewBox.baseVal;"
        " return b.x < -0.5 || b.x + b.width > v.width + 0.5; }).map(t => t.textContent)"
    )
    assert outside == []


@pytest.mark.slow
def test_the_fullest_sheets_of_the_sample_plant_are_whole_on_two_pages(
    open_page: Any, tmp_path: Path
) -> None:
    """All ten points, on both usual papers: laboratory samples, doubt, several events and shifts, findings of the audit."""
    result = scan([SAMPLE]).result
    assert len(result.points) == 10
    site = write_site(result, tmp_path).parent
    for name in (findings.point.name for findings in result.points):
        page = open_page(site / "points" / f"{slug(name)}.html").page
        text, pages = printed(page, tmp_path / "sheet.pdf")
        assert pages <= 2, name
        assert printed(page, tmp_path / "letter.pdf", format="Letter")[1] <= 2, name
        assert missing_pieces(page, text) == [], name
