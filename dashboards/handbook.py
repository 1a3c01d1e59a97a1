"""The handbook as one page beside the report: a chapter a detector."""

from __future__ import annotations

from markdown_it import MarkdownIt
from markupsafe import Markup

from dashboards.content.run import RunFacts
from dashboards.markup import rendered
from dashboards.wording import CAUTIONS
from excursions.handbook import pages


def handbook_page(run: RunFacts, *, plant: str) -> str:
    """What each detector looks for, how, its limit, its false friends and what to do."""
    return rendered(
        "handbook.html",
        root="", run=run, plant=plant, cautions=CAUTIONS, chapters=[(page, _html(page.body)) for page in pages()],
    )  # fmt: skip


def _html(body: str) -> Markup:
    """The plain Markdown of a page of ours; its headings become one level deeper.  Raw HTML in it stays text."""
    deeper = "\n".join(f"#{line}" if line.startswith("## ") else line for line in body.splitlines())
    return Markup(MarkdownIt("commonmark", {"html": False}).render(deeper))
