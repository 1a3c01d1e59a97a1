"""What laboratory (grab) samples say: the error of the reading at each of them, before and during an event."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY, NS_PER_MINUTE, TimeArray
from excursions.detect.evidence.origin import Clue, next_reset
from excursions.detect.series.cusum import DECISION, highest_run
from excursions.detect.series.live import Live
from excursions.detect.series.survey import Survey
from excursions.digits import written
from excursions.ranks import median, row_median, scatter_of
from excursions.records import LABORATORY, MOVED_TOO, SHOWED_IT, FloatArray, Record

FEWEST = 3  # samples before an event that make its errors usual
NEAR_BLOCKS = 2  # a sample belongs to a block this near
STRONGEST = 20.0
BESIDE_S = 60.0
DRAWN_NS = 10 * NS_PER_MINUTE  # (cp)
ON_ITS_WAY = 4.0  # times what the reading usually moves while a sample is drawn
LAST = 6  # samples before and after that are looked at
# Of the shift: samples at another level disagree by that much for reasons of their own (cp).
OTHER_CAUSES = 0.1
SEEN_OF_IT = 0.5  # share of the shift that the reading must show between the samples, if these are to have gone along with it
OWN_SPREAD = 0.2  # of the expected shift: what an event is uncertain by


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Samples: time (k,) ns, reading then (k,), and that less the laboratory's value, error (k,); the reading's unit."""

    time: TimeArray
    reading: FloatArray
    error: FloatArray


def sample_errors(record: Record, survey: Survey) -> Errors:
    """Errors at the samples taken while the point was measuring, those left out at which the reading was just on its way.

    The reading is the median of those within a minute of the sample.  Where the level moves over twenty minutes, which is
    what a sample takes to draw and to note, much farther than it does at the other samples and than what is tolerated, the
    two are of different media.
    """
    return survey.once("sample errors", lambda: _sample_errors(record, survey))


def _sample_errors(record: Record, survey: Survey) -> Errors:
    blocks, live = survey.blocks, survey.live
    time, value = record.sample_time, record.sample_value
    at = np.clip(np.searchsorted(blocks.start, time, side="right") - 1, 0, len(blocks) - 1)
    late = time - blocks.start[at]
    usable = np.isfinite(value) & (late >= 0) & (late <= (1 + NEAR_BLOCKS) * blocks.width)
    order = np.flatnonzero(usable)[np.argsort(time[usable], kind="stable")]
    time, value = time[order], value[order]
    reading = _reading(live, time, survey.interval_s)
    moved = _reading(live, time + DRAWN_NS, survey.interval_s) - _reading(
        live, time - DRAWN_NS, survey.interval_s
    )
    moved = np.abs(moved)
    most = max(ON_ITS_WAY * median(moved), 6 * survey.noise) if moved.size else math.inf
    still = (moved <= most) | (moved <= 2 * record.point.tolerance_at(median(blocks.level)))
    return Errors(time=time[still], reading=reading[still], error=(reading - value)[still])


def _reading(live: Live, time: TimeArray, interval_s: float) -> FloatArray:
    """Median (k,) of the live readings within a minute of instants (k,), of three at least, of thirty at most."""
    half = int(np.clip(BESIDE_S / max(interval_s, 1e-9), 1, 15))
    at = np.searchsorted(live.time, time, side="right") - 1
    near = np.clip(at[:, None] + np.arange(-half, half + 1), 0, len(live) - 1)
    return row_median(live.value[near])


def between_samples(record: Record, start: int) -> tuple[int, int]:
    """Last sample before an instant and first after it, ns; far away where there is none."""
    time = np.sort(record.sample_time)
    at = int(np.searchsorted(time, start, side="right"))
    far = np.iinfo(np.int64)
    return (int(time[at - 1]) if at else int(far.min)), (int(time[at]) if at < time.size else int(far.max))


def samples_clue(
    record: Record,
    survey: Survey,
    start: int,
    end: int,
    shift: float,
    *,
    rivals: int = 0,
    spread: float = OWN_SPREAD,
) -> tuple[Clue, ...]:
    """Odds that the reading's error moved by `shift` between `start` and `end`, against that it did not.

    Normal laws whose width is the scatter of the last errors before, at least a third of the tolerance; a large
    change of the process brings some error with it (gain, mixing, the sample's way), a tenth of it.
    Samples between which the reading had left its level and come back, as dirt lets it from cleaning to cleaning, have not seen the
    change and say nothing for the process.  `spread`: what the shift itself is uncertain by, as a share of it; `rivals`: other changes between the same two samples, which share what these say.
    """
    errors = sample_errors(record, survey)
    inside = np.flatnonzero((errors.time > start) & (errors.time <= end))[:LAST]
    before = np.flatnonzero(errors.time <= start)[-LAST:]
    if not inside.size or before.size < FEWEST or shift == 0:
        return ()
    base = errors.error[before]
    scatter = scatter_of(base)
    scatter = max(scatter, record.point.tolerance_at(median(survey.blocks.level)) / 3, survey.noise)
    width = scatter * math.sqrt(1 / inside.size + 1 / before.size)
    moved = float(np.median(errors.error[inside]) - np.median(base))
    if abs(shift) < width:
        return ()
    moved_law, still_law = math.hypot(width, spread * shift), math.hypot(width, OTHER_CAUSES * shift)
    log = (
        (moved / still_law) ** 2 / 2
        - ((moved - shift) / moved_law) ** 2 / 2
        - math.log(moved_law / still_law)
    )
    odds = math.exp(min(max(log, -math.log(STRONGEST)), math.log(STRONGEST)) / (1 + rivals))
    if 0.5 < odds < 2:
        return ()
    if odds > 1:
        return (showed_clue(odds, moved, record.change_unit),)
    went = float(np.median(errors.reading[inside]) - np.median(errors.reading[before]))
    if went / shift < SEEN_OF_IT:
        return ()
    return (Clue(odds=odds, words="laboratory samples went along", source=LABORATORY, said=MOVED_TOO),)


def put_right(record: Record, survey: Survey, start: int, end: int, shift: float) -> bool:
    """Whether samples show that a change took an error away: off by about as much before it, and right after it.

    Somebody adjusted or cleaned the probe, whatever the log says; the fault was before.
    """
    errors = sample_errors(record, survey)
    inside = np.flatnonzero((errors.time > start) & (errors.time <= end))[:LAST]
    before = np.flatnonzero(errors.time <= start)[-FEWEST:]
    if not inside.size or before.size < FEWEST:
        return False
    was, now = median(errors.error[before]), median(errors.error[inside])
    off = max(record.point.tolerance_at(median(survey.blocks.level)), UNDONE * abs(shift))
    return was * shift < 0 and abs(was) > off and abs(now) < UNDONE * abs(was)


def showed_clue(odds: float, moved: float, unit: str) -> Clue:
    """That samples saw the error itself move by so much, in the unit of a change of the reading."""
    words = f"laboratory samples show the error move by {written(moved, 2)} {unit}".rstrip()
    return Clue(odds=odds, words=words, source=LABORATORY, said=SHOWED_IT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """Samples whose errors stand apart: their times, largest error against the usual, scatter, chance number, and
    whether the error grows among them, as behind dirt, or stands, as after a wrong adjustment.

    taken_at: block whose sudden change of the reading took the error away, as those after it show; negative without one
    """

    before: int
    start: int
    end: int
    shift: float
    scatter: float
    expected: float
    grows: bool = False
    taken_at: int = -1


UNDONE = 0.4  # of a change: an error before it that is smaller, or one after it that is larger, is not what it undid
# Samples of a record that show what is usual: half of them, with a floor of a third of the tolerance.
FEWEST_OF_RECORD = 6
AGREEING = 0.3  # share of samples within the tolerance from which on agreement is what is usual
LONGEST_SHARE = 0.5  # of the samples; a longer disagreement is what is usual, unless agreement is
LONGEST_OF_AGREEING = 1 - AGREEING


def disagreements(record: Record, survey: Survey) -> tuple[Disagreement, ...]:
    """Runs of samples that disagree with the reading, as far as chance does not explain them; strongest first.

    Where enough samples agree with the reading, agreement is what is usual, and else the median of the errors.  Errors
    against that, in units of their robust scatter, are added up (:mod:`excursions.detect.series.cusum`); the runs that pass
    the decision interval are judged by their means, in units of the scatter outside all of them.
    """
    errors = sample_errors(record, survey)
    n = errors.error.size
    if n < FEWEST_OF_RECORD:
        return ()
    tolerance = record.point.tolerance_at(float(np.median(survey.blocks.level)))
    agree = np.abs(errors.error) <= tolerance
    agreeing = bool(np.mean(agree) >= AGREEING)
    usual = errors.error[agree] if agreeing else errors.error
    away = errors.error - float(np.median(usual))
    floor = max(survey.noise, tolerance / 3 if agreeing else 0.0, 1e-12)
    z = np.clip(away / max(_scatter(usual), floor), -CLIP, CLIP)
    longest = (LONGEST_OF_AGREEING if agreeing else LONGEST_SHARE) * n
    runs = _runs(z)
    outside = np.delete(away, np.concatenate([np.arange(i, j) for i, j in runs])) if runs else away
    scatter = max(_scatter(outside), floor)
    found: list[Disagreement] = []
    for i, j in runs:
        whole = _disagreement(errors, away, (i, j), scatter)
        if whole.expected <= LEAST_EXPECTED:
            taken = dict(_taken_back(record, survey, errors, (i, j)))
            first, *later = itertools.pairwise([i, *taken, j])
            again = [
                run
                for run in _off_again(z, later)
                if _disagreement(errors, away, run, scatter).expected <= LEAST_EXPECTED
            ]
            parts = [
                (a, b)
                for run in (first, *again)
                for a, b in _parts(away / scatter, *run)
                if 2 <= b - a <= longest
                and np.max(np.abs(away[a:b])) > (tolerance if agreeing else 0.0)
                and not agree[a:b].all()  # unlike the others, which the laboratory does not bear out
            ]
            found += [
                replace(
                    _disagreement(errors, away, (a, b), scatter),
                    expected=whole.expected,
                    taken_at=taken.get(b, -1),
                )
                for a, b in parts
            ]
    return tuple(found)


def _off_again(z: FloatArray, pieces: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Runs within the pieces [lo, past) of a run that begin right: what is off again there is a run of its own, or none."""
    for lo, past in pieces:
        yield from ((lo + a, lo + b) for a, b in _runs(z[lo:past]) if a or _grows_anew(z[lo:past][:b]))


def _grows_anew(part: FloatArray) -> bool:
    """Whether errors (k,), in scatters, grow by two standard errors, the first left out, for it was chosen as small: what stands
    was there before, and fewer than two in either half tell neither."""
    return part.size > 4 and _grows(part[1:], ANEW)


def _taken_back(
    record: Record, survey: Survey, errors: Errors, run: tuple[int, int]
) -> list[tuple[int, int]]:
    """Where sudden changes of the reading put it right within a run of errors [i, j): first sample after each, and its block.

    A sum of errors runs on for a while after the last of them.  Two samples at least must agree before anybody touched the
    probe again.
    """
    i, j = run
    found: list[tuple[int, int]] = []
    for change in sorted(survey.changes, key=lambda change: change.at):
        when = int(survey.blocks.start[change.at])
        off = int(np.searchsorted(errors.time, when))
        if not change.sudden or not i + 2 <= off <= j or (found and off < found[-1][0] + 2):
            continue
        until = next_reset(record, when) or int(survey.live.time[-1])
        agreeing = int(np.searchsorted(errors.time, until, side="right")) - off
        if agreeing >= 2 and put_right(record, survey, when, until, change.size):
            found.append((off, change.at))
    return found


def _scatter(error: FloatArray) -> float:
    return scatter_of(error) if error.size else 0.0


def _runs(z: FloatArray) -> list[tuple[int, int]]:
    """Runs [i, j) of deviations that pass the decision interval, highest first."""
    z = z.copy()
    found = []
    for _ in range(MOST_RUNS):
        i, j, height = highest_run(z)
        if abs(height) < DECISION:
            break
        i = _sharpest_start(z, i, j)
        if j - i >= 2:
            found.append((i, j))
        z[i:j] = 0.0
    return found


def _parts(z: FloatArray, begin: int, end: int) -> list[tuple[int, int]]:
    """A run cut where most of the error is gone at the next sample, as after a cleaning, and grows anew; what the last of them
    left is no error of its own, and a sample that agrees while the others go on as before takes nothing off."""
    inside = np.abs(z[begin:end])
    gone = inside[1:] < np.maximum(UNDONE * inside[:-1], AGREES)
    cuts = begin + np.flatnonzero(gone & (inside[:-1] > STANDS_OFF)) + 1
    found = []
    for cut, past in itertools.pairwise([*cuts.tolist(), end]):
        anew = _grows_anew(z[cut:past])
        if not anew and median(np.abs(z[cut:past])) >= UNDONE * median(np.abs(z[begin:cut])):
            continue
        found.append((begin, cut))
        if not anew:
            return found
        begin = cut
    return [*found, (begin, end)]


def _sharpest_start(z: FloatArray, begin: int, end: int) -> int:
    """Start from which the mean of the run stands out most; a sum may have been under way long before."""
    tails = np.cumsum(z[begin:end][::-1])[::-1]
    return begin + int(np.argmax(np.abs(tails) / np.sqrt(np.arange(end - begin, 0, -1))))


def _disagreement(errors: Errors, away: FloatArray, run: tuple[int, int], scatter: float) -> Disagreement:
    """A run of errors, judged by its mean as one of all possible runs."""
    i, j = run
    n, part = away.size, away[i:j]
    clipped = np.clip(part / scatter, -CLIP, CLIP)
    t = abs(float(clipped.sum())) / math.sqrt(j - i)
    grows = _grows(part, scatter)
    return Disagreement(
        before=int(errors.time[i if abs(part[0]) < AGREES * scatter else max(i - 1, 0)]),
        start=int(errors.time[i]),
        end=int(errors.time[j - 1]),
        shift=_largest(errors.time[i:j], part, grows=grows),
        scatter=scatter,
        expected=n * float(stdtr(max(n - (j - i), 4), -t)),
        grows=grows,
    )


def _largest(time: TimeArray, part: FloatArray, *, grows: bool) -> float:
    """Largest error of a run (k,) that its samples bear out together: one taken while the process moved says little.

    Of an error that grows what a line of medians through it comes to at the last sample [1]_, the largest one seen at
    most; of one that stands the largest median of three in a row; of two samples their mean.

    References
    ----------
    .. [1] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of the American
       Statistical Association 63 (1968) 1379: the median of the slopes of all pairs.
    """
    if part.size < 3:
        return float(np.mean(part))
    if grows:
        i, j = np.triu_indices(part.size, 1)
        at = (time - time[0]) / NS_PER_DAY
        slope = median((part[j] - part[i]) / (at[j] - at[i]))
        end = median(part + slope * (at[-1] - at))
        return math.copysign(min(abs(end), float(np.max(np.abs(part)))), end)
    middle = np.median(np.lib.stride_tricks.sliding_window_view(part, 3), axis=1)
    return float(middle[np.argmax(np.abs(middle))])


def _grows(part: FloatArray, scatter: float) -> bool:
    """Whether the later half of a run lies further off than the earlier one, by a standard error."""
    half = part.size // 2
    if not half:
        return False
    further = abs(float(np.mean(part[-half:]))) - abs(float(np.mean(part[:half])))
    return further > scatter * math.sqrt(2 / half)


AGREES, STANDS_OFF = 1.0, 3.0  # scatters
ANEW = 2.0  # standard errors
MOST_RUNS = 3
CLIP = 6.0  # scatters: one wild sample makes no run
LEAST_EXPECTED = 0.02
