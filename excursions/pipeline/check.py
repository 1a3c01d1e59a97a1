"""What the inputs are taken for and what they can show, without searching them: the truth about the record."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from excursions.condition import condition, share_outages
from excursions.condition.oddities import oddities
from excursions.condition.signal import Conditioned
from excursions.digits import written
from excursions.errors import ExcursionsError
from excursions.measurands import to_canonical
from excursions.pipeline.engine import LocalEngine
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.progress import Progress, quiet
from excursions.pipeline.scan import Everything, read_all
from excursions.plant import Plant, Point
from excursions.read import FileReport
from excursions.read.logs.cells import read_cells
from excursions.read.logs.gathered import ListReading
from excursions.read.logs.log import LogReading
from excursions.read.logs.samples import SampleReading
from excursions.read.model import ShownRow
from excursions.read.sorting import Inputs, sort_out
from excursions.read.text.oddtimes import Oddity
from excursions.records import CalibrationEntry, Decision, LabSample, Sampling, Signal
from excursions.report.reader import spelt

FIRST_ROWS = 3
FIRST_ENTRIES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownEntry:
    """An entry of a calibration log or a sample beside the line it stands on."""

    line: int
    text: str
    entry: CalibrationEntry | LabSample


@dataclass(frozen=True, slots=True, kw_only=True)
class FileCheck:
    """One file as it is understood: rows == used + refused (of exports, `used` still holds repeated rows).

    taken_for : ``export``, ``calibration log``, ``laboratory samples``, ``register``, ``ignored`` or ``not readable``
    why : layout and text, or the reason; first, last : ns UTC of the readings; shown, entries : first rows understood
    refused_rows : file, line, column, text, reason, rows of the first refused ones
    """

    path: str
    taken_for: str
    why: str = ""
    rows: int = 0
    used: int = 0
    refused: int = 0
    tags: int = 0
    first: int | None = None
    last: int | None = None
    notes: tuple[str, ...] = ()
    shown: tuple[ShownRow, ...] = ()
    entries: tuple[ShownEntry, ...] = ()
    entry_count: int = 0
    refused_rows: tuple[Mapping[str, object], ...] = ()
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalCheck:
    """The truth about the record of one tag.

    role : ``value``, ``temperature``, ... of a point, or empty; oddness : larger is worse (order of the list)
    factor, shown : how many of the unit that the export holds the signal in make one of `unit`, and how that unit is written
    """

    tag: str
    point: str
    role: str
    measurand: str
    unit: str
    factor: float
    shown: str
    samples: int
    first: int | None
    last: int | None
    sampling: Sampling
    oddities: tuple[Oddity, ...] = ()
    repeated: int = 0
    conflicts: int = 0
    words: Mapping[str, int] = field(default_factory=dict)

    def amount(self, size: float, digits: int = 3) -> str:
        """A step or a deadband in the unit of the export, as the rows above show it."""
        return f"{written(size * self.factor, digits)} {self.shown}".strip()

    @property
    def oddness(self) -> float:
        """How much there is to say against the record of this signal."""
        lost = 3.0 * self.sampling.share_bad + (1.0 if self.sampling.bridged else 0.0)
        unknown = (1.0 if not self.sampling.sure else 0.0) + (2.0 if self.sampling.kind == "sparse" else 0.0)
        clock = 2.0 * len(self.oddities) + (0.5 if self.conflicts else 0.0)
        return lost + unknown + clock + (0.2 if not self.point else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """All that `excursions check` says.

    rows : of the exports: read == used + repeated + contradicted + refused; signals : worst first
    words : tag, word, quality, count of every status text; zone : of the plant, for showing times
    """

    files: tuple[FileCheck, ...]
    signals: tuple[SignalCheck, ...]
    rows: Mapping[str, int]
    words: pl.DataFrame
    decisions: tuple[Decision, ...]
    problems: tuple[ExcursionsError, ...]
    plant: Plant


def check(
    paths: Sequence[Path | str],
    *,
    calibrations: Sequence[Path | str] = (),
    samples: Sequence[Path | str] = (),
    register: Path | str | None = None,
    options: ScanOptions | None = None,
    now: int | None = None,
    progress: Progress = quiet,
) -> CheckResult:
    """Read every file, search nothing, and say how all of it was understood.

    Parameters
    ----------
    paths : files, folders, patterns, or ``-``
    calibrations, samples, register : as for a scan
    now : int or None
        The present (ns), for readings that lie in the future; None does not look.
    """
    chosen = options or ScanOptions()
    chosen = dataclasses.replace(chosen, read=dataclasses.replace(chosen.read, show_rows=FIRST_ROWS))
    found = sort_out([Path(path) for path in paths])
    inputs = found.with_stated(calibrations, samples, register)
    read, unreadable = _read(inputs, chosen, progress)
    conditioned = _conditioned(read, progress)
    words: dict[str, dict[str, int]] = {}
    for tag, word, count in read.exports.status_words.select("tag", "word", "count").iter_rows():
        words.setdefault(tag, {})[word] = count
    signals = [
        _signal(tag, read, *found_in, words.get(tag, {}), now) for tag, found_in in conditioned.items()
    ]
    refused = sum(report.refused for report in read.exports.files)
    repeated, contradicted = sum(s.repeated for s in signals), sum(s.conflicts for s in signals)
    rows = sum(report.rows for report in read.exports.files)
    problems = (*unreadable, *read.problems)
    return CheckResult(
        files=_files(inputs, read, chosen, problems),
        signals=tuple(sorted(signals, key=lambda signal: (-signal.oddness, signal.tag))),
        rows={
            "read": rows,
            "used": rows - repeated - contradicted - refused,
            "repeated": repeated,
            "contradicted": contradicted,
            "refused": refused,
        },
        words=read.exports.status_words,
        decisions=_decisions(read, [done for _, done, _ in conditioned.values()]),
        problems=problems,
        plant=read.evidence.plant,
    )


def _decisions(read: Everything, conditioned: Sequence[Conditioned]) -> tuple[Decision, ...]:
    """What was decided of readings goes before what was worked out of their meaning."""
    of_files = read.exports.decisions
    return (
        *of_files,
        *(d for done in conditioned for d in done.decisions),
        *read.evidence.decisions[len(of_files) :],
    )


def _read(
    inputs: Inputs, options: ScanOptions, progress: Progress
) -> tuple[Everything, tuple[ExcursionsError, ...]]:
    """Everything that can be read; where no export can, the reason of each and all that is not an export."""
    try:
        return read_all(inputs, options, LocalEngine(jobs=1), progress), ()
    except ExcursionsError as error:
        if not inputs.exports:
            raise
        bare = dataclasses.replace(inputs, exports=())
        reasons = (
            [error]
            if len(inputs.exports) == 1
            else [_reason(path, options, error) for path in inputs.exports]
        )
        return read_all(bare, options, LocalEngine(jobs=1), progress), tuple(
            {str(reason): reason for reason in reasons}.values()
        )


def _reason(path: Path, options: ScanOptions, known: ExcursionsError) -> ExcursionsError:
    from excursions.read import read_exports

    try:
        read_exports([path], options.read)
    except ExcursionsError as error:
        return error.at(file=str(path))
    return known


def _conditioned(
    read: Everything, progress: Progress
) -> dict[str, tuple[tuple[Point | None, str], Conditioned, Signal]]:
    """Every tag put in order under the role it has: (point and role), what conditioning gave, the signal.

    Outages that one signal of a point shows count for the others of the point.
    """
    series = read.exports.series
    owners = {tag: (point, role) for point in read.evidence.plant.points for role, tag in point.tags.items()}
    done: dict[str, Conditioned] = {}
    for number, (tag, one) in enumerate(series.items(), start=1):
        point, role = owners.get(tag, (None, ""))
        done[tag] = condition(
            one,
            measurand=point.measurand_of(role) if point else "other",
            unit=point.unit_of(role) if point else "",
            quality_words=read.evidence.plant.quality_words,
        )
        progress("looking at each record", number, len(series))
    signals = {tag: result.signal for tag, result in done.items()}
    for point in read.evidence.plant.points:
        here = {role: signals[tag] for role, tag in point.tags.items() if tag in signals}
        signals |= {signal.tag: signal for signal in share_outages(here).values()}
    return {tag: (owners.get(tag, (None, "")), done[tag], signals[tag]) for tag in series}


def _signal(
    tag: str,
    read: Everything,
    owner: tuple[Point | None, str],
    done: Conditioned,
    signal: Signal,
    words: Mapping[str, int],
    now: int | None,
) -> SignalCheck:
    point, role = owner
    measurand = point.measurand_of(role) if point else "other"
    given = (point.unit_of(role) if point else "") or read.exports.series[tag].unit
    scale = to_canonical(measurand, given) if given and measurand != "other" else None
    return SignalCheck(
        tag=tag,
        point=point.name if point else "",
        role=role,
        measurand=measurand,
        unit=signal.unit,
        factor=1.0 / scale[0] if scale else 1.0,
        shown=spelt(given) if scale else signal.unit,
        samples=len(signal),
        first=int(signal.time[0]) if len(signal) else None,
        last=int(signal.time[-1]) if len(signal) else None,
        sampling=signal.sampling,
        oddities=oddities(read.exports.series[tag].time, signal.time, signal.sampling, now),
        repeated=done.duplicates,
        conflicts=done.conflicts,
        words=words,
    )


def _files(
    inputs: Inputs, read: Everything, options: ScanOptions, problems: Sequence[ExcursionsError]
) -> tuple[FileCheck, ...]:
    """Every file with what it was taken for, in the order read; nothing is left out."""
    exports = [_export(report, read) for report in read.exports.files]
    known = {part for check in exports for part in (check.path, check.path.split("!")[0])}
    faults: dict[str, list[str]] = {}
    for problem in problems:
        faults.setdefault(problem.file, []).append(str(problem))
    lost = [
        FileCheck(
            path=str(path),
            taken_for="not readable",
            problems=tuple(faults.get(str(path), ["nothing could be read"])),
        )
        for path in inputs.exports
        if str(path) not in known
        and not any(name.startswith(f"{path}/") for name in known)
        and str(path) in faults
    ]
    logs = [_log(log, options) for log in read.logs]
    samples = [_samples(reading, options) for reading in read.samples]
    rest = [FileCheck(path=str(path), taken_for="ignored", why=why) for path, why in inputs.ignored]
    if inputs.register is not None:
        faulty = tuple(faults.get(str(inputs.register), ()))
        said = f"{len(read.evidence.plant.points)} points, {len(read.evidence.plant.probes)} probes in all"
        rest.insert(0, FileCheck(path=str(inputs.register), taken_for="register", why=said, problems=faulty))
    return (*exports, *lost, *logs, *samples, *rest)


def _refused_rows(frame: pl.DataFrame, path: str) -> tuple[dict[str, object], ...]:
    return tuple(frame.filter(pl.col("file") == path).head(FIRST_ROWS).to_dicts())


def _export(report: FileReport, read: Everything) -> FileCheck:
    return FileCheck(
        path=report.path,
        taken_for="export",
        why=report.dialect,
        rows=report.rows,
        used=report.used,
        refused=report.refused,
        tags=report.tags,
        first=report.first,
        last=report.last,
        notes=report.notes,
        shown=report.shown,
        refused_rows=_refused_rows(read.exports.refused, report.path),
    )


def _log(log: LogReading, options: ScanOptions) -> FileCheck:
    texts = _texts(log.path, options)
    shown = [
        ShownEntry(line=entry.line, text=texts.get(entry.line, ""), entry=entry)
        for entry in log.entries[:FIRST_ENTRIES]
    ]
    return _small(
        log, "calibration log", tuple(shown), [entry.time for entry in log.entries], len(log.entries)
    )


def _samples(reading: SampleReading, options: ScanOptions) -> FileCheck:
    texts = _texts(reading.path, options)
    shown = [
        ShownEntry(line=row.line, text=texts.get(row.line, ""), entry=row)
        for row in reading.samples[:FIRST_ENTRIES]
    ]
    times = [row.time for row in reading.samples]
    return _small(reading, "laboratory samples", tuple(shown), times, len(reading.samples))


OF_COLUMNS = ("columns read as", "values left out")  # what decisions on columns begin with


def _small(
    reading: ListReading,
    what: str,
    shown: tuple[ShownEntry, ...],
    times: Sequence[int],
    count: int,
) -> FileCheck:
    said = [decision.what for decision in reading.decisions if decision.what.startswith(OF_COLUMNS)]
    columns = [next((what for what in said if what.startswith(OF_COLUMNS[0])), "")]
    lost = dict.fromkeys(what for what in said if what.startswith(OF_COLUMNS[1]))
    return FileCheck(
        path=str(reading.path),
        taken_for=what if count or reading.rows else "not readable",
        why="; ".join((*columns, *lost)),
        rows=reading.rows,
        used=reading.used,
        refused=reading.refused.height,
        first=min(times, default=None),
        last=max(times, default=None),
        entries=shown,
        entry_count=count,
        refused_rows=tuple(reading.refused.head(FIRST_ROWS).to_dicts()),
        problems=tuple(str(problem) for problem in reading.problems),
    )


def _texts(path: Path, options: ScanOptions) -> dict[int, str]:
    """Lines of a small file as written; empty where it cannot be read (its problem says so)."""
    try:
        content = read_cells(path, options.read)
    except ExcursionsError:
        return {}
    found: dict[int, str] = {}
    for sheet in content.sheets:
        for row in sheet.rows:
            found.setdefault(row.line, row.text)
    return found


def finite(value: float) -> float | None:
    """A figure for JSON: None where there is none."""
    return value if math.isfinite(value) else None
