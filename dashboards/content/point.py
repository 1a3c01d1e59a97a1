"""What the page of one point says."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from dashboards.content.about import About, period_of
from dashboards.content.entry import in_trouble, since_now, wrong_now
from dashboards.content.fleet import AuditRow, DueRow, audit_row, due_row, in_use, since_the_run_before
from dashboards.content.found import found_shifts
from dashboards.content.heat import HeatRow, heat_rows
from dashboards.content.rows import (
    CalibrationRow,
    EventRow,
    ShiftRow,
    calibration_rows,
    event_rows,
    shift_rows,
)
from dashboards.content.run import grouped
from dashboards.content.sampling import limit_rows, sampling_words
from dashboards.wording import CAUTIONS, Reader, capital, counted, described, from_words, joined, kind_label
from excursions.digits import DEGREE
from excursions.records import Decision, FloatArray
from excursions.report.result import PointFindings

MOST_CHANGES = 6  # the rest stand in the table


@dataclass(frozen=True, slots=True, kw_only=True)
class PointContent:
    """The whole page of a point, as text and rows."""

    name: str
    slug: str
    what: str
    probe: str
    verdict: str
    sentence: str
    since: str
    since_time: str
    wrong: str
    advice: str
    caution: str
    knowledge: str
    worn: str
    changed: str
    changes: tuple[str, ...]
    reasons: tuple[str, ...]
    event: str
    period: str
    zone: str
    figure_words: str
    events: tuple[EventRow, ...]
    events_left_out: int
    shifts: tuple[ShiftRow, ...]
    calibrations: tuple[CalibrationRow, ...]
    audit: tuple[AuditRow, ...]
    due: tuple[DueRow, ...]
    ratings: str
    heat: tuple[HeatRow, ...]
    heat_left_out: int
    sampling: tuple[str, ...]
    limits: tuple[tuple[str, str, str], ...]
    decisions: tuple[Decision, ...]
    cautions: tuple[str, ...]


def point_content(about: About, reader: Reader, slug: str) -> PointContent:
    """Turn everything about one point into what its page says."""
    findings, verdict = about.findings, about.verdict
    rows, left_out = event_rows(about, reader)
    heat, heat_left_out = heat_rows(findings, reader)
    since, since_time = since_now(verdict, findings, reader)
    return PointContent(
        name=findings.point.name,
        slug=slug,
        what=described(findings.point.quantity.label, findings.point.description),
        probe=about.plant.probe_at(findings.point.name, findings.end) or "",
        verdict=verdict.verdict,
        sentence=reader.text(verdict.sentence),
        since=since,
        since_time=since_time,
        wrong=wrong_now(verdict, findings, reader, about.doubts),
        advice=reader.text(verdict.advice),
        caution=reader.text(verdict.caution),
        knowledge=reader.text(verdict.knowledge),
        worn=capital(reader.text(verdict.worn)),
        changed=since_the_run_before(about.record_before, reader),
        changes=tuple(
            capital(f"{c.change}: {reader.text(c.sentence)}") for c in about.changes[:MOST_CHANGES]
        ),
        reasons=tuple(capital(reader.text(reason)) for reason in verdict.reasons),
        event=verdict.event,
        period=period_of(findings, reader),
        zone=reader.tz.key,
        figure_words=figure_in_words(about, reader),
        events=rows,
        events_left_out=left_out,
        shifts=shift_rows(about, reader),
        calibrations=calibration_rows(about, reader),
        audit=tuple(
            audit_row(finding, reader, {}, {c.id: c.time for c in about.calibrations})
            for finding in about.audit
        ),
        due=tuple(
            due_row(due, findings.end, reader, {})
            for due in about.due
            if in_use(due, about.plant, findings.end)
        ),
        ratings=ratings_words(about, reader),
        heat=heat,
        heat_left_out=heat_left_out,
        sampling=sampling_words(findings, reader),
        limits=limit_rows(findings, reader),
        decisions=grouped(findings.decisions, reader),
        cautions=CAUTIONS,
    )


def _between(low: str, high: str) -> str:
    return f"at {low}" if low == high else f"between {low} and {high}"


def figure_in_words(about: About, reader: Reader) -> str:
    """The text alternative of the figure: what a person who cannot see it needs."""
    findings = about.findings
    parts = [
        f"{label} {_between(*(reader.amount(end, trace.unit, fine) for end in (low, high)))}"
        for name, label in (("value", findings.point.quantity.label), ("temperature", "temperature"))
        if (trace := findings.traces.get(name)) is not None
        for low, high in [_ends(trace.value)]
        for fine in [DEGREE if name == "temperature" else findings.point.fine_at(max(abs(low), abs(high)))]
        if low <= high
    ]
    text = f"{reader.moment(findings.start)} to {reader.moment(findings.end)}: " + (
        joined(parts) if parts else "no reading that could be drawn"
    )
    serious = [event for event in findings.events if in_trouble(event)]
    counts: dict[str, int] = {}
    for event in serious:
        counts[kind_label(event.kind)] = counts.get(kind_label(event.kind), 0) + 1
    told = joined([f"{count} × {label}" for label, count in sorted(counts.items())]) or "none"
    text += f". Events worth a look: {told}. {capital(counted(len(about.calibrations), 'calibration'))}"
    text += f", {counted(len(about.samples), 'laboratory sample')}."
    for doubt in about.doubts:
        end = "the end of the record" if doubt.open_end else reader.moment(doubt.end)
        text += f" Shaded: readings from {from_words(doubt, reader)} to {end} are doubtful."
    found = [reader.date(shift.time) for shift in found_shifts(findings, about.shifts)]
    return f"{text} Shifts found: {joined(found)}." if found else text


def line_key(drawn: Set[str], about: About) -> tuple[tuple[str, str], ...]:
    """(ink, words) of the kinds of line and mark that are on the figure, by what each trace is."""
    beside = joined([other.point.name for other in about.neighbours])
    rows = (
        ("reading", "reading", "value"),
        ("pencil", "dashed: corrected level with its band, an estimate", "corrected"),
        ("lab", "rings: laboratory samples", "samples"),
        ("heat", "temperature; broken: its ratings, where the scale reaches them", "temperature"),
        ("mark", "calibration", "calibration:start"),
        ("shift", "upright bar: a shift that a calibration found", "shift"),
        ("state", f"beside it: {beside}", "beside"),
    )
    shades = [("doubt", "shaded: readings to doubt")] if about.doubts else []
    if any(meta.startswith("state:") for meta in drawn):
        shades.append(("ribbon", "grey ribbon: what the point did when it did not measure"))
    return (*((ink, words) for ink, words, meta in rows if meta in drawn), *shades)


def _ends(value: FloatArray) -> tuple[float, float]:
    finite = value[np.isfinite(value)]
    return (float(finite.min()), float(finite.max())) if finite.size else (1.0, 0.0)


def ratings_words(about: About, reader: Reader) -> str:
    """Heat ratings that hold at the end of the record, and whether anybody stated them."""
    findings = about.findings
    ratings = about.plant.ratings(findings.point, findings.end)
    text = (
        f"Continuous {reader.amount(ratings.continuous_degc, 'degC')}, sterilisation "
        f"{reader.amount(ratings.sterilisation_degc, 'degC')} for {ratings.sterilisation_min:.0f} min."
    )
    return (
        f"{text} Assumed: usual values for {_kind_of_probe(findings)} that nobody stated for this one; "
        "write the probe's own ratings in the register."
        if ratings.assumed
        else f"{text} As stated in the register."
    )


def _kind_of_probe(findings: PointFindings) -> str:
    """``pH probes``; of a quantity the table does not know just probes."""
    point = findings.point
    return "probes" if point.measurand == "other" else f"{point.quantity.label} probes"
