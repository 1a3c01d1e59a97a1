"""What laboratory (grab) samples say: the error of the reading at each of them, before and during an event."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from excursions.clock import TimeArray
from excursions.detect.origin import Clue
from excursions.detect.survey import Survey
from excursions.records import FloatArray, Record

FEWEST = 3  # samples before an event that make its errors usual
NEAR_BLOCKS = 2  # a sample belongs to a block this near
STRONGEST = 20.0
OWN_SPREAD = 0.2  # of the expected shift: what an event is uncertain by


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Reading less laboratory value: time (k,) ns, error (k,), the reading's unit."""

    time: TimeArray
    error: FloatArray


def sample_errors(record: Record, survey: Survey) -> Errors:
    """Errors at the samples taken while the point was measuring."""
    blocks = survey.blocks
    time, value = record.sample_time, record.sample_value
    at = np.clip(np.searchsorted(blocks.start, time, side="right") - 1, 0, len(blocks) - 1)
    late = time - blocks.start[at]
    usable = np.isfinite(value) & (late >= 0) & (late <= (1 + NEAR_BLOCKS) * blocks.width)
    order = np.argsort(time[usable], kind="stable")
    return Errors(time=time[usable][order], error=(blocks.level[at] - value)[usable][order])


def samples_clue(record: Record, survey: Survey, start: int, end: int, shift: float) -> tuple[Clue, ...]:
    """Odds that the reading's error moved by `shift` between `start` and `end`, against that it did not.

    Normal laws whose width is the scatter of the errors before, at least a third of the tolerance.
    """
    errors = sample_errors(record, survey)
    inside = (errors.time > start) & (errors.time <= end)
    before = errors.time <= start
    if not inside.any() or np.count_nonzero(before) < FEWEST or shift == 0:
        return ()
    base = errors.error[before]
    scatter = 1.4826 * float(np.median(np.abs(base - np.median(base))))
    scatter = max(scatter, record.point.tolerance_at(float(np.median(survey.blocks.level))) / 3, survey.noise)
    width = scatter * math.sqrt(1 / np.count_nonzero(inside) + 1 / np.count_nonzero(before))
    moved = float(np.median(errors.error[inside]) - np.median(base))
    if abs(shift) < width:
        return ()
    moved_law = math.hypot(width, OWN_SPREAD * shift)
    log = (moved / width) ** 2 / 2 - ((moved - shift) / moved_law) ** 2 / 2 - math.log(moved_law / width)
    odds = math.exp(min(max(log, -math.log(STRONGEST)), math.log(STRONGEST)))
    if 0.5 < odds < 2:
        return ()
    said = (
        f"laboratory samples show the error move by {moved:.2g}"
        if odds > 1
        else "laboratory samples went along"
    )
    return (Clue(odds=odds, words=said),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """Samples [lo, hi) whose errors stand apart: their times, mean error against the usual, chance number."""

    before: int
    start: int
    end: int
    shift: float
    scatter: float
    expected: float


FEWEST_OF_RECORD = 8  # samples of a record that show what is usual
LONGEST_SHARE = 0.5  # of the samples; a longer disagreement is what is usual


def disagreements(record: Record, survey: Survey) -> tuple[Disagreement, ...]:
    """The run of samples that disagrees most with the reading, when chance does not explain it.

    Errors are taken against their median in units of their robust scatter; a run of them is judged by its
    mean, with every possible run counted.
    """
    errors = sample_errors(record, survey)
    n = errors.error.size
    if n < FEWEST_OF_RECORD:
        return ()
    away = errors.error - float(np.median(errors.error))
    scatter = max(1.4826 * float(np.median(np.abs(away))), survey.noise, 1e-12)
    z = np.clip(away / scatter, -6.0, 6.0)
    total = np.concatenate([[0.0], np.cumsum(z)])
    best: Disagreement | None = None
    for size in range(2, int(LONGEST_SHARE * n) + 1):
        summed = np.abs(total[size:] - total[:-size])
        i = int(np.argmax(summed))
        expected = n * float(student.sf(summed[i] / math.sqrt(size), max(n - size, 4)))
        if best is None or expected < best.expected:
            best = Disagreement(
                before=int(errors.time[max(i - 1, 0)]),
                start=int(errors.time[i]),
                end=int(errors.time[i + size - 1]),
                shift=float(away[i : i + size][np.argmax(np.abs(away[i : i + size]))]),
                scatter=scatter,
                expected=expected,
            )
    return (best,) if best is not None and best.expected < LEAST_EXPECTED else ()


LEAST_EXPECTED = 0.02
