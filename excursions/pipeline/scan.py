"""One scan from files to findings: the way of the data through the house, in one page."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from excursions.detect.tuning import merged, tunable
from excursions.errors import ExcursionsError, InputFileError, UsageError, did_you_mean
from excursions.pipeline.conclude import conclude
from excursions.pipeline.engine import Closer as Closer
from excursions.pipeline.engine import Engine, LocalEngine, Wanted
from excursions.pipeline.evidence import Evidence, evidence_of
from excursions.pipeline.identity import run_facts
from excursions.pipeline.inputs import sample_pins
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.point import Closeup as Closeup
from excursions.pipeline.run import Progress, quiet
from excursions.plant import Plant
from excursions.read import Reading
from excursions.read.logs.gathered import ListReading
from excursions.read.logs.log import LogReading, read_calibrations
from excursions.read.logs.names import settle_log, settle_samples
from excursions.read.logs.samples import SampleReading, read_samples
from excursions.read.sorting import Inputs, sort_out
from excursions.records import TagSeries
from excursions.register import infer_plant, load_register, looks_of, usual_levels, write_register
from excursions.report.result import ScanResult

Keep = Callable[[ScanResult, Mapping[str, TagSeries]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """A finished scan: findings, refused rows, readings that two files contradict one another in, and every fault met on the way."""

    result: ScanResult
    refused: pl.DataFrame
    problems: tuple[ExcursionsError, ...]
    contradicted: pl.DataFrame = dataclasses.field(default_factory=pl.DataFrame)


@dataclass(frozen=True, slots=True, kw_only=True)
class Everything:
    """Everything that came out of files, and what is to be mended in them."""

    exports: Reading
    logs: tuple[LogReading, ...]
    samples: tuple[SampleReading, ...]
    evidence: Evidence
    problems: tuple[ExcursionsError, ...]


def scan(
    exports: Sequence[Path | str],
    *,
    calibrations: Sequence[Path | str] = (),
    samples: Sequence[Path | str] = (),
    register: Path | str | None = None,
    options: ScanOptions | None = None,
    progress: Progress = quiet,
    closer: Closer | None = None,
    keep: Keep | None = None,
) -> Scan:
    """Read exports and calibrations, find events, link them to shifts, judge every point.

    Parameters
    ----------
    exports : paths
        Files or folders.  A folder may hold all of it: what each file is, is decided by looking inside.
    calibrations, samples, register : paths
        Stated inputs come on top of what folders hold; a stated register wins over a found one.
    progress : callable (what, done, total)
    closer : callable (point, plant, first and last instant of its record) or None
        Gives spans [ns] of which the plotted series are to keep true samples, as they do of events.
    keep : callable (findings, series by tag) or None
        Called with every sample before they are let go; the samples stay with the workers of a cluster, and are none here.

    Raises
    ------
    InputFileError
        If nothing at all could be read.
    """
    chosen = options or ScanOptions()
    engine = engine_of(chosen)
    try:
        return _scan(
            exports,
            calibrations,
            samples,
            register,
            chosen,
            engine,
            progress=progress,
            closer=closer,
            keep=keep,
        )
    finally:
        engine.close()


def engine_of(options: ScanOptions) -> Engine:
    """Who does the work, as asked."""
    if options.engine == "local":
        return LocalEngine(jobs=options.jobs)
    from excursions.pipeline.cluster import ClusterEngine

    return ClusterEngine(scheduler=options.scheduler, jobs=options.jobs)


def _scan(
    exports: Sequence[Path | str],
    calibrations: Sequence[Path | str],
    samples: Sequence[Path | str],
    register: Path | str | None,
    chosen: ScanOptions,
    engine: Engine,
    *,
    progress: Progress,
    closer: Closer | None,
    keep: Keep | None,
) -> Scan:
    found = sort_out([Path(path) for path in exports])
    inputs = found.with_stated(calibrations, samples, register)
    read = read_all(inputs, chosen, engine, progress)
    evidence = read.evidence
    wanted = Wanted(plant=evidence.plant, pins=sample_pins(evidence.laboratory), closer=closer)
    analysed, missing = engine.search(wanted, progress)
    if not analysed:
        raise _nothing_to_scan(found, (*read.problems, *missing))
    progress("linking events to calibrations", 0, 1)
    result = conclude(evidence, [findings for findings, _ in analysed])
    if keep is not None:
        keep(result, read.exports.series)
    progress("linking events to calibrations", 1, 1)
    problems = (*read.problems, *missing)
    run = run_facts(
        inputs=inputs,
        exports=read.exports,
        logs=read.logs,
        samples=read.samples,
        counts=[counts for _, counts in analysed],
        options=chosen,
        decisions=result.decisions,
        problems=problems,
        result=result,
    )
    return Scan(
        result=dataclasses.replace(result, run=run),
        refused=_refused(read),
        problems=problems,
        contradicted=read.exports.contradicted,
    )


def _nothing_to_scan(found: Inputs, problems: Sequence[ExcursionsError]) -> ExcursionsError:
    """The error of a scan without a single signal; the first fault met says most about why."""
    if problems:
        return problems[0]
    passed = "; ".join(f"{path.name}: {reason}" for path, reason in found.ignored[:5])
    return InputFileError(
        found=f"no export with readings (passed over: {passed})" if passed else "no export with readings",
        expected="at least one file with times and values",
        mend="name the exported files themselves: a file named is always tried",
        file=", ".join(str(path) for path in found.exports[:3]),
    )


def read_all(inputs: Inputs, options: ScanOptions, engine: Engine, progress: Progress) -> Everything:
    """Open every file once; go on with what can be read."""
    progress("reading exports", 0, len(inputs.exports))
    known, problems = _known_plant(inputs)
    reading_options = options.read.for_plant(known) if known else options.read
    reading_options = dataclasses.replace(reading_options, apart=inputs.apart)
    exports, looks = engine.read(inputs.exports, reading_options, progress)
    progress("reading exports", len(inputs.exports), len(inputs.exports))
    if inputs.register:
        loaded = load_register(inputs.register, tags=looks.keys(), tunable=tunable)
        known, problems = loaded.plant, (*problems, *loaded.problems)
    looks = looks_of(looks)
    plant, inferred = infer_plant(looks, known)
    plant = dataclasses.replace(plant, detectors=merged(plant.detectors, options.tune))
    if options.read.tz:
        plant = dataclasses.replace(plant, zone=options.read.tz)
    ends = [report.last for report in exports.files if report.last is not None]
    reading_options = reading_options.with_exports(exports.orders.values(), max(ends, default=None))
    logs = tuple(
        settle_log(read_calibrations(path, options=reading_options, columns=options.columns), plant)
        for path in inputs.calibrations
    )
    samples = tuple(
        settle_samples(read_samples(path, options=reading_options, columns=options.columns), plant)
        for path in inputs.samples
    )
    evidence, strange = evidence_of(
        plant, logs, samples, (*exports.decisions, *inferred), usual_levels(plant, looks)
    )
    unmatched = unmatched_columns(options.columns, (*logs, *samples))
    return Everything(
        exports=exports,
        logs=logs,
        samples=samples,
        evidence=evidence,
        problems=(*problems, *exports.problems, *strange, *unmatched),
    )


def unmatched_columns(columns: Mapping[str, str], readings: Sequence[ListReading]) -> list[ExcursionsError]:
    """A fault for each column that was named and that no log or list has."""
    headers = {
        " ".join(header.casefold().split()): header
        for reading in readings
        for header in reading.headers
        if header
    }
    missing = [
        (role, name) for role, name in columns.items() if " ".join(name.casefold().split()) not in headers
    ]
    return [
        UsageError(
            found=f'--columns "{role}={name}", but no column "{name}"',
            expected="a header of a calibration log or sample list: " + ", ".join(list(headers.values())[:12])
            if headers
            else "a calibration log or sample list",
            mend=did_you_mean(name, headers.values(), "write the header as it stands in the file"),
        )
        for role, name in missing
    ]


def _known_plant(inputs: Inputs) -> tuple[Plant | None, tuple[ExcursionsError, ...]]:
    """The register's zone and words are needed before the exports can be read; its tags are checked after."""
    if inputs.register is None:
        return None, ()
    return load_register(inputs.register, tunable=tunable).plant, ()


def _refused(read: Everything) -> pl.DataFrame:
    parts = [read.exports.refused, *(log.refused for log in read.logs), *(s.refused for s in read.samples)]
    return pl.concat(parts, how="vertical_relaxed")


def propose_register(
    exports: Sequence[Path],
    *,
    register: Path | None = None,
    options: ScanOptions | None = None,
    progress: Progress = quiet,
) -> tuple[str, tuple[ExcursionsError, ...]]:
    """Infer what the exports show of the plant and write it as a commented register.

    A register given (or found in a folder) is completed; what it states and its comments stay.
    """
    found = sort_out(list(exports))
    chosen = options or ScanOptions()
    source = register or found.register
    inputs = dataclasses.replace(found, calibrations=(), samples=(), register=source)
    read = read_all(inputs, chosen, LocalEngine(jobs=1), progress)
    existing = source.read_text(encoding="utf-8") if source else ""
    text = write_register(read.evidence.plant, read.evidence.decisions, existing_text=existing)
    return text, read.problems
