"""What a night would have told: invented plants cut at every week's end, each cut scanned as if no later data existed.

    python -m tests.benchmarks.growing --seed 5 61

A scan of a whole record has seen how everything ended; a night has not.  So the same plant is scanned again and again
as it grows, and two things are counted: probe faults told at a cut although nothing was wrong with the probe up to then,
and faults over for two days, at or above their limit, that a cut does not report although the whole does (or the other way).
"""

from __future__ import annotations

import argparse
import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl

import excursions
from excursions.clock import NS_PER_DAY, to_datetime, zone
from excursions.read import ReadOptions, read_exports
from excursions.records import Event, TagSeries
from sample_data.build import write_scenario
from sample_data.simulator import scenario
from sample_data.simulator.scenario import ZONE, Scenario
from sample_data.simulator.truth import TruthRow
from tests.benchmarks.scoring import Score, score_point
from tests.benchmarks.tables import grid
from tests.benchmarks.whole_plant import relatives_of, sampling_of

HERE = zone(ZONE)
WEEK = 7 * NS_PER_DAY
FIRST_WEEKS = 4  # before, nothing is known of the process
SETTLED = 2 * NS_PER_DAY
_DAY = re.compile(r"\b(\d\d)\.(\d\d)\.(\d{4}) (\d\d):(\d\d)")


@dataclass(frozen=True)
class Cut:
    """One plant up to an instant [ns]: what was scored at each point."""

    end: int
    scores: Mapping[str, Score]

    def false(self) -> list[tuple[str, Event]]:
        """Probe faults that are none."""
        return [(name, one.event) for name, score in self.scores.items() for one in score.judged if one.false]

    def reported(self) -> dict[tuple[str, int, str], bool]:
        """Faults at or above their limit that are over, by point, begin and kind: whether an event reports them."""
        return {
            (name, one.row.start, one.row.kind): one.found is not None
            for name, score in self.scores.items()
            for one in score.matches
            if one.relative >= 1.0 and one.row.end <= self.end - SETTLED
        }


def cuts_of(seed: int, folder: Path) -> Iterator[Cut]:
    """The plant of a seed at the end of every week, the whole last."""
    made = scenario(seed)
    write_scenario(made, folder / "plant", folder / "truth")
    plant = folder / "plant"
    exports = [path for path in sorted(plant.iterdir()) if "export" in path.name]
    series = read_exports(exports, ReadOptions(plant_zone=ZONE)).series
    limits = dict(_relatives(made, seed))
    first = min(int(one.time[0]) for one in series.values())
    last = max(int(one.time[-1]) for one in series.values())
    for end in [*range(first + FIRST_WEEKS * WEEK, last - SETTLED, WEEK), last + 1]:
        here = folder / f"cut-{end}"
        _write_cut(plant, series, end, here)
        found = {f.point.name: f.events for f in excursions.scan([here]).result.points}
        yield Cut(end, dict(_scores(made, limits, found, end, first)))


Limits = Mapping[
    str, Sequence[tuple[TruthRow, float]]
]  # each true fault of a point, and its size over its limit


def _relatives(made: Scenario, seed: int) -> Iterator[tuple[str, list[tuple[TruthRow, float]]]]:
    for sim in made.points:
        faults = [row for row in made.events if row.point == sim.spec.name and row.is_fault]
        yield sim.spec.name, list(zip(faults, relatives_of(sim, faults, seed), strict=True))


def _scores(
    made: Scenario,
    limits: Limits,
    found: Mapping[str, Sequence[Event]],
    end: int,
    first: int,
) -> Iterator[tuple[str, Score]]:
    for sim in made.points:
        name = sim.spec.name
        truth = [row for row in made.events if row.point == name and row.start < end]
        relatives = [size for row, size in limits[name] if row.start < end]
        years = (end - first) / NS_PER_DAY / 365.25
        yield name, score_point(truth, found.get(name, ()), relatives, sampling_of(name).interval_s, years)


def _write_cut(plant: Path, series: Mapping[str, TagSeries], end: int, here: Path) -> None:
    """Exports, logs and lists up to an instant."""
    here.mkdir()
    frames = []
    for tag, one in sorted(series.items()):
        until = one.time < end
        if until.any():
            columns = {
                "tag": [tag] * int(until.sum()),
                "time": pl.Series(one.time[until]).cast(pl.Datetime("ns", "UTC")),
                "value": one.value[until],
                "quality": np.array([192, 64, 0])[np.minimum(one.quality[until], 2)],
            }
            frames.append(pl.DataFrame(columns))
    pl.concat(frames).write_parquet(here / "export.parquet")
    (here / "plant.toml").write_bytes((plant / "plant.toml").read_bytes())
    moment = to_datetime(end, HERE).replace(tzinfo=None)
    for name in ("calibrations.csv", "lab_samples.csv"):
        head, *rows = (plant / name).read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if _written(row) < moment]
        (here / name).write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")


def _written(row: str) -> datetime:
    found = _DAY.search(row)
    if found is None:
        raise ValueError(f"no date in {row}")
    day, month, year, hour, minute = map(int, found.groups())
    return datetime(year, month, day, hour, minute)


def report(seed: int, cuts: Sequence[Cut]) -> str:
    """A line a cut, then every false fault and every fault that comes and goes."""
    whole = cuts[-1].reported()
    rows, lines = [], []
    for cut in cuts:
        false, seen = cut.false(), cut.reported()
        rows.append(
            [
                f"{to_datetime(cut.end, HERE):%d %b}",
                f"{sum(seen.values())}/{len(seen)}",
                str(len(false)),
            ]
        )
        lines += [
            f"{rows[-1][0]} false: {name} {event.kind} {event.confidence:.2f} {event.severity},"
            f" {to_datetime(event.start, HERE):%d %b %H:%M} to {to_datetime(event.end, HERE):%d %b %H:%M}, {event.size:.3g}"
            for name, event in false
        ]
        lines += [
            f"{rows[-1][0]} {'only by then' if told else 'not by then'}: {key[0]} {key[2]} of {to_datetime(key[1], HERE):%d %b %H:%M}"
            for key, told in seen.items()
            if key in whole and whole[key] != told
        ]
    return "\n".join(
        [grid(["up to", "reported", "false"], rows, f"A plant as it grows, seed {seed}"), "", *lines]
    )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, nargs="+", default=[5])
    for seed in parser.parse_args().seed:
        with tempfile.TemporaryDirectory() as folder:
            print(report(seed, list(cuts_of(seed, Path(folder)))))


if __name__ == "__main__":
    main()
