"""The account of what went in: the same facts a scan writes to ``run.json``, put together from the ledger."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from sqlite3 import Row
from typing import Any

import polars as pl

from excursions.errors import ExcursionsError
from excursions.pipeline.identity import run_facts
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.point import PointCounts
from excursions.read import FileReport, Reading
from excursions.read.model import REFUSED_SCHEMA, STATUS_SCHEMA
from excursions.read.sorting import Inputs
from excursions.report.result import ScanResult
from excursions.site.evidence import Known, kept_files
from excursions.site.inbox import piece_root
from excursions.site.work import Work


def run_of(
    work: Work, known: Known, problems: Sequence[ExcursionsError], result: ScanResult
) -> dict[str, object]:
    """The content of ``run.json``: files by the names under which they came."""
    files = kept_files(work)
    exports = [row for row in files if row["kind"] == "export"]
    reports = [FileReport(**_report(fact)) for row in exports for fact in json.loads(row["facts"])["files"]]
    held = int(work.ledger.rows("SELECT coalesce(sum(rows), 0) FROM parts")[0][0])
    repeated = max(0, sum(report.used for report in reports) - held)
    facts = run_facts(
        inputs=Inputs(ignored=_refused_files(work)),
        exports=Reading(
            series={},
            files=tuple(reports),
            refused=pl.DataFrame(schema=REFUSED_SCHEMA),
            decisions=(),
            status_words=_status_words(exports),
        ),
        logs=known.logs,
        samples=known.samples,
        counts=[PointCounts(rows=held, duplicates=repeated, conflicts=0)],
        options=ScanOptions(read=work.options),
        decisions=result.decisions,
        problems=problems,
        result=result,
    )
    register = work.site.register
    if register.exists():
        digest = hashlib.sha256(register.read_bytes()).hexdigest()
        inputs: Any = facts["inputs"]
        inputs["register"] = {"path": register.name, "sha256": digest}
    return facts


def _report(fact: dict[str, Any]) -> dict[str, Any]:
    return fact | {"notes": tuple(fact["notes"])}


def _refused_files(work: Work) -> tuple[tuple[Path, str], ...]:
    rows = work.ledger.rows(
        "SELECT name, facts FROM files WHERE state NOT IN ('in', 'new') ORDER BY name, arrival"
    )
    return tuple((Path(row["name"]), str(json.loads(row["facts"]).get("problem", ""))) for row in rows)


def _status_words(files: Sequence[Row]) -> pl.DataFrame:
    nowhere = {"file": "", "line": None}  # ledgers of earlier versions do not say where
    rows = [nowhere | word for row in files for word in json.loads(row["facts"])["words"]]
    frame = pl.DataFrame(rows, schema=STATUS_SCHEMA, orient="row")
    first = frame.group_by("tag", "word", "quality", maintain_order=True).agg(
        pl.col("count").sum(), pl.col("file", "line").first()
    )
    return first.sort("tag", "word", "quality")


def refused_rows(work: Work, known: Known) -> pl.DataFrame:
    """Every row of every kept file that could not be used, by the names under which the files came."""
    frames = [pl.DataFrame(schema=REFUSED_SCHEMA)]
    for row in kept_files(work):
        path = work.site.inside(row["kept"])
        listed = work.site.refused_of(row["sha256"])
        path = piece_root(path) or path
        if row["kind"] == "export" and row["refused"] and listed.is_file():
            frame = pl.read_csv(listed, schema=REFUSED_SCHEMA)
            named = pl.col("file").str.replace(str(path), row["name"], literal=True)
            frames.append(frame.with_columns(named))
    frames += [log.refused for log in known.logs] + [sample.refused for sample in known.samples]
    return pl.concat(frames, how="vertical_relaxed")
