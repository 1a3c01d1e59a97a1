"""Which readings of a point are not to be taken at face value, and how wrong they are."""

from __future__ import annotations

from dashboards.content.about import About
from dashboards.content.rows import doubt_rows
from dashboards.panels.panel import Block, Link, Table, Words
from dashboards.wording import Reader

HEAD = ("From", "To", "Reading minus truth", "Out of tolerance", "Rests on")

NOTHING = "None, as far as this record goes."
NO_BAND = (
    "No stretch whose error could be worked out; what speaks against the reading stands in the answer above."
)
TOO_LITTLE = "None is known; this record is too small, or too coarse, to show most faults."


def blocks(about: About, reader: Reader) -> list[Block]:
    """A row a stretch, newest first."""
    rows = [
        (
            Link(text=row.start, href=f"#ev-{row.event}") if row.event else row.start,
            row.end,
            row.error,
            row.hours,
            ". ".join((row.basis, *row.reasons)),
        )
        for row in doubt_rows(about, reader)
    ]
    if not rows:
        return [Words(text=_none(about), look="nothing")]
    return [
        Table(head=HEAD, rows=rows, on_paper=3),
        Words(
            text="The bands hold nine times in ten. Corrected readings are estimates beside the record; the record itself stays as it is.",
            look="quiet",
        ),
    ]


def _none(about: About) -> str:
    """Why there is no row."""
    if about.verdict.verdict == "trust":
        return NOTHING
    return NO_BAND if about.verdict.event else TOO_LITTLE
