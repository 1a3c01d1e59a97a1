"""One scan from files to findings: the way of the data through the house, in one page."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

from excursions import calibrations as calibration_room
from excursions import clock
from excursions import link as link_room
from excursions.clock import TimeArray
from excursions.errors import ExcursionsError, InputFileError, nearest
from excursions.measurands import to_canonical
from excursions.pipeline.identity import run_facts
from excursions.pipeline.point import PointInput, plant_around
from excursions.pipeline.run import Progress, analyse_points, quiet
from excursions.plant import Plant, Point
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.logs import LogReading, check_entries, read_calibrations
from excursions.read.names import settle_log, settle_samples
from excursions.read.samples import SampleReading, read_samples
from excursions.read.sorting import Inputs, sort_out
from excursions.records import CalibrationEntry, Decision, FloatArray, TagSeries
from excursions.register import infer_plant, load_register, write_register
from excursions.report.result import LabSample, PointFindings, ScanResult
from excursions.report.verdict import judge, order


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanOptions:
    """How to read and how hard to work.

    read : how files are understood; jobs : processes, 0 chooses; columns : names of columns in
    calibration logs and sample lists where they cannot be guessed.
    """

    read: ReadOptions = field(default_factory=ReadOptions)
    jobs: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """A finished scan: findings, refused rows, and every fault met on the way."""

    result: ScanResult
    refused: pl.DataFrame
    problems: tuple[ExcursionsError, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """Everything that came out of files."""

    exports: Reading
    logs: tuple[LogReading, ...]
    samples: tuple[SampleReading, ...]
    laboratory: dict[str, list[LabSample]]
    plant: Plant
    decisions: tuple[Decision, ...]
    problems: tuple[ExcursionsError, ...]

    @property
    def entries(self) -> tuple[CalibrationEntry, ...]:
        return tuple(entry for log in self.logs for entry in log.entries)


def scan(
    exports: Sequence[Path | str],
    *,
    calibrations: Sequence[Path | str] = (),
    samples: Sequence[Path | str] = (),
    register: Path | str | None = None,
    options: ScanOptions | None = None,
    progress: Progress = quiet,
) -> Scan:
    """Read exports and calibrations, find events, link them to shifts, judge every point.

    Parameters
    ----------
    exports : paths
        Files or folders.  A folder may hold all of it: what each file is, is decided by looking inside.
    calibrations, samples, register : paths
        Stated inputs come on top of what folders hold; a stated register wins over a found one.
    progress : callable (what, done, total)

    Raises
    ------
    InputFileError
        If nothing at all could be read.
    """
    chosen = options or ScanOptions()
    found = sort_out([Path(path) for path in exports])
    inputs = Inputs(
        exports=found.exports,
        calibrations=_both(calibrations, found.calibrations),
        samples=_both(samples, found.samples),
        register=Path(register) if register else found.register,
        ignored=found.ignored,
    )
    read = _read_all(inputs, chosen, progress)
    pairs, missing = _point_inputs(read)
    if not pairs:
        raise _nothing_to_scan(found.exports, (*read.problems, *missing))
    analysed = analyse_points(pairs, jobs=chosen.jobs, progress=progress)
    progress("linking events to calibrations", 0, 1)
    result = _conclude(read, [findings for findings, _ in analysed])
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
    return Scan(result=dataclasses.replace(result, run=run), refused=_refused(read), problems=problems)


def _nothing_to_scan(exports: Sequence[Path], problems: Sequence[ExcursionsError]) -> ExcursionsError:
    """The error of a scan without a single signal; the first fault met says most about why."""
    if problems:
        return problems[0]
    return InputFileError(
        found="no export with readings",
        expected="at least one file with times and values",
        mend="name the exported files or the folder that holds them",
        file=", ".join(str(path) for path in exports[:3]),
    )


def _both(stated: Sequence[Path | str], found: Sequence[Path]) -> tuple[Path, ...]:
    return tuple(dict.fromkeys([*map(Path, stated), *found]))


def _read_all(inputs: Inputs, options: ScanOptions, progress: Progress) -> _Read:
    """Open every file once; go on with what can be read."""
    progress("reading exports", 0, len(inputs.exports))
    known, problems = _known_plant(inputs)
    reading_options = options.read.for_plant(known) if known else options.read
    exports = read_exports(inputs.exports, reading_options)
    progress("reading exports", len(inputs.exports), len(inputs.exports))
    if inputs.register:
        loaded = load_register(inputs.register, tags=exports.series.keys())
        known, problems = loaded.plant, (*problems, *loaded.problems)
    plant, inferred = infer_plant(exports.series, known)
    if options.read.tz:
        plant = dataclasses.replace(plant, zone=options.read.tz)
    logs = tuple(
        settle_log(read_calibrations(path, options=reading_options, columns=options.columns), plant)
        for path in inputs.calibrations
    )
    samples = tuple(
        settle_samples(read_samples(path, options=reading_options, columns=options.columns), plant)
        for path in inputs.samples
    )
    plant = _with_installations(plant, logs)
    entries = [entry for log in logs for entry in log.entries]
    laboratory, strange = _samples_by_point(samples, plant)
    return _Read(
        exports=exports,
        logs=logs,
        samples=samples,
        laboratory=laboratory,
        plant=plant,
        decisions=(
            *exports.decisions,
            *inferred,
            *(decision for log in logs for decision in log.decisions),
            *(decision for sample in samples for decision in sample.decisions),
        ),
        problems=(
            *problems,
            *exports.problems,
            *(problem for log in logs for problem in log.problems),
            *(problem for sample in samples for problem in sample.problems),
            *strange,
            *check_entries(entries, plant),
        ),
    )


def _known_plant(inputs: Inputs) -> tuple[Plant | None, tuple[ExcursionsError, ...]]:
    """The register's zone and words are needed before the exports can be read; its tags are checked after."""
    if inputs.register is None:
        return None, ()
    return load_register(inputs.register).plant, ()


def _with_installations(plant: Plant, logs: Sequence[LogReading]) -> Plant:
    """Add the swaps a calibration log mentions to those of the register."""
    logged = tuple(row for log in logs for row in log.installations if row not in plant.installations)
    return dataclasses.replace(plant, installations=(*plant.installations, *logged)) if logged else plant


def _point_inputs(read: _Read) -> tuple[list[PointInput], tuple[ExcursionsError, ...]]:
    """One input a point, in the order of the register; points without any signal are named."""
    series = read.exports.series
    pins = _pins(read.laboratory)
    none = np.empty(0, np.int64), np.empty(0, np.float64)
    inputs, missing = [], []
    for point in read.plant.points:
        present = {role: series[tag] for role, tag in point.tags.items() if tag in series}
        if not present:
            missing.append(
                InputFileError(
                    found=f'no signal of point "{point.name}"',
                    expected="at least one of its tags in the exports",
                    mend="export its tags or take the point out of the register",
                    column=", ".join(point.tags.values()),
                )
            )
            continue
        sample_time, sample_value = pins.get(point.name, none)
        inputs.append(
            PointInput(
                point=point,
                plant=plant_around(read.plant, point),
                series=present,
                neighbours=_neighbours(point, read.plant, series),
                sample_time=sample_time,
                sample_value=sample_value,
            )
        )
    return inputs, tuple(missing)


def _neighbours(
    point: Point, plant: Plant, series: Mapping[str, TagSeries]
) -> dict[str, tuple[Point, TagSeries]]:
    others = (plant.point(name) for name in point.neighbours)
    return {other.name: (other, series[other.value]) for other in others if other and other.value in series}


def _samples_by_point(
    readings: Sequence[SampleReading], plant: Plant
) -> tuple[dict[str, list[LabSample]], list[ExcursionsError]]:
    """Laboratory samples in canonical units under the point they belong to, and what could not be placed."""
    by_name = {point.name: point for point in plant.points}
    by_name |= {point.value: point for point in plant.points if point.value}
    grouped: dict[str, list[LabSample]] = {}
    strange: dict[tuple[str, str, str], ExcursionsError] = {}
    for reading in readings:
        for sample in reading.samples:
            point = by_name.get(sample.point)
            if point is None:
                strange[str(reading.path), sample.point, ""] = _unplaced(reading, sample, list(by_name))
                continue
            scale = to_canonical(point.measurand, sample.unit or point.quantity.unit)
            if scale is None:
                strange[str(reading.path), sample.point, sample.unit] = _unknown_unit(reading, sample, point)
                continue
            value = sample.value * scale[0] + scale[1]
            grouped.setdefault(point.name, []).append(
                dataclasses.replace(sample, point=point.name, value=value, unit=point.quantity.unit)
            )
    return {name: sorted(rows, key=lambda row: row.time) for name, rows in grouped.items()}, list(
        strange.values()
    )


def _unplaced(reading: SampleReading, sample: LabSample, names: Sequence[str]) -> ExcursionsError:
    near = nearest(sample.point, names)
    return InputFileError(
        found=f'samples of "{sample.point}"',
        expected="a point of the register or a tag of the export",
        mend=f'did you mean "{near}"?'
        if near
        else "add the point to the register; these samples were left out",
        file=str(reading.path),
    )


def _unknown_unit(reading: SampleReading, sample: LabSample, point: Point) -> ExcursionsError:
    return InputFileError(
        found=f'a sample of "{point.name}" in "{sample.unit}"',
        expected=f"a unit of {point.quantity.label}, such as {point.quantity.unit}",
        mend="write the unit of these samples; they were left out",
        file=str(reading.path),
    )


def _conclude(read: _Read, points: Sequence[PointFindings]) -> ScanResult:
    """From the points' events and the calibration entries to shifts, links, doubt and verdicts."""
    evaluated = calibration_room.evaluate(read.entries, read.plant)
    plant, swaps = calibration_room.installations_from(evaluated, read.plant)
    points = [_name_probes(findings, plant) for findings in points]
    levels = {findings.point.name: findings.levels for findings in points}
    events = [event for findings in points for event in findings.events]
    shifts = calibration_room.shifts(evaluated, plant, levels)
    links = link_room.attribute(shifts, events, plant, levels)
    doubts = link_room.doubt_windows(shifts, links, events, evaluated, levels, plant, _pins(read.laboratory))
    outcomes = link_room.outcome(events, shifts, links, evaluated)
    tz = clock.zone(plant.zone)
    verdicts = [
        judge(
            findings,
            doubts=[doubt for doubt in doubts if doubt.point == findings.point.name],
            calibrations=[c for c in evaluated if c.point == findings.point.name],
            outcomes=outcomes,
            tz=tz,
        )
        for findings in points
    ]
    return ScanResult(
        plant=plant,
        points=tuple(points),
        verdicts=order(verdicts),
        calibrations=evaluated,
        shifts=shifts,
        links=links,
        doubts=doubts,
        audit=link_room.audit(
            evaluated,
            {findings.point.name: findings.states for findings in points},
            {findings.point.name: findings.sampling for findings in points},
            plant,
        ),
        lessons=link_room.fleet_heat(shifts, events, plant),
        due=link_room.next_due(evaluated, shifts, levels, plant),
        outcomes=outcomes,
        samples=tuple(sample for rows in read.laboratory.values() for sample in rows),
        decisions=(
            *read.decisions,
            *swaps,
            *(decision for findings in points for decision in findings.decisions),
        ),
    )


def _pins(laboratory: Mapping[str, Sequence[LabSample]]) -> dict[str, tuple[TimeArray, FloatArray]]:
    """Samples of each point as arrays: times (ns) and values, canonical unit."""
    return {
        name: (
            np.array([row.time for row in rows], dtype=np.int64),
            np.array([row.value for row in rows], dtype=np.float64),
        )
        for name, rows in laboratory.items()
    }


def _name_probes(findings: PointFindings, plant: Plant) -> PointFindings:
    """Write on each event which probe sat at the point when it began."""
    name = findings.point.name
    return dataclasses.replace(
        findings,
        events=tuple(
            dataclasses.replace(event, probe=event.probe or plant.probe_at(name, event.start) or "")
            for event in findings.events
        ),
    )


def _refused(read: _Read) -> pl.DataFrame:
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
    inputs = Inputs(
        exports=found.exports, calibrations=(), samples=(), register=source, ignored=found.ignored
    )
    read = _read_all(inputs, chosen, progress)
    existing = source.read_text(encoding="utf-8") if source else ""
    return write_register(read.plant, read.decisions, existing_text=existing), read.problems
