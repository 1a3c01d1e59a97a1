"""Which pages have to be written again: those whose content is not what it was."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path

from excursions.pipeline.point import plant_around
from excursions.report.life import probes_table
from excursions.report.result import ScanResult
from excursions.site.program import text_of
from excursions.site.tasks import Task


def page_contents(result: ScanResult, tasks: Sequence[Task], display_units: str) -> dict[str, str]:
    """A hash a point of all that its page shows, but for the account of the whole run at its foot.

    An unchanged page keeps the account of the night that wrote it.
    """
    keys = {task.point.name: task.key for task in tasks}
    shown = _by_point(result)
    drawing = _drawing()
    plant = (result.plant.name, result.plant.zone, display_units, drawing)
    made = {}
    for findings in result.points:
        name = findings.point.name
        near = [keys.get(other, "") for other in findings.point.neighbours]
        total = hashlib.blake2b(digest_size=16)
        surroundings = plant_around(result.plant, findings.point)
        for word in (plant, keys[name], near, surroundings, findings.events, *shown.get(name, ())):
            total.update(repr(word).encode("utf-8", errors="surrogatepass") + b"\0")
        made[name] = total.hexdigest()
    return made


def _drawing() -> str:
    spec = find_spec("dashboards")
    return text_of(Path(spec.origin).parent) if spec and spec.origin else ""


def _by_point(result: ScanResult) -> Mapping[str, list[object]]:
    shown: dict[str, list[object]] = {}
    links: dict[str, list[object]] = {}
    for link in result.links:
        links.setdefault(link.shift, []).append(link)
    for verdict in result.verdicts:
        shown.setdefault(verdict.point, []).append(verdict)
    for rows in (result.calibrations, result.doubts, result.samples, result.audit, result.due):
        for row in rows:
            shown.setdefault(row.point, []).append(row)
    for shift in result.shifts:
        shown.setdefault(shift.point, []).extend([shift, *links.get(shift.id, ())])
    for findings in result.points:
        told = [
            (result.outcomes.get(event.id), result.remarks.get(event.id, ())) for event in findings.events
        ]
        shown.setdefault(findings.point.name, []).append(told)
    if result.comparison is not None:
        for change in result.comparison.changes:
            shown.setdefault(change.point, []).extend((result.comparison.record_end, change))
    for stay in probes_table(result).rows(named=True):
        shown.setdefault(str(stay["point"]), []).append(stay)
    return shown
