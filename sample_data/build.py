"""Regenerates the committed scenario byte for byte: ``python -m sample_data.build``.

``python -m sample_data.build --out DIR --seed N`` writes another plant of the same kind elsewhere.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from sample_data.simulator.grid import DAY_S, NS
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.record import TagRows, record
from sample_data.simulator.register import register_text
from sample_data.simulator.scenario import (
    DAYS,
    DEADBANDS,
    GROUPS,
    LONG,
    OUTAGES,
    SEED,
    WIDE,
    ZONE,
    Scenario,
    scenario,
)
from sample_data.simulator.write import (
    write_calibrations,
    write_long,
    write_parquet,
    write_samples,
    write_shift_truth,
    write_truth,
    write_wide,
)

HERE = Path(__file__).parent
_LETTERS = {"value": "PV", "temperature": "TT", "hold": "HLD", "wash": "WSH"}
_OVERLAP_DAYS = 2.0
_SPLIT_DAY = 61.0


def tag_name(point: str, role: str) -> str:
    """Tag of a signal: ``F1-PH`` and value give ``QM.F1-PH.PV``."""
    return f"QM.{point}.{_LETTERS[role]}"


def decimals_of(resolution: float) -> int:
    """Decimals that a resolution needs."""
    return len(f"{resolution:.6f}".rstrip("0").split(".")[1])


def _tags(group: str, points: dict[str, SimulatedPoint], seed: int) -> tuple[list[TagRows], dict[str, int]]:
    """Tags of one export and the decimals each is written with."""
    tags, decimals = [], {}
    for name in GROUPS[group]:
        sim = points[name]
        sampling = WIDE if group != "long" else replace(LONG, deadband=DEADBANDS[name])
        for role, rows in record(sim, sampling, OUTAGES[group], seed=seed).items():
            tag = tag_name(name, role)
            tags.append(replace(rows, tag=tag))
            resolution = {"value": sim.spec.resolution, "temperature": sim.spec.temperature_resolution}.get(
                role, 1.0
            )
            decimals[tag] = decimals_of(resolution)
    return tags, decimals


def _cut(rows: TagRows, first: float, end: float, start_ns: int) -> TagRows:
    """Rows of the days [first, end)."""
    low, high = (start_ns + round(day * DAY_S) * NS for day in (first, end))
    keep = (rows.time >= low) & (rows.time < high)
    return replace(
        rows,
        time=rows.time[keep],
        value=rows.value[keep],
        quality=rows.quality[keep],
        status=rows.status[keep],
    )


def write_scenario(made: Scenario, folder: Path, truth_folder: Path) -> None:
    """Write what the tool reads to `folder` and what is true to `truth_folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    truth_folder.mkdir(parents=True, exist_ok=True)
    points = {sim.spec.name: sim for sim in made.points}
    start = made.points[0].grid.start_ns
    tags, decimals = _tags("long", points, made.seed)
    for number, (first, end) in enumerate(((0.0, _SPLIT_DAY), (_SPLIT_DAY - _OVERLAP_DAYS, DAYS)), start=1):
        part = [_cut(rows, first, end, start) for rows in tags]
        write_long(part, folder / f"long_export_wastewater_{number}.csv.gz", decimals=decimals, zone=ZONE)
    tags, decimals = _tags("wide", points, made.seed)
    write_wide(tags, folder / "wide_export_water_and_product.csv.gz", decimals=decimals)
    tags, decimals = _tags("parquet", points, made.seed)
    write_parquet(tags, folder / "export_cellar.parquet", decimals=decimals)
    entries = [entry for sim in made.points for entry in sim.calibrations]
    write_calibrations(entries, start, folder / "calibrations.csv", zone=ZONE)
    write_samples(made.points, folder / "lab_samples.csv", zone=ZONE)
    (folder / "plant.toml").write_text(register_text(made.points, ZONE, tag_name), encoding="utf-8")
    write_truth(made.events, truth_folder / "events.csv")
    write_shift_truth(made.shifts, truth_folder / "shifts.csv")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE)
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args()
    write_scenario(scenario(asked.seed), asked.out / "plant", asked.out / "truth")


if __name__ == "__main__":
    main()
