"""Simulator of measuring points: processes, probes that wear, and what a historian makes of their signals.

In comes a :class:`~sample_data.simulator.spec.PointSpec`; out come signals and their truth.
It shares no code with the tool it tests.
"""

from sample_data.simulator.point import SimulatedPoint, simulate_point
from sample_data.simulator.record import Outage, Sampling, TagRows, record
from sample_data.simulator.scenario import Scenario, scenario
from sample_data.simulator.spec import Care, Fault, PointSpec, ProbeType, Process, Steam, Swap, Vessel
from sample_data.simulator.truth import ShiftTruth, TruthRow

__all__ = [
    "Care",
    "Fault",
    "Outage",
    "PointSpec",
    "ProbeType",
    "Process",
    "Sampling",
    "Scenario",
    "ShiftTruth",
    "SimulatedPoint",
    "Steam",
    "Swap",
    "TagRows",
    "TruthRow",
    "Vessel",
    "record",
    "scenario",
    "simulate_point",
]
