"""The scoreboard as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

import numpy as np

from excursions.clock import NS_PER_S, iso
from excursions.kinds import KINDS
from tests.benchmarks.limits import NAMES, size_class
from tests.benchmarks.scoring import ABRUPT, Judged, Match, Score, reliability


class Scored(Protocol):
    """What a table needs of a scored point."""

    @property
    def preset(self) -> str: ...
    @property
    def measurand(self) -> str: ...
    @property
    def score(self) -> Score: ...
    @property
    def samples(self) -> int: ...
    @property
    def seconds(self) -> float: ...


def report(done: Sequence[Scored], *, every: bool) -> str:
    """All tables one under the other; `every` adds each miss above the limit and each false fault."""
    matches = [m for d in done for m in d.score.matches]
    judged = [j for d in done for j in d.score.judged]
    years = sum(d.score.point_years for d in done)
    parts = [
        by_kind(matches),
        by_group(done, "preset"),
        by_group(done, "measurand"),
        false_table(judged, years),
        reliability_table(judged),
        by_claim(judged),
    ]
    parts += [misses(matches), falses(judged)] if every else []
    return "\n\n".join(parts)


def grid(head: Sequence[str], rows: Iterable[Sequence[str]], title: str) -> str:
    """A plain table with right-aligned figures."""
    table = [list(head), *map(list, rows)]
    width = [max(len(row[k]) for row in table) for k in range(len(head))]
    lines = [
        "  ".join(
            cell.ljust(w) if k == 0 else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(row, width, strict=True))
        )
        for row in table
    ]
    return "\n".join([title, lines[0], "-" * len(lines[0]), *lines[1:]])


def _share(rows: Sequence[Match]) -> str:
    return f"{sum(m.found is not None for m in rows)}/{len(rows)}" if rows else "."


def by_kind(matches: Sequence[Match]) -> str:
    """Recall by kind and size class, share named rightly, seen with another origin, onset error."""
    rows = []
    for kind in [k for k in KINDS if any(m.row.kind == k for m in matches)]:
        mine = [m for m in matches if m.row.kind == kind]
        above = [m for m in mine if m.relative >= 1]
        cells = [_share([m for m in mine if size_class(m.relative) == k]) for k in range(len(NAMES))]
        found = [m for m in above if m.found]
        recall = f"{len(found) / len(above):.2f}" if above else "."
        blamed = f"{sum(m.blamed for m in found) / len(above):.2f}" if above else "."
        named = f"{sum(m.named for m in found) / len(found):.2f}" if found else "."
        other = str(sum(m.found is None and m.seen is not None for m in above)) if above else "."
        unseen = str(sum(size_class(m.relative) < 0 for m in mine))
        rows.append([kind, *cells, unseen, recall, blamed, named, other, _onset(found, kind)])
    above = [m for m in matches if m.relative >= 1]
    total = f"{sum(m.found is not None for m in above) / len(above):.3f}" if above else "."
    head = [
        "kind",
        *NAMES,
        "cannot show",
        "recall >= limit",
        "probe named",
        "kind named",
        "other origin",
        "onset error, median",
    ]
    return grid(
        head,
        rows,
        f"Found, by kind and size over its limit (all kinds at or above the limit: {total})",
    )


def _onset(found: Sequence[Match], kind: str) -> str:
    """Median error of the onset: in samples for abrupt kinds, in per cent of the length for the others."""
    if not found:
        return "."
    if kind in ABRUPT:
        return f"{np.median([abs(m.onset_error_s) / m.interval_s for m in found]):.1f} samples"
    length = [(m.row.end - m.row.start) / NS_PER_S for m in found]
    return f"{100 * np.median([abs(m.onset_error_s) / n for m, n in zip(found, length, strict=True)]):.0f} % of length"


def by_group(done: Sequence[Scored], name: str) -> str:
    """Recall above the limit, false probe faults per point-year and speed by preset or measurand."""
    rows = []
    for key in dict.fromkeys(getattr(d, name) for d in done):
        mine = [d for d in done if getattr(d, name) == key]
        above = [m for d in mine for m in d.score.matches if m.relative >= 1]
        years = sum(d.score.point_years for d in mine)
        false = sum(j.false for d in mine for j in d.score.judged)
        events = sum(len(d.score.judged) for d in mine)
        speed = sum(d.samples for d in mine) / max(sum(d.seconds for d in mine), 1e-9) / 1e6
        rows.append(
            [
                key,
                f"{years:.1f}",
                str(len(above)),
                _share(above),
                f"{false / years:.2f}",
                f"{events / years:.0f}",
                f"{speed:.2f}",
            ]
        )
    head = [
        name,
        "point-years",
        "faults >= limit",
        "found",
        "false/point-year",
        "events/point-year",
        "Msamples/s",
    ]
    return grid(head, rows, f"By {name}")


def false_table(judged: Sequence[Judged], years: float) -> str:
    """False probe faults by the kind they claim and what they lie beside."""
    false = [j for j in judged if j.false]
    rows = []
    for kind in [k for k in KINDS if any(j.event.kind == k for j in false)]:
        mine = [j for j in false if j.event.kind == kind]
        beside = sorted({j.beside or "nothing" for j in mine})
        said = ", ".join(f"{b} {sum((j.beside or 'nothing') == b for j in mine)}" for b in beside)
        rows.append([kind, str(len(mine)), f"{len(mine) / years:.2f}", said])
    return grid(
        ["kind claimed", "false", "per point-year", "beside"],
        rows,
        f"False probe faults: {len(false)} in {years:.1f} point-years, {len(false) / max(years, 1e-9):.2f} per point-year",
    )


def reliability_table(judged: Sequence[Judged]) -> str:
    """Of the events given confidence p, the share that is right."""
    parts = []
    for routine, title in (
        (False, "Reliability of the confidence, events not called routine (undecided left out)"),
        (True, "The same of the events called routine"),
    ):
        rows = [
            [f"{said:.2f}", f"{right:.2f}", f"{error:.2f}", str(count)]
            for said, right, count, error in reliability(judged, routine=routine)
        ]
        parts.append(grid(["confidence said", "share right", "standard error", "events"], rows, title))
    return "\n\n".join(parts)


def by_claim(judged: Sequence[Judged]) -> str:
    """Per kind and origin claimed: events, mean confidence said, share right."""
    rows = []
    for kind in KINDS:
        for origin in ("probe", "process", "record"):
            mine = [
                j for j in judged if j.event.kind == kind and j.event.origin == origin and j.right is not None
            ]
            if mine:
                said = float(np.mean([j.event.confidence for j in mine]))
                right = float(np.mean([bool(j.right) for j in mine]))
                rows.append([kind, origin, str(len(mine)), f"{said:.2f}", f"{right:.2f}"])
    return grid(
        ["kind", "origin", "events", "confidence said", "share right"],
        rows,
        "What was claimed, and how often rightly",
    )


def misses(matches: Sequence[Match]) -> str:
    """Every fault at or above its limit that was not found."""
    rows = [
        [m.row.point, m.row.kind, m.row.mode, iso(m.row.start), f"{(m.row.end - m.row.start) / 3.6e12:.2f} h", f"{m.row.size:.4g} {m.row.unit}", f"{m.relative:.1f}", f"{m.seen.origin} {m.seen.confidence:.2f}" if m.seen else "not seen"]
        for m in matches
        if m.found is None and m.relative >= 1
    ]  # fmt: skip
    return grid(
        ["point", "kind", "mode", "start", "lasts", "size", "over limit", "seen as"],
        rows,
        "Missed at or above the limit",
    )


def falses(judged: Sequence[Judged]) -> str:
    """Every false probe fault."""
    rows = [
        [j.event.point, j.event.kind, iso(j.event.start), f"{(j.event.end - j.event.start) / 3.6e12:.2f} h", f"{j.event.size:.4g} {j.event.size_unit}", f"{j.event.confidence:.2f}", j.beside or "nothing"]
        for j in judged
        if j.false
    ]  # fmt: skip
    return grid(
        ["point", "kind", "start", "lasts", "size", "confidence", "beside"], rows, "False probe faults"
    )
