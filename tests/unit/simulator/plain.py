"""A plain point for the simulator's tests: quiet, unfaulted, quick."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sample_data.simulator import Care, Fault, PointSpec, SimulatedPoint, Steam, Vessel, simulate_point
from sample_data.simulator.catalogue import CARES, PROBES, PROCESSES, RANGES, RESOLUTIONS, UNITS

STEAMED = Vessel(name="v", temperature=(30.0,), routines=(Steam(every_days=7.0, first_day=4.0),))
STILL = Vessel(name="v", temperature=(25.0,), ambient_gain=0.0)


def plain(
    measurand: str = "ph", *faults: Fault, vessel: Vessel = STILL, care: Care | None = None, **more: Any
) -> PointSpec:
    """One point that stays at one set-point."""
    process = PROCESSES[measurand]
    return PointSpec(
        name="P", measurand=measurand, vessel=vessel, serial="S-1", faults=faults, probe=more.pop("probe", PROBES[measurand]),
        process=replace(process, setpoints=process.setpoints[:1]), care=care or CARES[measurand],
        range=RANGES[measurand], unit=UNITS[measurand], resolution=RESOLUTIONS[measurand], **more,
    )  # fmt: skip


def run(spec: PointSpec, days: float = 10.0, step_s: float = 60.0, seed: int = 5) -> SimulatedPoint:
    """Simulate it."""
    return simulate_point(spec, seed=seed, days=days, step_s=step_s)
