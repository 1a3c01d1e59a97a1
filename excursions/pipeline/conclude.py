"""From the findings of all points to shifts, links, doubt, verdicts: the part of a scan that needs them together."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from excursions import calibrations as calibration_room
from excursions import clock
from excursions import link as link_room
from excursions.pipeline.evidence import Evidence
from excursions.pipeline.inputs import sample_pins
from excursions.plant import Plant
from excursions.records import (
    NOT_PUT_RIGHT,
    Calibration,
    Decision,
    Doubt,
    Event,
    Outcomes,
)
from excursions.report.result import PointFindings, ScanResult, Verdict
from excursions.report.telling import weighed_doubts
from excursions.report.verdict import judge, order


def conclude(evidence: Evidence, points: Sequence[PointFindings]) -> ScanResult:
    """From the points' events and the calibration entries to shifts, links, doubt and verdicts."""
    entries, strange = calibration_room.set_aside(evidence.entries, evidence.plant)
    evidence = dataclasses.replace(evidence, decisions=(*evidence.decisions, *strange))
    evaluated = calibration_room.evaluate(entries, evidence.plant)
    seen = calibration_room.recognise_exchanges(
        evaluated, evidence.plant, [event for findings in points for event in findings.events]
    )
    plant, evaluated = seen.plant, seen.calibrations
    points = [
        with_inferences(_name_probes(findings, plant), evidence.decisions, plant) for findings in points
    ]
    points = _shared_moves(points, plant)
    levels = {findings.point.name: findings.levels for findings in points}
    evaluated = link_room.with_shown(evaluated, levels, plant)
    events = [event for findings in points for event in findings.events]
    shifts = calibration_room.shifts(evaluated, plant, levels)
    weighing = link_room.weigh(shifts, events, plant, levels)
    links = link_room.attribute(shifts, events, plant, levels, weighing=weighing)
    audited = link_room.audit(
        evaluated,
        {findings.point.name: findings.states for findings in points},
        {findings.point.name: findings.sampling for findings in points},
        plant,
        levels,
    )
    links = link_room.with_course(links, shifts, evaluated, levels, _least_steps(points))
    links = link_room.with_misread(links, shifts, evaluated, audited, clock.zone(plant.zone))
    outcomes = link_room.outcome(
        events, shifts, links, evaluated, seen.exchanges, levels, tz=clock.zone(plant.zone)
    )
    pins = sample_pins(evidence.laboratory)
    doubts = link_room.doubt_windows(
        shifts, events, evaluated, levels, plant, pins, weighing=weighing,
        kept={finding.calibration for finding in audited if finding.kind == "not taken over"},
        standing={event for event, (state, _) in outcomes.items() if state == NOT_PUT_RIGHT},
    )  # fmt: skip
    exchanged = tuple(link_room.exchange_doubts(seen.exchanges, events, levels, plant, weighing, pins))
    logs = {f.point.name: [c for c in evaluated if c.point == f.point.name] for f in points}
    doubts = _weighed(link_room.told_once(doubts, exchanged), points, logs, outcomes)
    chance = calibration_room.chance_remark(shifts)
    found = (decision for findings in points for decision in findings.decisions)
    return ScanResult(
        plant=plant,
        points=tuple(points),
        verdicts=_verdicts(points, doubts, logs, outcomes, clock.zone(plant.zone)),
        calibrations=evaluated,
        shifts=shifts,
        links=links,
        doubts=doubts,
        audit=audited,
        lessons=link_room.fleet_heat(shifts, events, plant),
        due=link_room.next_due(evaluated, shifts, levels, plant),
        outcomes=outcomes,
        samples=tuple(sample for rows in evidence.laboratory.values() for sample in rows),
        decisions=tuple(
            dict.fromkeys((*evidence.decisions, *seen.decisions, *([chance] if chance else []), *found))
        ),
    )


def _least_steps(points: Sequence[PointFindings]) -> dict[str, float]:
    """The smallest change from one sample to the next that is told at each point, where the record can show one."""
    return {
        findings.point.name: limit.at_once if math.isfinite(limit.at_once) else limit.size
        for findings in points
        for limit in findings.limits
        if limit.kind == "step" and limit.is_stated
    }


def _verdicts(
    points: Sequence[PointFindings],
    doubts: Sequence[Doubt],
    logs: Mapping[str, Sequence[Calibration]],
    outcomes: Outcomes,
    tz: ZoneInfo,
) -> tuple[Verdict, ...]:
    """The answer about every point at the end of the record, worst first."""
    newest = max((findings.end for findings in points if findings.samples), default=None)
    judged = []
    for findings in points:
        name = findings.point.name
        mine = [doubt for doubt in doubts if doubt.point == name]
        judged.append(
            judge(findings, doubts=mine, calibrations=logs[name], outcomes=outcomes, tz=tz, newest=newest)
        )
    return order(judged)


def _weighed(
    doubts: Sequence[Doubt],
    points: Sequence[PointFindings],
    logs: Mapping[str, Sequence[Calibration]],
    outcomes: Outcomes,
) -> tuple[Doubt, ...]:
    """The windows with why some are too small to be told; one at a point without a record rests on its calibration alone."""
    at = {findings.point.name: findings for findings in points}
    kept = [doubt for doubt in doubts if doubt.point not in at]
    for name, findings in at.items():
        mine = [doubt for doubt in doubts if doubt.point == name]
        kept += weighed_doubts(mine, findings, calibrations=logs[name], outcomes=outcomes)
    return tuple(sorted(kept, key=lambda d: (d.point, d.start, d.probe)))


def with_inferences(findings: PointFindings, decisions: Sequence[Decision], plant: Plant) -> PointFindings:
    """The point's findings with everything that was inferred or assumed for it: each once, in a fixed order.

    That is what the register was silent on (measurand, unit, pair), how times without a zone were read, and
    heat ratings that nobody stated.
    """
    about = {findings.point.name, *findings.point.tags.values()}
    told = [row for row in decisions if row.subject in about or "--tz" in row.option]
    every = dict.fromkeys((*told, *_assumed_ratings(findings, plant), *findings.decisions))
    return dataclasses.replace(findings, decisions=tuple(every))


def _assumed_ratings(findings: PointFindings, plant: Plant) -> tuple[Decision, ...]:
    ratings = plant.ratings(findings.point, findings.end)
    if not ratings.assumed or not findings.point.temperature:
        return ()
    what = (
        f"heat ratings {ratings.continuous_degc:g} °C always and {ratings.sterilisation_degc:g} °C "
        f"for {ratings.sterilisation_min:g} min"
    )
    return (
        Decision(
            subject=findings.point.name,
            what=what,
            why=f"nobody states both; what is missing is the class default of {findings.point.quantity.label}",
            option="rating_continuous_degc and rating_sterilisation_degc of the probe or the point in the register",
        ),
    )


def _shared_moves(points: Sequence[PointFindings], plant: Plant) -> list[PointFindings]:
    """Findings with the steps that several points of one quantity shared laid to the process, those in which two
    neighbours part to one of them, and standstills that an outage of the export drew to the record."""
    events = [event for findings in points for event in findings.events]
    spans = {findings.point.name: (findings.start, findings.end) for findings in points}
    now: dict[str, list[Event]] = {}
    shared = link_room.laid_to_process(link_room.laid_to_export(events), plant, spans)
    for event in link_room.weighed_in_pairs(shared, plant):
        now.setdefault(event.point, []).append(event)
    return [
        dataclasses.replace(findings, events=tuple(now.get(findings.point.name, ()))) for findings in points
    ]


def _name_probes(findings: PointFindings, plant: Plant) -> PointFindings:
    """Write on each event which probe sat at the point when it began."""
    name = findings.point.name
    return dataclasses.replace(
        findings,
        events=tuple(
            dataclasses.replace(event, probe=plant.probe_at(name, event.start) or event.probe)
            for event in findings.events
        ),
    )
