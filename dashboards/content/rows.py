"""Rows of the tables on a point's page: events, shifts with their causes, calibrations, doubtful readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboards.content.about import About
from dashboards.content.entry import in_trouble
from dashboards.wording import (
    CAUSE_WORDS,
    ORIGIN_WORDS,
    PARAMETER_WORDS,
    SEVERITY_WORDS,
    Reader,
    capital,
    counted,
    figure_words,
    from_words,
    kind_label,
    size_words,
)
from excursions.clock import duration_text
from excursions.digits import number, percent, reckoned, supported
from excursions.kinds import HEAT_KINDS
from excursions.records import (
    NOT_BORNE_OUT,
    SETTLED,
    SEVERITY_RANK,
    SHOWED_IT,
    Calibration,
    Doubt,
    Event,
    Link,
    Parameter,
    Shift,
)
from excursions.report.result import Remark
from excursions.report.telling import became, is_live
from excursions.report.wording import basis_words, parameter_unit

# Figures that the evidence beside them says in a sentence already.
SAID = frozenset(
    [
        "before",
        "after",
        "transition_s",
        "cycles_after",
        "cycles_before",
        "noise",
        "noise_before",
        "held_s",
        "samples",
        "count",
        "longest_h",
        "stretches",
        "period_s",
        "share_of_samples",
        "missing_share",
        "samples_bad",
        "minutes_wrong_min",
        "before_degc",
        "after_degc",
        "cooling_rate_k_per_min",
    ]
)
LEAST_CAUSES, LEAST_PROBABILITY = 2, 0.01
MOST_ON_PAPER = 4
MOST_ROWS = 1_200  # beyond this a page stops being one; the tables beside it hold every event


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """One event: text as shown, and numbers to sort by."""

    id: str
    kind: str
    label: str
    sentence: str
    origin: str
    severity: str
    severity_rank: int
    start: str
    start_sort: int
    end: str
    lasting: str
    lasting_sort: float
    size: str
    size_sort: float
    sure: str
    sure_sort: float
    after: str
    after_why: str
    remarks: tuple[str, ...]
    probe: str
    evidence: tuple[str, ...]
    figures: tuple[str, ...]
    serious: bool
    paper_extra: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseRow:
    """One candidate cause of a shift."""

    cause: str
    event: str
    share: str
    probability: float
    predicted: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftRow:
    """One shift between two calibrations and what may have caused it."""

    id: str
    parameter: str
    probe: str
    start: str
    end: str
    before: str
    after: str
    change: str
    said: str
    effect: str
    significant: bool
    causes: tuple[CauseRow, ...]
    unlikely: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRow:
    """One calibration: found, left, and what does not fit."""

    id: str
    when: str
    action: str
    probe: str
    found: tuple[str, ...]
    left: tuple[str, ...]
    checks: tuple[str, ...]
    comment: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtRow:
    """One window of readings not to be taken at face value."""

    start: str
    end: str
    error: str
    hours: str
    basis: str
    event: str
    reasons: tuple[str, ...]


def event_rows(about: About, reader: Reader) -> tuple[tuple[EventRow, ...], int]:
    """Newest first, and how many were left out because there are too many for a page (least serious first)."""
    events = about.findings.events
    kept = sorted(events, key=lambda e: (not in_trouble(e), -SEVERITY_RANK[e.severity], -e.start, e.kind))[
        :MOST_ROWS
    ]
    on_paper = {event.id for event in kept[:MOST_ON_PAPER] if in_trouble(event)}
    kept.sort(key=lambda e: (-e.start, e.kind))
    return tuple(_event_row(event, about, reader, on_paper=event.id in on_paper) for event in kept), len(
        events
    ) - len(kept)


def _event_row(event: Event, about: About, reader: Reader, *, on_paper: bool) -> EventRow:
    after, why = about.outcomes.get(event.id, ("", ""))
    lasting = (event.end - event.start) / 1e9
    return EventRow(
        id=event.id,
        kind=event.kind,
        label=kind_label(event.kind),
        sentence=reader.event(event),
        origin=ORIGIN_WORDS.get(event.origin, event.origin),
        severity=_weight(event, about),
        severity_rank=SEVERITY_RANK[event.severity],
        start=("before " if event.open_start else "") + reader.moment(event.start),
        start_sort=event.start // 1_000_000_000,
        end="not over at the end of the record" if event.open_end else reader.moment(event.end),
        lasting=_lasting(event),
        lasting_sort=lasting,
        size=size_words(event, reader),
        size_sort=abs(event.size) if math.isfinite(event.size) else -1.0,
        sure=percent(event.confidence),
        sure_sort=event.confidence,
        after=_became(after, event),
        after_why=reader.text(why),
        remarks=tuple(_remark(one, reader) for one in about.remarks.get(event.id, ())),
        probe=event.probe,
        evidence=tuple(capital(reader.text(fact)) for fact in event.evidence),
        figures=_figures(event, about.findings.unit, reader),
        serious=in_trouble(event),
        paper_extra=not on_paper,
    )


def _remark(one: Remark, reader: Reader) -> str:
    """What a person wrote, and when; their words stay as they wrote them."""
    did = f"{'Closed' if one.act == 'close' else 'Noted'} {reader.date(one.written)}"
    return f"{did}: {one.text}" if one.text else did


def _became(after: str, event: Event) -> str:
    """What became of an event, in words: what samples saw is not refuted by a calibration that no longer did."""
    if after == NOT_BORNE_OUT and any(witness.said == SHOWED_IT for witness in event.witnesses):
        return "shown by samples, not by the calibration after it"
    return after


def _weight(event: Event, about: About) -> str:
    """What an event asks for now: what is settled or over asks for nothing, and what leaves the verdict alone for no act."""
    if became(about.outcomes, event.id) in SETTLED:
        return "calibrated since"
    if not in_trouble(event):
        return SEVERITY_WORDS["note"]
    if event.origin == "record" or not is_live(event, about.calibrations, about.outcomes):
        return "over"
    trusted = about.verdict.verdict == "trust"
    return SEVERITY_WORDS["check" if trusted else event.severity]


def _lasting(event: Event) -> str:
    """How long an event lasted; of a step, whose new level stays, how long the way there took."""
    seconds = (event.end - event.start) / 1e9
    way = event.details.get("transition_s", 0.0)
    if seconds < 1 or (seconds <= way + 1 and not (event.open_start or event.open_end)):
        return f"within {duration_text(way)}" if way >= 1 else "at once"
    return ("over " if event.open_start or event.open_end else "") + duration_text(seconds)


def _figures(event: Event, unit: str, reader: Reader) -> tuple[str, ...]:
    """Further figures in words, in the point's unit where they have none; those of heat have a table of their own."""
    if event.kind in HEAT_KINDS:
        return ()
    return tuple(
        capital(figure_words(name, value, reader, unit))
        for name, value in sorted(event.details.items())
        if name not in SAID and math.isfinite(value)
    )


def shift_rows(about: About, reader: Reader) -> tuple[ShiftRow, ...]:
    """Newest first, significant ones before the others of the same day."""
    ordered = sorted(about.shifts, key=lambda s: (-s.end, not s.significant, s.parameter))
    return tuple(_shift_row(shift, about, reader) for shift in ordered)


def _shift_row(shift: Shift, about: About, reader: Reader) -> ShiftRow:
    error, band = shift.reading_error, shift.reading_error_uncertainty
    unit = about.findings.unit
    return ShiftRow(
        id=shift.id,
        parameter=PARAMETER_WORDS.get(shift.parameter, shift.parameter),
        probe=shift.probe,
        start=reader.moment(shift.start),
        end=reader.moment(shift.end),
        before=reader.amount(shift.before, shift.unit, shift.uncertainty),
        after=reader.amount(shift.after, shift.unit, shift.uncertainty),
        change=f"{reader.amount(reckoned(shift.after, shift.before, shift.uncertainty), shift.unit, shift.uncertainty, signed=True)}"
        f" ± {reader.half(shift.uncertainty, shift.unit)}",
        said="a real change" if shift.significant else "within its uncertainty: not a shift",
        effect=(
            f"reading off by {reader.difference(error, unit, band, signed=True)}"
            + (f" ± {reader.half(band, unit)}" if math.isfinite(band) else "")
            if math.isfinite(error)
            else "effect on the reading not known"
        ),
        significant=shift.significant,
        unlikely=_unlikely(shift, about),
        causes=_cause_rows(shift, [link for link in about.links if link.shift == shift.id], about, reader),
    )


def _cause_rows(shift: Shift, links: Sequence[Link], about: About, reader: Reader) -> tuple[CauseRow, ...]:
    events = {event.id: event for event in about.findings.events}
    rows = []
    for link in sorted(_worth_naming(links), key=lambda row: (row.rank, row.event)):
        event = events.get(link.event)
        words = CAUSE_WORDS.get(link.cause, link.cause)
        rows.append(
            CauseRow(
                cause=reader.event(event) if event else words,
                event=link.event if event else "",
                share=percent(link.probability),
                probability=link.probability,
                predicted=reader.amount(link.predicted, shift.unit, link.predicted_uncertainty, signed=True)
                + (
                    f" ± {reader.half(link.predicted_uncertainty, shift.unit)}"
                    if math.isfinite(link.predicted_uncertainty)
                    else ""
                ),
                reasons=tuple(reader.text(reason) for reason in link.reasons),
            )
        )
    return tuple(rows)


def _worth_naming(links: Sequence[Link]) -> list[Link]:
    """The first causes, and any other that is not next to impossible."""
    return [link for link in links if link.rank <= LEAST_CAUSES or link.probability >= LEAST_PROBABILITY]


def _unlikely(shift: Shift, about: About) -> str:
    mine = [link for link in about.links if link.shift == shift.id]
    left = len(mine) - len(_worth_naming(mine))
    return (
        f"{capital(counted(left, 'other cause'))} with less than 1 % each, in tables/links.csv."
        if left
        else ""
    )


def calibration_rows(about: About, reader: Reader) -> tuple[CalibrationRow, ...]:
    """Newest first."""
    return tuple(
        _calibration_row(c, reader) for c in sorted(about.calibrations, key=lambda c: (-c.time, c.probe))
    )


def _calibration_row(calibration: Calibration, reader: Reader) -> CalibrationRow:
    return CalibrationRow(
        id=calibration.id,
        when=reader.moment(calibration.time),
        action="verification, nothing changed"
        if calibration.action == "verification"
        else calibration.action,
        probe=calibration.probe,
        found=tuple(_parameter(name, row, reader) for name, row in calibration.as_found.items())
        or ("not entered",) * calibration.left_only,
        left=tuple(_parameter(name, row, reader) for name, row in calibration.as_left.items()),
        checks=tuple(capital(reader.text(check)) for check in calibration.checks),
        comment=calibration.comment,
    )


def _parameter(name: str, row: Parameter, reader: Reader) -> str:
    text = (
        f"{PARAMETER_WORDS.get(name, name)} {reader.amount(row.value, parameter_unit(row), row.uncertainty)}"
    )
    if math.isfinite(row.uncertainty) and row.uncertainty > 0:
        text += f" ± {reader.half(row.uncertainty, parameter_unit(row))}"
    return f"{text} ({basis_words(row)})"


def doubt_rows(about: About, reader: Reader) -> tuple[DoubtRow, ...]:
    """Newest first."""
    rows = []
    for doubt in sorted(about.doubts, key=lambda d: (-d.start, d.end)):
        rows.append(
            DoubtRow(
                start=from_words(doubt, reader),
                end="not over" if doubt.open_end else reader.moment(doubt.end),
                error=_course(doubt, about.findings.unit, reader),
                hours=f"{number(doubt.hours_out_of_tolerance, max(doubt.hours_out_of_tolerance * 0.02, 0.5))} h"
                if math.isfinite(doubt.hours_out_of_tolerance)
                else "not known",
                basis=reader.text(doubt.basis),
                event=doubt.event,
                reasons=tuple(capital(reader.text(reason)) for reason in doubt.reasons),
            )
        )
    return tuple(rows)


def _course(doubt: Doubt, unit: str, reader: Reader) -> str:
    """How the error went: at first, at most where that is neither end, and at last."""
    knots = [(e, b) for (_, e), b in zip(doubt.knots, doubt.band, strict=False) if math.isfinite(e)]
    if not knots:
        return "not known"

    def said(error: float, band: float) -> str:
        return f"{reader.difference(error, unit, band, signed=True)} ± {reader.half(band, unit)}"

    first, last = said(*knots[0]), said(*knots[-1])
    worst, band = max(knots, key=lambda knot: abs(knot[0]))
    ends = first if first == last else f"from {first} to {last}"
    beyond = all(abs(supported(worst, band)) > abs(supported(end, band)) for end, _ in (knots[0], knots[-1]))
    return f"{ends}, at most {said(worst, band)}" if beyond else ends
