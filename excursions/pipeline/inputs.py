"""What each point's work needs, put together from series, register and laboratory samples."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from excursions.clock import TimeArray
from excursions.errors import ExcursionsError, InputFileError, did_you_mean
from excursions.measurands import converted, to_canonical
from excursions.pipeline.point import PointInput, plant_around
from excursions.plant import Plant, Point
from excursions.read.logs.samples import SampleReading
from excursions.records import Decision, FloatArray, LabSample, TagSeries
from excursions.register import Usual

Pins = Mapping[str, tuple[TimeArray, FloatArray]]
NO_SAMPLES: tuple[TimeArray, FloatArray] = np.empty(0, np.int64), np.empty(0, np.float64)


def point_inputs(
    plant: Plant, series: Mapping[str, TagSeries], pins: Pins, only: Iterable[Point] | None = None
) -> tuple[list[PointInput], tuple[ExcursionsError, ...]]:
    """One input a point, in the order of the register; points without any signal are named.

    Parameters
    ----------
    plant : Plant
    series : mapping of tag to TagSeries
        At least the tags of the points asked for and of their neighbours.
    pins : mapping of point to (time, value)
        Laboratory samples in canonical units, see :func:`sample_pins`.
    only : points or None
        Points wanted; None takes all of the plant.
    """
    inputs, missing = [], []
    for point in plant.points if only is None else only:
        present = {role: series[tag] for role, tag in point.tags.items() if tag in series}
        if not present:
            missing.append(without_signal(point))
            continue
        sample_time, sample_value = pins.get(point.name, NO_SAMPLES)
        inputs.append(
            PointInput(
                point=point,
                plant=plant_around(plant, point),
                series=present,
                neighbours=_neighbours(point, plant, series),
                sample_time=sample_time,
                sample_value=sample_value,
            )
        )
    return inputs, tuple(missing)


def without_signal(point: Point) -> ExcursionsError:
    """The remark on a point of the register of which no tag was met."""
    return InputFileError(
        found=f'no signal of point "{point.name}"',
        expected="at least one of its tags in the exports",
        mend="export its tags or take the point out of the register",
        column=", ".join(point.tags.values()),
    )


def _neighbours(
    point: Point, plant: Plant, series: Mapping[str, TagSeries]
) -> dict[str, tuple[Point, TagSeries]]:
    others = (plant.point(name) for name in point.neighbours)
    return {other.name: (other, series[other.value]) for other in others if other and other.value in series}


def sample_pins(laboratory: Mapping[str, Sequence[LabSample]]) -> dict[str, tuple[TimeArray, FloatArray]]:
    """Samples of each point as arrays: times (ns) and values, canonical unit."""
    return {
        name: (
            np.array([row.time for row in rows], dtype=np.int64),
            np.array([row.value for row in rows], dtype=np.float64),
        )
        for name, rows in laboratory.items()
    }


def samples_by_point(
    readings: Sequence[SampleReading], plant: Plant, usual: Mapping[str, Usual]
) -> tuple[dict[str, list[LabSample]], list[Decision], list[ExcursionsError]]:
    """Laboratory samples in canonical units under the point they belong to, what was decided, and what could not be placed."""
    by_name = {point.name: point for point in plant.points}
    by_name |= {point.value: point for point in plant.points if point.value}
    grouped: dict[str, list[LabSample]] = {}
    taken: list[Decision] = []
    strange: dict[tuple[str, str, str], ExcursionsError] = {}
    for reading in readings:
        units = _units_left_out(reading, by_name, usual)
        for sample in reading.samples:
            point = by_name.get(sample.point)
            if point is None:
                strange[str(reading.path), sample.point, ""] = _unplaced(reading, sample, list(by_name))
                continue
            unit = sample.unit or units[point.name]
            scale = to_canonical(point.measurand, unit)
            if scale is None:
                strange[str(reading.path), sample.point, unit] = _unknown_unit(reading, sample, point)
                continue
            value = converted(sample.value, scale)
            grouped.setdefault(point.name, []).append(
                dataclasses.replace(sample, point=point.name, value=value, unit=point.quantity.unit)
            )
        taken += [
            said
            for name, unit in units.items()
            if (said := _taken_as(reading, by_name[name], unit, usual.get(name)))
        ]
    ordered = {name: sorted(rows, key=lambda row: row.time) for name, rows in grouped.items()}
    return ordered, taken, list(strange.values())


def _units_left_out(
    reading: SampleReading, by_name: Mapping[str, Point], usual: Mapping[str, Usual]
) -> dict[str, str]:
    """Units of the samples that state none, by point."""
    values: dict[str, list[float]] = {}
    for sample in reading.samples:
        if not sample.unit and sample.point in by_name:
            values.setdefault(by_name[sample.point].name, []).append(sample.value)
    return {
        name: _nearer(by_name[name], usual.get(name), float(np.median(found)))
        for name, found in values.items()
    }


def _nearer(point: Point, usual: Usual | None, sampled: float) -> str:
    """Of the unit of the export and that of the measurand the one in which the samples lie nearer to the reading."""
    house = point.quantity.unit
    scale = to_canonical(point.measurand, usual.unit) if usual and usual.unit else None
    if usual is None or scale is None:
        return house

    def apart(value: float) -> float:
        return abs(value - usual.level) / max(abs(value), abs(usual.level), 1e-12)

    return house if apart(sampled) < apart(converted(sampled, scale)) else usual.unit


def _taken_as(reading: SampleReading, point: Point, unit: str, usual: Usual | None) -> Decision | None:
    """What is to be said of a unit that a list leaves out, where the export has another than the measurand."""
    if usual is None or to_canonical(point.measurand, usual.unit or unit) == (1.0, 0.0):
        return None
    return Decision(
        subject=str(reading.path),
        what=f"samples of {point.name} are in {unit}",
        why=f"the list states no unit; of {usual.unit} and {point.quantity.unit} it lies nearer to the reading in that",
        option="write the unit of the samples into the list",
    )


def _unplaced(reading: SampleReading, sample: LabSample, names: Sequence[str]) -> ExcursionsError:
    otherwise = "add the point to the register; these samples were left out"
    return InputFileError(
        found=f'samples of "{sample.point}"',
        expected="a point of the register or a tag of the export",
        mend=did_you_mean(sample.point, names, otherwise),
        file=str(reading.path),
    )


def _unknown_unit(reading: SampleReading, sample: LabSample, point: Point) -> ExcursionsError:
    return InputFileError(
        found=f'a sample of "{point.name}" in "{sample.unit}"',
        expected=f"a unit of {point.quantity.label}, such as {point.quantity.unit}",
        mend="write the unit of these samples; they were left out",
        file=str(reading.path),
    )
