"""New rows into the months they belong to: a part of their own, or one in place of those that were there."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from excursions.site.archive import (
    MOST_PIECES,
    NewPart,
    Part,
    PartDamagedError,
    Rows,
    cut,
    joined,
    load,
    months_of,
    new_part,
    resolved,
)
from excursions.site.damage import mend
from excursions.site.work import Ranks, Work, file_ranks, live_parts


def merged(
    work: Work, read: Mapping[str, Sequence[Rows]], homes: Mapping[str, str]
) -> tuple[list[NewPart], list[Part]]:
    """Parts to write and parts they replace."""
    ranks = file_ranks(work.ledger)
    months: dict[tuple[str, str], dict[str, Rows]] = {}
    for tag in sorted(read):
        rows = resolved(joined(read[tag]), ranks)
        for month, start, end in months_of(rows.time):
            months.setdefault((homes[tag], month), {})[tag] = cut(rows, start, end)
    fresh: list[NewPart] = []
    gone: list[Part] = []
    live = _live_by_month(work, {month for _, month in months})
    for (home, month), tags in sorted(months.items()):
        made, replaced = _merge_month(work, home, month, tags, live.get((home, month), []), ranks)
        fresh += made
        gone += replaced
    return fresh, gone


def _live_by_month(work: Work, months: Collection[str]) -> dict[tuple[str, str], list[Part]]:
    """Live parts of these months by point and month: one walk over the ledger, however many points there are."""
    found: dict[tuple[str, str], list[Part]] = {}
    for month in sorted(months):
        for part in live_parts(work.ledger, "month = ?", (month,)):
            found.setdefault((part.home, month), []).append(part)
    return found


def _merge_month(
    work: Work,
    home: str,
    month: str,
    tags: dict[str, Rows],
    live: Sequence[Part],
    ranks: Ranks,
) -> tuple[list[NewPart], list[Part]]:
    if not live:
        return [new_part(home, month, tags)], []
    if len(live) < MOST_PIECES and _comes_after(tags, live):
        return [new_part(home, month, tags)], []
    old: dict[str, list[Rows]] = {}
    replaced = []
    for part in live:
        try:
            for tag, rows in load(work.site.root, part).items():
                old.setdefault(tag, []).append(rows)
            replaced.append(part)
        except PartDamagedError:
            mend(work, part)
    merged = {
        tag: resolved(joined([*old.get(tag, []), *([tags[tag]] if tag in tags else [])]), ranks)
        for tag in {*old, *tags}
    }
    made = new_part(home, month, merged)
    if len(replaced) == len(live) and _adds_nothing(merged, old, live):
        return [], []
    return [made], replaced


def _comes_after(tags: Mapping[str, Rows], live: Sequence[Part]) -> bool:
    """Whether all new rows lie after those of the same tag: then they may be a part of their own."""
    last = {
        tag: max(part.spans[tag][1] for part in live if tag in part.spans)
        for part in live
        for tag in part.spans
    }
    return all(int(rows.time[0]) > last[tag] for tag, rows in tags.items() if tag in last)


def _adds_nothing(
    merged: Mapping[str, Rows], old: Mapping[str, Sequence[Rows]], live: Sequence[Part]
) -> bool:
    """Whether the new rows were all there already, from the same files."""
    if len(live) >= MOST_PIECES or set(merged) != set(old):
        return False
    for tag, rows in merged.items():
        before = joined(sorted(old[tag], key=lambda piece: int(piece.time[0])))
        if not (
            np.array_equal(rows.time, before.time)
            and np.array_equal(rows.file, before.file)
            and np.array_equal(rows.value, before.value, equal_nan=True)
            and np.array_equal(rows.quality, before.quality)
        ):
            return False
    return True
