"""From simulated points to the tool's own inputs, in memory, as reading the files would give them."""

from __future__ import annotations

import numpy as np

from excursions.pipeline.point import PointInput, plant_around
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import CalibrationEntry, StandardReading, TagSeries
from sample_data.simulator import SimulatedPoint, TagRows
from sample_data.simulator.calibrate import Calibrated
from sample_data.simulator.grid import NS
from sample_data.simulator.write import STANDARD_UNITS


def plant_of(sim: SimulatedPoint, *, rated: bool = True) -> Plant:
    """The register as somebody would have stated it: unlogged swaps are not in it; rated: ratings are stated."""
    spec = sim.spec
    known = [life for life in sim.lives if life.logged]
    edges = [None, *(sim.grid.start_ns + round(life.start * NS) for life in known[1:]), None]
    kind = spec.probe
    point = Point(
        name=spec.name, measurand=spec.measurand, value="value", temperature="temperature", unit=spec.unit, range=spec.range,
        hold="hold" if spec.care.hold_flag else "", wash="wash" if spec.care.wash_flag else "",
    )  # fmt: skip
    probes = tuple(
        Probe(
            serial=life.serial, measurand=spec.measurand, model=kind.model,
            rating_continuous_degc=kind.continuous_degc if rated else None,
            rating_sterilisation_degc=kind.sterilisation_degc if rated else None,
            rating_sterilisation_min=kind.sterilisation_min if rated else None,
        )
        for life in known
    )  # fmt: skip
    places = tuple(
        Installation(probe=life.serial, point=spec.name, start=edges[k], end=edges[k + 1])
        for k, life in enumerate(known)
    )
    return Plant(name="simulated", points=(point,), probes=probes, installations=places)


def series_of(rows: TagRows, role: str) -> TagSeries:
    """A tag as the reader hands it on: bad rows without a value when a status word stood there."""
    value = np.where(rows.status > 0, np.nan, rows.value)
    return TagSeries(tag=role, time=rows.time, value=value, quality=rows.quality, unit=rows.unit)


def point_input(sim: SimulatedPoint, export: dict[str, TagRows], *, rated: bool = True) -> PointInput:
    """Everything one point's analysis gets."""
    plant = plant_of(sim, rated=rated)
    point = plant.points[0]
    return PointInput(
        point=point,
        plant=plant_around(plant, point),
        series={role: series_of(rows, role) for role, rows in export.items()},
        sample_time=sim.sample_time,
        sample_value=sim.sample_value,
    )


def entries_of(sim: SimulatedPoint) -> tuple[CalibrationEntry, ...]:
    """Rows of the calibration log, as reading it would give them."""
    rows = []
    for line, entry in enumerate((c for c in sim.calibrations if c.logged), start=1):
        phases = ("as_found", "as_left") if entry.action == "calibration" else ("as_found",)
        rows += [_entry(sim, entry, phase, 2 * line) for phase in phases]
    return tuple(rows)


def _entry(sim: SimulatedPoint, entry: Calibrated, phase: str, line: int) -> CalibrationEntry:
    found = phase == "as_found"
    unit, raw_unit = STANDARD_UNITS[entry.measurand]
    raw = entry.raw_found if found else entry.raw_left
    return CalibrationEntry(
        time=sim.grid.start_ns + round(entry.time) // 60 * 60 * NS, file="log", line=line, point=entry.point,
        probe=entry.probe, phase=phase, action=entry.action,
        standards=tuple(
            StandardReading(standard=s, raw=r, standard_unit=unit, raw_unit=raw_unit, temperature_degc=t)
            for s, r, t in zip(entry.standards, raw, entry.temperatures, strict=True)
        ),
        figures=_figures(entry, found), air_pressure_kpa=101.325,
    )  # fmt: skip


def _figures(entry: Calibrated, found: bool) -> dict[str, float]:
    known = dict(entry.figures_found if found else entry.figures_left)
    for name in ("zero", "zero_point") if entry.measurand in ("oxygen", "oxygen_saturation", "co2") else ():
        known.pop(name, None)
    return known
