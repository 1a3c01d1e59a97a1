"""What is known beside the signals: plant, calibration entries and samples, from the register and all kept files."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Row

import polars as pl

from excursions.detect.tuning import tunable
from excursions.errors import ExcursionsError
from excursions.pipeline.evidence import Evidence, evidence_of
from excursions.plant import Plant
from excursions.read import ReadOptions
from excursions.read.logs.log import LogReading, read_calibrations
from excursions.read.logs.names import settle_log, settle_samples
from excursions.read.logs.samples import SampleReading, read_samples
from excursions.read.members import MARK
from excursions.records import CalibrationEntry, Decision, TagSeries
from excursions.register import infer_plant, load_register, looks_of, usual_levels
from excursions.site.archive import Part, load_series, tags_of_shared_looks, thinned
from excursions.site.durable import begins_with
from excursions.site.inbox import reading_order
from excursions.site.layout import Site
from excursions.site.work import Work, live_parts, stated_plant

# Up to here the plant is worked out from all rows, beyond from a look at each quarter day.
WHOLE_ROWS = 20_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Evidence, the logs and lists it came from, and everything to mend that was met."""

    evidence: Evidence
    logs: tuple[LogReading, ...]
    samples: tuple[SampleReading, ...]
    problems: tuple[ExcursionsError, ...]


def gather_evidence(work: Work) -> Known:
    """Plant, entries and samples as a scan of one folder with all kept files would have them."""
    tags = [row["tag"] for row in work.ledger.rows("SELECT tag FROM tags ORDER BY tag")]
    loaded = (
        load_register(work.site.register, tags=tags, tunable=tunable) if work.site.register.exists() else None
    )
    seen = looks_of(looks(work))
    plant, inferred = infer_plant(seen, loaded.plant if loaded else None)
    if work.zone:
        plant = dataclasses.replace(plant, zone=work.zone)
    files = kept_files(work)
    work = dataclasses.replace(work, options=_beside_exports(work))
    logs = _logs(work, _of_kind(work, files, "calibrations"), plant)
    samples = _samples(work, _of_kind(work, files, "samples"), plant)
    evidence, strange = evidence_of(
        plant, logs, samples, (*_export_decisions(work.site, files), *inferred), usual_levels(plant, seen)
    )
    once = {name: list(dict.fromkeys(rows)) for name, rows in evidence.laboratory.items()}
    return Known(
        evidence=dataclasses.replace(evidence, laboratory=once),  # versions of one list repeat their samples
        logs=logs,
        samples=samples,
        problems=(*(loaded.problems if loaded else ()), *strange),
    )


def _beside_exports(work: Work) -> ReadOptions:
    """The options for logs and lists, with what the exports of all nights say of the order of dates."""
    orders = json.loads(work.ledger.meta("orders") or "{}")
    ends = [
        last
        for row in work.ledger.rows("SELECT spans FROM parts")
        for _, last, _ in json.loads(row["spans"]).values()
    ]
    return work.options.with_exports(orders.values(), max(ends, default=None))


def kept_files(work: Work) -> list[Row]:
    """Files that count, in the order of reading."""
    rows = work.ledger.rows("SELECT * FROM files WHERE state = 'in'")
    return sorted(rows, key=lambda row: reading_order(row["name"], row["arrival"]))


def _export_decisions(site: Site, files: Sequence[Row]) -> tuple[Decision, ...]:
    """What was decided of all exports, but of what a later version of the same file begins with: it was still being written."""
    told = [
        (row, {Decision(**decision): None for decision in json.loads(row["facts"]).get("decisions", ())})
        for row in files
    ]
    versions: dict[str, list[int]] = {}
    for number, (row, _) in enumerate(told):
        versions.setdefault(row["name"], []).append(number)
    found: dict[Decision, None] = {}
    for number, (row, own) in enumerate(told):
        later = [told[n] for n in versions[row["name"]] if n > number]
        outgrown = any(
            not own.keys() <= theirs.keys()
            and begins_with(site.inside(other["kept"]), row["bytes"], row["sha256"])
            for other, theirs in later
        )
        found |= {} if outgrown else own
    return tuple(found)


def _of_kind(work: Work, files: Sequence[Row], kind: str) -> list[tuple[Path, str]]:
    """Kept files of one kind, and such files in kept archives of exports: where each lies and what it was called."""
    found = []
    for row in files:
        kept = work.site.inside(row["kept"])
        if row["kind"] == kind:
            found.append((kept, str(row["name"])))
        for member, held in json.loads(row["facts"]).get("apart", ()):
            if held == kind:
                found.append((Path(f"{kept}{MARK}{member}"), f"{row['name']}{MARK}{member}"))
    return found


def _logs(work: Work, files: Sequence[tuple[Path, str]], plant: Plant) -> tuple[LogReading, ...]:
    """Every log, an entry that an earlier version or another log already had left out."""
    readings = []
    for path, name in files:
        read = read_calibrations(path, options=work.options)
        readings.append(_renamed_log(settle_log(read, plant), name))
    kept = _latest_entries(readings, [name for _, name in files])
    return tuple(
        dataclasses.replace(reading, entries=entries) for reading, entries in zip(readings, kept, strict=True)
    )


def _renamed_log(reading: LogReading, name: str) -> LogReading:
    old = str(reading.path)
    return dataclasses.replace(
        reading,
        path=Path(name),
        entries=tuple(dataclasses.replace(entry, file=name) for entry in reading.entries),
        decisions=tuple(
            dataclasses.replace(d, subject=d.subject.replace(old, name)) for d in reading.decisions
        ),
        problems=tuple(dataclasses.replace(p, file=name) if p.file == old else p for p in reading.problems),
        refused=reading.refused.with_columns(file=pl.lit(name)),
    )


def _latest_entries(
    readings: Sequence[LogReading], names: Sequence[str]
) -> list[tuple[CalibrationEntry, ...]]:
    """Each entry once: of versions of one file the latest word counts, and a repeat in another file is no second one.

    An entry is known by when, where, which probe and which phase; one that a later version of the same file states
    differently was corrected.
    """
    last: dict[tuple[object, ...], int] = {}
    for number, (reading, name) in enumerate(zip(readings, names, strict=True)):
        for entry in reading.entries:
            last[(name, *_occasion(entry))] = number
    seen: set[str] = set()
    kept = []
    for number, (reading, name) in enumerate(zip(readings, names, strict=True)):
        mine = []
        for entry in reading.entries:
            words = repr(dataclasses.replace(entry, file="", line=0))
            if last[(name, *_occasion(entry))] == number and words not in seen:
                mine.append(entry)
        seen |= {repr(dataclasses.replace(entry, file="", line=0)) for entry in mine}
        kept.append(tuple(mine))
    return kept


def _occasion(entry: CalibrationEntry) -> tuple[object, ...]:
    return entry.time, entry.point, entry.probe, entry.phase


def _samples(work: Work, files: Sequence[tuple[Path, str]], plant: Plant) -> tuple[SampleReading, ...]:
    found = []
    for path, name in files:
        read = settle_samples(read_samples(path, options=work.options), plant)
        problems = tuple(
            dataclasses.replace(p, file=name) if p.file == str(path) else p for p in read.problems
        )
        found.append(
            dataclasses.replace(
                read, path=Path(name), problems=problems, refused=read.refused.with_columns(file=pl.lit(name))
            )
        )
    return tuple(found)


# --- the plant from the archive ------------------------------------------------------------------------------------


def looks(work: Work) -> dict[str, TagSeries]:
    """What the plant is worked out from: all rows of a small archive, a look at each part of a large one."""
    words = {row["tag"]: row for row in work.ledger.rows("SELECT * FROM tags ORDER BY tag")}
    parts = live_parts(work.ledger)
    if sum(part.rows for part in parts) > WHOLE_ROWS:
        return _from_looks(work, parts, words)
    units = {tag: (row["unit"], row["description"]) for tag, row in words.items()}
    return load_series(work.site.root, parts, units)


def _from_looks(work: Work, parts: Sequence[Part], words: Mapping[str, Row]) -> dict[str, TagSeries]:
    held = {row["path"]: row["looks"] for row in work.ledger.rows("SELECT path, looks FROM parts")}
    frame = pl.scan_ipc([held[part.path] for part in parts]).collect()  # at once: there are thousands
    shared, found = tags_of_shared_looks(parts), {}
    for piece in frame.partition_by("tag", maintain_order=True):
        tag = piece["tag"][0]
        if tag in shared or not piece["time"].is_sorted():
            piece = thinned(piece)
        found[tag] = TagSeries(
            tag=tag,
            time=piece["time"].to_numpy(),
            value=piece["value"].to_numpy(),
            quality=piece["quality"].to_numpy(),
            unit=words[tag]["unit"],
            description=words[tag]["description"],
        )
    return dict(sorted(found.items()))


def tag_homes(work: Work, fresh: Mapping[str, TagSeries]) -> dict[str, str]:
    """Under which point each tag is kept: only a place in the archive, so a first guess is good for ever."""
    plant, _ = infer_plant(dict(sorted(fresh.items())), stated_plant(work))
    homes: dict[str, str] = {}
    for point in plant.points:
        for tag in point.tags.values():
            homes.setdefault(tag, point.name)
    return homes
