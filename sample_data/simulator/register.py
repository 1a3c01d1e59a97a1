"""The plant register of a simulated plant, as its people would have written it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from datetime import UTC, datetime

from sample_data.simulator.grid import NS
from sample_data.simulator.point import SimulatedPoint

_HEAD = """# Register of Quillmarsh Ferments, pilot works.
# INVENTED: no such plant exists. Values come from the simulator in sample_data/simulator.

[plant]
name = "Quillmarsh Ferments (invented)"
zone = "{zone}"
air_pressure_kpa = 101.325
"""


def _stamp(instant: int) -> str:
    return datetime.fromtimestamp(instant // NS, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def register_text(points: Sequence[SimulatedPoint], zone: str, tag: Callable[[str, str], str]) -> str:
    """TOML with one table a point, a probe and an installation; unlogged swaps are not in it."""
    parts = [_HEAD.format(zone=zone)]
    parts += [_point(sim, tag, _neighbours(sim, points)) for sim in points]
    parts += [_probes(sim) for sim in points]
    return "\n".join(parts)


def _neighbours(sim: SimulatedPoint, points: Sequence[SimulatedPoint]) -> list[str]:
    shared = sim.spec.shared_process
    return [p.spec.name for p in points if shared and p is not sim and p.spec.shared_process == shared]


def _point(sim: SimulatedPoint, tag: Callable[[str, str], str], neighbours: list[str]) -> str:
    spec = sim.spec
    lines = [
        "[[point]]", f'name = "{spec.name}"', f'description = "{spec.description}"', f'measurand = "{spec.measurand}"',
        f'value = "{tag(spec.name, "value")}"', f'temperature = "{tag(spec.name, "temperature")}"',
        f'unit = "{spec.unit}"', f"range = [{spec.range[0]:g}, {spec.range[1]:g}]",
    ]  # fmt: skip
    for role, given in (("hold", spec.care.hold_flag), ("wash", spec.care.wash_flag)):
        lines += [f'{role} = "{tag(spec.name, role)}"'] if given else []
    if neighbours:
        lines.append("neighbours = [" + ", ".join(f'"{name}"' for name in neighbours) + "]")
    days = spec.care.calibrate_days
    if len(days) > 1:
        lines.append(f"plan_days = {round(min(b - a for a, b in itertools.pairwise(days) if b - a > 15))}")
    return "\n".join([*lines, ""])


def _probes(sim: SimulatedPoint) -> str:
    spec, lines = sim.spec, []
    known = [life for life in sim.lives if life.logged]
    for number, life in enumerate(known):
        lines += [
            "[[probe]]", f'serial = "{life.serial}"', f'measurand = "{spec.measurand}"', f'model = "{spec.probe.model}"',
            f"rating_continuous_degc = {spec.probe.continuous_degc:g}",
            f"rating_sterilisation_degc = {spec.probe.sterilisation_degc:g}",
            f"rating_sterilisation_min = {max(spec.probe.sterilisation_min, 1.0):g}", "",
            "[[installation]]", f'probe = "{life.serial}"', f'point = "{spec.name}"',
        ]  # fmt: skip
        start = sim.grid.start_ns
        if number:
            lines.append(f"start = {_stamp(start + round(life.start * NS))}")
        if number + 1 < len(known):
            lines.append(f"end = {_stamp(start + round(known[number + 1].start * NS))}")
        lines.append("")
    return "\n".join(lines)
