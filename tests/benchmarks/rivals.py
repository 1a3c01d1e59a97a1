"""General-purpose detectors on the same records, at the same number of false events: who finds what.

    python -m tests.benchmarks.rivals                      a quick look: about twelve point-years
    python -m tests.benchmarks.rivals --years 40 --seeds 21 22

The rivals are given more than they would have in the field: routine states are cut out for them, reading and
temperature are laid on even blocks, and whatever they mark inside a fault counts, whatever its kind.  Each
rival ranks its marks by a score of its own; the score from which on a mark counts is set so that over the whole
fleet it makes as many false events as the tool does.  The tool must name a kind that fits.  Of a step, which
lasts for weeks, only its first half day counts, for everybody; the column "blind" shows what marks put anywhere find.

PELT: ruptures (C. Truong, L. Oudre, N. Vayatis, Signal Processing 167 (2020) 107299).  Matrix profile: stumpy
(S. M. Law, Journal of Open Source Software 4 (2019) 1504), left out with a word where it is not installed.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.detect.series.blocks import make_blocks
from excursions.detect.series.live import live_samples
from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.point import PointInput
from excursions.records import MEASURING, FloatArray, IndexArray, Signal, StateLine
from sample_data.simulator import TruthRow
from sample_data.simulator.fleet import random_point
from tests.benchmarks.detection import PORTIONS, Task, tasks
from tests.benchmarks.limits import Recording
from tests.benchmarks.scoring import begins_in, kinds_of, overlaps, shown, tolerance_ns, touches
from tests.benchmarks.simulated import point_input
from tests.benchmarks.stated import stated_size
from tests.benchmarks.tables import grid

BLOCKS = 1_500  # levels a record is brought down to for the searches over all of it
MOST_MARKS = 60  # marks of one rival on one record
PENALTIES = tuple(2.0**k for k in range(2, 16, 2))


class Mark(NamedTuple):
    """Something a rival points at: start, end (ns), score (more is surer)."""

    start: int
    end: int
    score: float


@dataclass(frozen=True)
class Series:
    """What a rival sees of one signal: even blocks (start, level) and the samples behind them."""

    start: IndexArray
    level: FloatArray
    width: int
    time: IndexArray
    value: FloatArray


Rival = Callable[[Series], list[Mark]]


def series_of(signal: Signal, states: StateLine) -> Series | None:
    """Live samples of a signal, and their levels on even blocks; None with too few of them."""
    live = live_samples(signal, states)
    if len(live) < 200:
        return None
    width = max(int(live.time[-1] - live.time[0]) // BLOCKS, 1)
    blocks = make_blocks(live, width=width)
    return Series(blocks.start, blocks.level, width, live.time, live.value)


def _scale(x: FloatArray) -> float:
    step = np.abs(np.diff(x))
    return max(1.4826 * float(np.median(step)) / 2**0.5, 0.1 * float(step.mean()), 1e-12)


def pelt(series: Series) -> list[Mark]:
    """Changes of level by penalised segmentation; the score is the largest penalty that keeps the change."""
    import ruptures

    x = series.level / _scale(series.level)
    kept: dict[int, float] = {}
    search = ruptures.KernelCPD(kernel="linear", min_size=2).fit(x.reshape(-1, 1))
    for penalty in PENALTIES:
        for at in search.predict(pen=penalty)[:-1]:
            near = next((k for k in kept if abs(k - at) <= 2), at)
            kept[near] = penalty
    marks = [Mark(int(series.start[k]), int(series.start[k]) + series.width, s) for k, s in kept.items()]
    return sorted(marks, key=lambda m: -m.score)[:MOST_MARKS]


def profile(series: Series) -> list[Mark]:
    """Discords: the windows of a day that are least like any other."""
    import stumpy

    window = int(np.clip(NS_PER_DAY // series.width, 8, series.level.size // 8))
    distance = stumpy.stump(series.level.astype(float), window)[:, 0].astype(float)
    return _peaks(distance, window, lambda k: (k, k + window), series)


def z_score(series: Series) -> list[Mark]:
    """Distance from the median of the day around, over its robust scatter."""
    from scipy.ndimage import median_filter

    window = 2 * int(np.clip(NS_PER_DAY // series.width // 2, 3, series.level.size // 8)) + 1
    away = np.abs(series.level - median_filter(series.level, window, mode="nearest"))
    usual = np.maximum(median_filter(away, window, mode="nearest") * 1.4826, 0.3 * _scale(series.level))
    return _peaks(away / usual, window // 2, lambda k: (k, k + 1), series)


def threshold(series: Series) -> list[Mark]:
    """Distance from the usual level of the whole record."""
    away = np.abs(series.level - np.median(series.level))
    return _peaks(away, 4, lambda k: (k, k + 1), series)


def constant(series: Series) -> list[Mark]:
    """Runs of samples that do not change, by how long they last."""
    first = np.flatnonzero(np.append(True, np.diff(series.value) != 0))
    last = np.append(first[1:] - 1, series.value.size - 1)
    lasted = series.time[last] - series.time[first]
    best = np.argsort(-lasted, kind="stable")[:MOST_MARKS]
    return [
        Mark(int(series.time[first[k]]), int(series.time[last[k]]) + 1, float(lasted[k]))
        for k in best
        if lasted[k] > 0
    ]


def _peaks(
    score: FloatArray, apart: int, span: Callable[[int], tuple[int, int]], series: Series
) -> list[Mark]:
    """Largest scores, none closer to a larger one than `apart` blocks."""
    left = np.where(np.isfinite(score), score, -np.inf)
    marks = []
    for _ in range(MOST_MARKS):
        k = int(np.argmax(left))
        if not np.isfinite(left[k]) or left[k] <= 0:
            break
        a, b = span(k)
        marks.append(
            Mark(
                int(series.start[a]),
                int(series.start[min(b, series.start.size - 1)]) + series.width,
                float(left[k]),
            )
        )
        left[max(k - apart, 0) : k + apart + 1] = -np.inf
    return marks


def blind(series: Series) -> list[Mark]:
    """Places drawn without a look at the values: what share of the faults chance finds by their sheer length."""
    rng = np.random.default_rng(series.time.size)
    at = rng.integers(0, series.start.size, MOST_MARKS)
    return [
        Mark(int(series.start[k]), int(series.start[k]) + series.width, s)
        for k, s in zip(at, rng.random(MOST_MARKS) + 0.5, strict=True)
    ]


RIVALS: dict[str, Rival] = {
    "PELT": pelt,
    "matrix profile": profile,
    "rolling z-score": z_score,
    "constant run": constant,
    "fixed threshold": threshold,
    "blind": blind,
}


@dataclass(frozen=True)
class Seen:
    """One record: its faults with their size over the stated limit, the tool's false events and finds, the marks of the rivals."""

    faults: tuple[tuple[TruthRow, float, bool], ...]
    truth: tuple[TruthRow, ...]
    false: int
    marks: dict[str, tuple[Mark, ...]]
    slack: int
    years: float


def look(task: Task, rivals: Sequence[str]) -> Seen:
    """Simulate, search with the tool and with every rival."""
    point = random_point(
        task.seed, task.name, task.measurand, task.days, task.preset, task.faults_per_year, True
    )
    sim = point.simulate()
    truth, _ = point.truth(sim)
    export = point.export(sim)
    given = point_input(sim, export, rated=True)
    findings, _ = analyse_point(given)
    slack = tolerance_ns(point.sampling.interval_s)
    how = Recording.of(point.sampling, sim.grid.step, sim.spec.probe.sterilisation_degc, sim.spec.probe.tau_s)
    limits = {limit.kind: limit for limit in findings.limits}
    told = [e for e in findings.events if e.origin not in ("process", "routine")]
    real = tuple(row for row in truth if row.role in ("fault", "aftermath", "record"))
    faults = tuple(
        (
            row,
            stated_size(row, export["value"], how, limits),
            any(e.kind in kinds_of(row) and begins_in(row, e, slack) for e in told),
        )
        for row in truth
        if row.is_fault
    )
    false = sum(not any(overlaps(row, e, slack) for row in real) for e in told)
    states = _oracle(findings.states, real)
    marks = {name: tuple(_marks(given, states, RIVALS[name])) for name in rivals}
    return Seen(faults, real, false, marks, slack, sim.grid.days / 365.25)


def _oracle(states: StateLine, real: Sequence[TruthRow]) -> StateLine:
    """Routine states are cut out for the rivals, but for those in which a fault lies."""
    hit = [
        any(row.start < b and row.end > a for row in real)
        for a, b in zip(states.start, states.end, strict=True)
    ]
    return replace(states, code=np.where(hit, MEASURING, states.code).astype(np.uint8))


def _marks(given: PointInput, states: StateLine, rival: Rival) -> list[Mark]:
    """Marks on reading and temperature; scores are ranks within a signal's own scale, so the two can be pooled."""
    from excursions.condition import condition

    found = []
    for role in ("value", "temperature"):
        if role not in given.series:
            continue
        measurand = given.point.measurand if role == "value" else "temperature"
        unit = given.point.unit if role == "value" else given.point.temperature_unit
        series = series_of(condition(given.series[role], measurand=measurand, unit=unit).signal, states)
        if series is not None:
            marks = rival(series)
            usual = float(np.median([m.score for m in marks])) if marks else 1.0
            found += [Mark(m.start, m.end, m.score / max(usual, 1e-12)) for m in marks]
    return found


def _touches(row: TruthRow, mark: Mark, slack: int) -> bool:
    return any(touches(a, b, mark.start, mark.end, slack) for a, b in shown(row))


def _finds(row: TruthRow, mark: Mark, slack: int) -> bool:
    return touches(*shown(row)[0], mark.start, mark.end, slack)


def _false(seen: Sequence[Seen], name: str, least: float) -> int:
    """False events of a rival: marks outside every fault, those within six hours of one another as one."""
    count = 0
    for one in seen:
        wrong = sorted(
            m.start
            for m in one.marks[name]
            if m.score >= least and not any(_touches(r, m, one.slack) for r in one.truth)
        )
        count += sum(k == 0 or wrong[k] - wrong[k - 1] > 6 * NS_PER_HOUR for k in range(len(wrong)))
    return count


def least_score(seen: Sequence[Seen], name: str, allowed: int) -> float:
    """Smallest score at which a rival makes no more false events than allowed."""
    scores = sorted({m.score for one in seen for m in one.marks[name]}, reverse=True)
    low, high = 0, len(scores)
    while low < high:
        middle = (low + high) // 2
        if _false(seen, name, scores[middle]) <= allowed:
            low = middle + 1
        else:
            high = middle
    return scores[low - 1] if low else np.inf


def table(seen: Sequence[Seen], rivals: Sequence[str]) -> str:
    """Faults found, by kind: at or above the stated limit for the tool and each rival, then all faults."""
    allowed = sum(one.false for one in seen)
    least = {name: least_score(seen, name, allowed) for name in rivals}
    rows = []
    kinds = sorted({row.kind for one in seen for row, _, _ in one.faults})
    for kind in [*kinds, "all"]:
        for words, floor in (("from the limit on", 1.0), ("of any size", -np.inf)):
            mine = [
                (one, row, found)
                for one in seen
                for row, size, found in one.faults
                if kind in (row.kind, "all") and (size >= floor or floor < 0)
            ]
            if not mine:
                continue
            rows.append([kind, words, str(len(mine)), _share(sum(f for _, _, f in mine), len(mine))])
            for name in rivals:
                hit = sum(
                    any(m.score >= least[name] and _finds(row, m, one.slack) for m in one.marks[name])
                    for one, row, _ in mine
                )
                rows[-1].append(_share(hit, len(mine)))
    years = sum(one.years for one in seen)
    title = f"Faults found at {allowed} false events in {years:.1f} point-years ({allowed / years:.2f} a point-year) for everybody"
    return grid(["kind", "faults", "count", "excursions", *rivals], rows, title)


def _share(found: int, count: int) -> str:
    return f"{found / count:.2f}"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--years", type=float, default=12.0)
    parser.add_argument("--seeds", type=int, nargs="+", default=[11, 12])
    parser.add_argument(
        "--presets",
        nargs="+",
        choices=list(PORTIONS),
        default=["10 s", "60 s", "10 min", "exception", "averages"],
    )
    asked = parser.parse_args()
    names = list(RIVALS)
    try:
        import stumpy  # noqa: F401
    except ImportError:
        names.remove("matrix profile")
        print("matrix profile left out: the package stumpy is not installed\n")
    warnings.simplefilter("ignore")  # of the rivals, on constant windows
    work = tasks(asked.years, tuple(asked.seeds), tuple(asked.presets), 8.0, True)
    print(table([look(task, names) for task in work], names))


if __name__ == "__main__":
    main()
