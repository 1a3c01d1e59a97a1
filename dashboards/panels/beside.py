"""The reading of a point beside what else measured the same: laboratory samples and related points."""

from __future__ import annotations

from dashboards.content.about import About
from dashboards.content.compare import peer_rows, related_rows, sample_rows
from dashboards.panels.panel import Block, Table, Words
from dashboards.wording import Reader

SAMPLES = (
    "Sample",
    "Laboratory",
    "Reading then",
    "Reading minus laboratory",
    "That is",
    "Left after correction",
)
PEERS = ("Related point", "Reading minus it, usually", "In the last 7 days", "That is")
RELATED = ("Related point, another unit", "Usually at", "In the last 7 days", "That is")
NOTHING = (
    "No laboratory sample of this point was given, and no related point is known. Give samples with --samples FILE, "
    "or name neighbours in the register."
)


def blocks(about: About, reader: Reader) -> list[Block]:
    """A table each of samples, of points in the same unit, and of those in another."""
    made: list[Block] = []
    samples, left_out = sample_rows(about, reader)
    if samples:
        rows = [
            (row.when, row.sample, row.reading, row.difference, row.said, row.corrected or "–")
            for row in samples
        ]
        made.append(Table(head=SAMPLES, rows=rows, on_paper=3))
    if left_out:
        made.append(Words(text=f"{left_out} earlier ones are rings on the record.", look="quiet screen"))
    if peers := [(row.name, row.usual, row.newest, row.said) for row in peer_rows(about, reader)]:
        made.append(Table(head=PEERS, rows=peers, named=True))
    if related := [
        (f"{row.name}, {row.label}", row.usual, row.newest, row.said) for row in related_rows(about, reader)
    ]:
        made.append(Table(head=RELATED, rows=related, named=True))
    return made or [Words(text=NOTHING, look="nothing")]
