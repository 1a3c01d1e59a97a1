"""The identity of a run: what went in, what was decided, with which settings and versions.

Holds no clock time and no machine path beyond what the user typed, so that the same input gives the
same bytes.
"""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import cast

import polars as pl

import excursions
from excursions import clock
from excursions.errors import ExcursionsError
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.point import PointCounts
from excursions.read import FileReport, Reading
from excursions.read.logs.gathered import ListReading
from excursions.read.logs.log import LogReading
from excursions.read.logs.samples import SampleReading
from excursions.read.sorting import Inputs
from excursions.records import Decision, short_id
from excursions.report.result import ScanResult

LIBRARIES = ("numpy", "polars", "scipy", "plotly")


def run_facts(
    *,
    inputs: Inputs,
    exports: Reading,
    logs: Sequence[LogReading],
    samples: Sequence[SampleReading],
    counts: Sequence[PointCounts],
    options: ScanOptions,
    decisions: Sequence[Decision],
    problems: Sequence[ExcursionsError],
    result: ScanResult,
) -> dict[str, object]:
    """The content of ``run.json``."""
    given: dict[str, object] = {
        "exports": [_file_facts(report) for report in exports.files],
        "calibrations": [_log_facts(log) for log in logs],
        "samples": [_log_facts(reading) for reading in samples],
        "register": _register_facts(inputs.register) if inputs.register else None,
        "ignored": [{"file": str(path), "reason": reason} for path, reason in inputs.ignored],
    }
    read = {
        key: value
        for key, value in _plain(asdict(options.read)).items()
        if key not in ("show_rows", "beside")
    }
    settings = {"read": read, "columns": dict(options.columns)}
    duplicates = sum(count.duplicates for count in counts)
    conflicts = sum(count.conflicts for count in counts)
    return {
        "run": short_id(*_digests(given), str(settings), excursions.__version__),
        "version": excursions.__version__,
        "versions": {name: _version(name) for name in LIBRARIES} | {"python": platform.python_version()},
        "settings": settings,
        "plant": {
            "name": result.plant.name,
            "zone": result.plant.zone,
            "tags": {findings.point.name: findings.point.tags for findings in result.points},
            "units": {
                f.point.name: [f.point.measurand, f.exported_unit] for f in result.points if f.exported_unit
            },
        },
        "inputs": given,
        "rows": {
            "read": sum(report.rows for report in exports.files),
            "used": sum(report.used for report in exports.files) - duplicates - conflicts,
            "duplicates": duplicates,
            "conflicts": conflicts,
            "refused": sum(report.refused for report in exports.files),
        },
        "list_rows": _list_rows([*logs, *samples]),
        "status_words": exports.status_words.to_dicts(),
        "found": _found(result),
        "inferences": [asdict(decision) for decision in decisions],
        "problems": [str(problem) for problem in problems],
    }


def _list_rows(readings: Sequence[ListReading]) -> dict[str, int]:
    """Rows of calibration logs and laboratory samples: read == used + refused."""
    return {
        "read": sum(reading.rows for reading in readings),
        "used": sum(reading.used for reading in readings),
        "refused": sum(reading.refused.height for reading in readings),
    }


def _file_facts(report: FileReport) -> dict[str, object]:
    facts = _plain(asdict(report))
    del facts["shown"]
    for end in ("first", "last"):
        if isinstance(facts.get(end), int):
            facts[end] = clock.iso(facts[end])  # type: ignore[arg-type]
    return facts


def _register_facts(path: Path) -> dict[str, str]:
    return {"path": str(path), "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}


def _digests(inputs: Mapping[str, object]) -> list[str]:
    """SHA-256 of every input in a fixed order: another log or register is another run."""
    register = inputs["register"]
    rows = [inputs["exports"], inputs["calibrations"], inputs["samples"], [register] if register else []]
    return [str(file["sha256"]) for row in rows for file in cast("list[dict[str, object]]", row)]


def _log_facts(reading: ListReading) -> dict[str, object]:
    return {
        "path": str(reading.path),
        "sha256": reading.sha256,
        "rows": reading.rows,
        "used": reading.used,
        "refused": reading.refused.height,
    }


def _found(result: ScanResult) -> dict[str, object]:
    kinds: dict[str, int] = {}
    for findings in result.points:
        for event in findings.events:
            key = f"{event.kind}, {event.origin}"
            kinds[key] = kinds.get(key, 0) + 1
    return {
        "points": len(result.points),
        "events": dict(sorted(kinds.items())),
        "calibrations": len(result.calibrations),
        "shifts": sum(shift.significant for shift in result.shifts),
        "doubt_windows": len(result.told_doubts),
        "verdicts": {
            v: sum(row.verdict == v for row in result.verdicts)
            for v in sorted({r.verdict for r in result.verdicts})
        },
    }


def _plain(value: object) -> dict[str, object]:
    """Only what JSON can hold: paths and enums as text, tuples as lists."""
    assert isinstance(value, dict)
    return {str(key): _plain_value(item) for key, item in value.items()}


def _plain_value(value: object) -> object:
    if isinstance(value, dict):
        return _plain(value)
    if isinstance(value, (list, tuple)):
        return [_plain_value(item) for item in value]
    if isinstance(value, (str, int, float, bool)) or value is None:
        return value
    if isinstance(value, pl.DataFrame):
        return value.to_dicts()
    return str(value)


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"
