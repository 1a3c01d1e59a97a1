"""Calibrations in the terminal, for eighty columns, and the same as JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from statistics import NormalDist
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.calibrations import SIGNIFICANCE
from excursions.cli.answer import share, spoken
from excursions.cli.wrapping import wrapped
from excursions.conclusions import AuditFinding, Due
from excursions.measurands import MEASURANDS
from excursions.read.text.fold import plain as in_plain_letters
from excursions.records import Link, Parameter, Shift, StandardReading
from excursions.report.history import CalibrationTold, ShiftTold
from excursions.report.reader import Reader, looking
from excursions.report.result import ScanResult
from excursions.report.wording import (
    CAUSE_WORDS,
    basis_words,
    difference,
    doubt_sentence,
    event_sentence,
    parameter_unit,
    plus_minus,
)

WIDTH = 80
LEFT = 14
MOST_REASONS = 2
PLUS_MINUS = (
    f"± beside a figure is one standard uncertainty; a shift counts beyond {NormalDist().inv_cdf(1.0 - SIGNIFICANCE / 2.0):.1f} of "
    f"them, where {SIGNIFICANCE * 100:.0f} % go by chance. ± beside an error is half of its 90 % band."
)


def history_lines(
    told: Sequence[CalibrationTold],
    loose: Sequence[AuditFinding],
    result: ScanResult,
    width: int = WIDTH,
    *,
    display_units: str = "degC",
) -> list[str]:
    """Calibrations in lines of at most `width` columns, by point and probe; loose: findings without an entry."""
    tz = clock.zone(result.plant.zone)
    said = looking(result.points, Reader(tz=tz, temperature=display_units))
    lines: list[str] = []
    head = ""
    for one in told:
        c = one.calibration
        title = f"{c.point or 'no point'}  {result.plant.probe_of(c) or 'no serial number'}"
        if title != head:
            lines += [*([""] if lines else []), title]
            head = title
        lines += [
            line for row in _calibration(one, result, tz) for line in row.lines(width, said(c.point).text)
        ]
    if loose:
        lines += ["", "Without an entry"]
        rows = [(said(f.point).text, _row(f.kind, f"{f.point}: {_audit(f)}")) for f in loose]
        lines += [line for text, row in rows for line in row.lines(width, text)]
    if told:
        lines += ["", *wrapped(PLUS_MINUS, width)]
    return lines or ["No calibration in the log answers to this."]


class _row:
    """One head and its text, wrapped when the width is known."""

    def __init__(self, head: str, text: str) -> None:
        self.head, self.text = head, text

    def lines(self, width: int, words: Callable[[str], str]) -> list[str]:
        text = words(self.text)
        if width < 50:  # a narrow terminal: the head on a line of its own
            return [f"  {self.head}:", *wrapped(text, width, first="    ", then="    ")]  # fmt: skip
        first = f"  {self.head:<{LEFT}}"
        return wrapped(text, width, first=first, then=" " * (LEFT + 2))


def _calibration(one: CalibrationTold, result: ScanResult, tz: ZoneInfo) -> Iterable[_row]:
    c = one.calibration
    yield _row(c.action, clock.wall(c.time, tz) + (f" ({c.comment})" if c.comment else ""))
    if any(p.basis == "relative" for p in c.as_found.values()):  # in the words of who entered it
        yield _row("entered", _entered(c.standards))
    if c.as_found:
        yield _row("as found", _parameters(c.as_found))
    elif c.left_only:
        yield _row("as found", "not entered")
    if c.as_left:
        yield _row("as left", _parameters(c.as_left))
    for shift in one.shifts:
        yield _row("shift", _shift(shift.shift))
        if shift.shift.significant:
            yield _row("cause", _cause(shift, result, tz))
    for check in c.checks:
        yield _row("entry", check)
    for doubt in one.doubts:
        unit = next(f.unit for f in result.points if f.point.name == doubt.point)
        where = f"{doubt.point} " if doubt.point != c.point else ""
        yield _row(
            "doubt", where + doubt_sentence(doubt, unit, tz) + ("; still open" if doubt.open_end else "")
        )
    for finding in one.audit:
        yield _row("audit", f"{finding.kind}: {_audit(finding)}")
    if one.due is not None:
        yield _row("next due", _due(one.due, tz))


def _entered(standards: Iterable[StandardReading]) -> str:
    """``4.48 g/L in 4.00 g/L``: what was read in each standard, as entered."""
    return "; ".join(
        f"{s.raw:g} {s.raw_unit}".rstrip()
        + " in "
        + (
            s.label
            if in_plain_letters(s.label).casefold().endswith(s.standard_unit.casefold())
            else f"{s.label or f'{s.standard:g}'} {s.standard_unit}"
        )
        for s in standards
    )


def _parameters(parameters: dict[str, Parameter]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {difference(p.value, parameter_unit(p), p.uncertainty)}"
        + (f" {plus_minus(p.uncertainty, p.unit)}" if p.uncertainty > 0 else "")
        + (f" ({basis_words(p)})" if p.basis != "computed" else "")
        for name, p in parameters.items()
    )


def _shift(s: Shift) -> str:
    change = difference(s.change, s.unit, s.uncertainty, signed=True)
    words = "" if s.significant else ", which may be chance"
    if math.isfinite(s.reading_error):
        unit = MEASURANDS[s.measurand].unit
        off = difference(s.reading_error, unit, s.reading_error_uncertainty, signed=True)
        words = f", {off} on the reading{words}"
    return f"{s.parameter.replace('_', ' ')} {change} {plus_minus(s.uncertainty, s.unit)}{words}"


def _cause(told: ShiftTold, result: ScanResult, tz: ZoneInfo) -> str:
    if not told.links:
        return "not judged"
    first = told.links[0]
    words = f"{share(first.probability)} {_named(first, result, tz)}"
    reasons = "; ".join(first.reasons[:MOST_REASONS])
    others = [
        f"{share(link.probability)} {_named(link, result, tz)}"
        for link in told.links[1:]
        if link.probability >= 0.1
    ]
    return words + (f": {reasons}" if reasons else "") + (f". Else {', '.join(others)}" if others else "")


def _named(link: Link, result: ScanResult, tz: ZoneInfo) -> str:
    if link.cause != "event":
        return CAUSE_WORDS[link.cause]
    event = next((e for f in result.points for e in f.events if e.id == link.event), None)
    return event_sentence(event, tz) if event else "an event"


def _audit(finding: AuditFinding) -> str:
    head = "could hide a trace" if finding.kind in ("no trace", "cannot tell") else "to bear in mind"
    hidden = f" ({head}: {'; '.join(finding.could_hide)})" if finding.could_hide else ""
    return finding.sentence + hidden


def _due(due: Due, tz: ZoneInfo) -> str:
    parts = [
        f"{words} {clock.wall(when, tz)[:11].strip()}"
        for words, when in (("by the plan", due.planned), ("by the staircase", due.staircase))
        if when is not None
    ]
    return "; ".join([*parts, due.sentence])


# --- for machines ----------------------------------------------------------------------------------


def history_facts(
    told: Sequence[CalibrationTold],
    loose: Sequence[AuditFinding],
    result: ScanResult,
    *,
    display_units: str = "degC",
) -> dict[str, object]:
    """The same for machines: times ISO 8601 UTC, null where unknown; sentences as above, figures in the units of the tables."""
    reader = Reader(tz=clock.zone(result.plant.zone), temperature=display_units)
    said = looking(result.points, reader)
    return {
        "calibrations": [spoken(_facts(one), said(one.calibration.point).text) for one in told],
        "without_entry": [spoken(plain(asdict(f)), said(f.point).text) for f in loose],
    }


def _facts(one: CalibrationTold) -> object:
    facts = asdict(one.calibration) | {
        "id": one.calibration.id,
        "shifts": [
            asdict(s.shift) | {"id": s.shift.id, "change": s.shift.change, "links": [asdict(link) for link in s.links]}
            for s in one.shifts
        ],
        "doubts": [asdict(d) | {"knots": [{"time": t, "error": e} for t, e in d.knots]} for d in one.doubts],
        "audit": [asdict(f) for f in one.audit],
        "due": asdict(one.due) if one.due else None,
    }  # fmt: skip
    return plain(facts)


_TIMES = ("time", "start", "end", "last", "planned", "staircase", "limit", "limit_early", "limit_late")


def plain(value: object, name: str = "") -> object:
    """Values that JSON can hold: instants by their names as ISO 8601, what is not finite as null."""
    if isinstance(value, dict):
        return {str(key): plain(part, str(key)) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part, name) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, int) and not isinstance(value, bool) and name in _TIMES:
        return clock.iso(value)
    return value
