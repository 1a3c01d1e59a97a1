"""Periodic disturbance: a narrow line that comes into the spectrum for a while.

Method: unbroken stretches of an even record are cut into chunks; the periodogram of each (Hann window,
straight line taken off) is divided by its own background, the median of the bins around.  Without a line
that ratio is exponential with mean one, whatever the colour of the noise; its sum over neighbouring chunks
is gamma distributed, which gives the false-alarm probability.  Each bin is first divided by its usual ratio
over the record, or over its first quarter where that is less, so that a cycle the process always has is no event, and one
that came and stayed is.  Begin and end come from the amplitude at that period, followed through the samples.  One line that
comes and goes, as with a pump, is one event, and so is one with its harmonics.  What it does to the level is taken at the samples where it comes and goes: a drive switches, a process moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gammaincc, gammainccinv

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    SOON_S,
    Clue,
    expected_faults,
    name_origin,
    unexplained,
    weigh,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.noise.bursts import FEWEST_TIMES, bursts_of, goes_on, switched
from excursions.detect.series.blocks import evenly
from excursions.detect.series.live import Live, live_samples
from excursions.detect.series.spectra import GROUP, Spectra, spectra_of
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import chance_text, written
from excursions.ranks import median, quantile, row_median
from excursions.records import BoolArray, Event, FloatArray, IndexArray, Record

LOWEST_BIN = 6  # below, a line cannot be told from a slow wander
RUNS = (2, 4, 8, 16, 32)  # chunks added up
NEAR_BINS = 3  # the window spreads a line over so many bins to either side
SURE_OFFSET = 4.0  # standard errors
OFFSET_SHARE = 0.1  # of the amplitude; a smaller offset is the line's own
NO_LINE = 0.2  # of the amplitude a line has: a chunk with less is without it
AS_STRONG = 0.5  # of a line: a cycle of another period that is its like
SLOW_CYCLE = 0.2  # odds of a cycle that takes more than half an hour (cp)
HIGHEST_HARMONIC = 64
CENTRE = 0.2  # bins to which the middle of a line is known


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodicSettings:
    """When a line in the spectrum is an event."""

    false_alarms: float = 1e-3  # expected in a record of pure noise
    least_noise: float = 0.7  # amplitude over the usual noise; smaller ones matter to nobody (cp)
    faults_per_year: float = 1.0  # (cp)
    process_cycles: float = 0.4  # cycles of the process itself that come and go (cp)
    most: int = 4  # more lines than this are the process's way


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A line at one bin: its stretches as chunk ranges (k, 2), in time order, and the expected number by chance."""

    stretches: IndexArray
    bin: int
    chance: float

    @property
    def first(self) -> int:
        return int(self.stretches[0, 0])

    @property
    def past(self) -> int:
        return int(self.stretches[-1, 1])

    @property
    def chunks(self) -> IndexArray:
        """Indices of the chunks that show it."""
        return np.concatenate([np.arange(lo, hi) for lo, hi in self.stretches])


def detect_periodic(record: Record, settings: PeriodicSettings | None = None) -> tuple[Event, ...]:
    """Find periodic disturbances that come and go.

    Returns
    -------
    tuple of Event
        Kind ``periodic``; size is the amplitude, ``details["period_s"]`` the period.
    """
    settings = settings or PeriodicSettings()
    survey = survey_of(record)
    if survey is None or record.value is None:
        return ()
    live, spectra = _seen(record, survey)
    if spectra is None:
        return ()
    lines = _lines(spectra, survey, settings)
    if len(lines) > settings.most:
        return ()
    events = [_event(record, survey, live, spectra, line, settings) for line in lines]
    return tuple(sorted((e for e in events if e is not None), key=lambda event: event.start))


def _seen(record: Record, survey: Survey) -> tuple[Live, Spectra | None]:
    """The samples that spectra are taken of, and their spectra."""
    live = survey.live
    if record.value is not None and record.value.sampling.on_change:
        live = evenly(live, survey.blocks, drawn=record.value.sampling.kind == "swinging")
    return live, survey.once("spectra", lambda: spectra_of(live, floor=survey.quantum))


def least_amplitude(record: Record, settings: PeriodicSettings) -> tuple[float, float]:
    """Amplitude of a cycle over four chunks that is found at every period up to a sixteenth of a chunk, and the time [s]
    that five chunks take; NaN without spectra."""
    survey = survey_of(record)
    _, spectra = (None, None) if survey is None else _seen(record, survey)
    if survey is None or spectra is None:
        return math.nan, 0.0
    chunks, bins = spectra.ratio.shape
    limit = settings.false_alarms / len(RUNS) * 4 / (chunks * bins)
    needed = (
        HANN_WIDENING * float(gammainccinv(4, limit)) / 4 * 2.0
    )  # the mean ratio, and twice for its scatter
    strength = spectra.amplitude**2 / np.maximum(spectra.ratio, 1e-12)
    power = row_median(np.ascontiguousarray(strength.T))
    size = max(math.sqrt(needed * quantile(power[GROUP:], 0.98)), 1.3 * settings.least_noise * survey.noise)
    size = max(size, record.point.fine_at(median(survey.blocks.level)))
    return size, 5 * spectra.length * spectra.step_s


def _lines(spectra: Spectra, survey: Survey, settings: PeriodicSettings) -> list[_Line]:
    """Lines of the record, strongest first."""
    ratio = np.minimum(spectra.ratio, 50.0)
    chunks, bins = ratio.shape
    total = np.zeros((chunks + 1, bins))
    for before, row, after in zip(total[:-1], ratio, total[1:], strict=True):  # row by row: they lie together
        np.add(before, row, out=after)
    found: list[tuple[int, int, int, float]] = []
    for run in RUNS:
        if run * 2 > chunks:
            break
        summed = total[run:] - total[:-run]
        summed[:, :LOWEST_BIN] = 0.0
        limit = settings.false_alarms / len(RUNS) * run / (chunks * bins)
        for c, k in _peaks(summed, HANN_WIDENING * float(gammainccinv(run, limit))):
            if not any(_same(line, c, c + run, k) for line in found):
                chance = float(gammaincc(run, summed[c, k] / HANN_WIDENING)) * chunks * bins / run
                found.append((*_extent(ratio, c, c + run, k), k, chance))
    lines = [
        line
        for line in _recurring(found, spectra.amplitude)
        if _strength(spectra, line) >= settings.least_noise * survey.noise
    ]
    return sorted(_fundamental(lines, spectra), key=lambda line: line.chance)


def _fundamental(lines: list[_Line], spectra: Spectra) -> list[_Line]:
    """Lines that are no harmonics of a slower and stronger one at the same time: a cycle need not be a sine."""
    kept: list[_Line] = []
    for line in sorted(lines, key=lambda one: one.bin):
        if not any(_harmonic(line, slower, spectra) for slower in kept):
            kept.append(line)
    return kept


def _harmonic(line: _Line, slower: _Line, spectra: Spectra) -> bool:
    base, own = _centre(spectra, slower) + 1, _centre(spectra, line) + 1
    times = round(own / base)
    if not 2 <= times <= HIGHEST_HARMONIC:
        return False
    near = abs(own - times * base) <= min(CENTRE * (1 + times), base / 4)
    together = np.isin(line.chunks, slower.chunks).mean() > 0.5
    return bool(near and together and _strength(spectra, line) < _strength(spectra, slower))


def _recurring(found: list[tuple[int, int, int, float]], amplitude: FloatArray) -> list[_Line]:
    """Stretches at the same bin are one line that comes and goes; its bin is the one in which it is strongest."""
    lines: list[list[tuple[int, int, int, float]]] = []
    for one in sorted(found, key=lambda one: one[3]):
        own = next((line for line in lines if _near(line[0][2], one[2])), None)
        if own is None:
            lines.append([one])
        else:
            own.append(one)
    out = []
    for line in lines:
        stretches = _touching(np.array(sorted((lo, hi) for lo, hi, _, _ in line), dtype=np.int64))
        low = max(line[0][2] - NEAR_BINS, 0)
        whole = _Line(stretches=stretches, bin=low, chance=line[0][3])
        strength = amplitude[whole.chunks, low : line[0][2] + NEAR_BINS + 1].mean(axis=0)
        out.append(replace(whole, bin=low + int(np.argmax(strength))))
    return out


def _touching(stretches: IndexArray) -> IndexArray:
    """Stretches with at most one chunk between them are one."""
    past = np.maximum.accumulate(stretches[:, 1])
    new = np.append(True, stretches[1:, 0] > past[:-1] + 1)
    return np.column_stack([stretches[new, 0], past[np.append(new[1:], True)]])


HANN_WIDENING = 1.25  # the background is itself uncertain: the gamma law is taken a quarter wider


def _peaks(summed: FloatArray, limit: float) -> list[tuple[int, int]]:
    """Places above the limit, largest first, at most a few hundred."""
    flat = np.flatnonzero(summed.ravel() > limit)
    order = flat[np.argsort(-summed.ravel()[flat], kind="stable")][:300]
    return [(int(i // summed.shape[1]), int(i % summed.shape[1])) for i in order]


def _same(line: tuple[int, int, int, float], lo: int, hi: int, k: int) -> bool:
    return _near(line[2], k) and lo < line[1] and line[0] < hi


def _near(k: int, other: int) -> bool:
    return abs(k - other) <= max(NEAR_BINS, k // 16)


def _extent(ratio: FloatArray, lo: int, hi: int, k: int) -> tuple[int, int]:
    """Let a line reach out over chunks that show it too."""
    near = ratio[:, max(k - 1, 0) : k + 2].max(axis=1)
    while lo > 0 and near[lo - 1] > LINE:
        lo -= 1
    while hi < near.size and near[hi] > LINE:
        hi += 1
    while hi - lo > 1 and near[lo] <= LINE:
        lo += 1
    while hi - lo > 1 and near[hi - 1] <= LINE:
        hi -= 1
    return lo, hi


LINE = 5.0


def _strength(spectra: Spectra, line: _Line) -> float:
    """Amplitude of a line over its chunks; its power is spread over three bins by the window.

    Where it comes and goes many chunks hold it in part: the fullest of each stretch counts.
    """
    part = spectra.amplitude[:, max(line.bin - 1, 0) : line.bin + 2]
    each = np.sqrt((part**2).sum(axis=1) / 1.5)
    if line.stretches.shape[0] < FEWEST_TIMES:
        return float(np.median(each[line.chunks]))
    return float(np.median([each[lo:hi].max() for lo, hi in line.stretches]))


def _event(
    record: Record,
    survey: Survey,
    live: Live,
    spectra: Spectra,
    line: _Line,
    settings: PeriodicSettings,
) -> Event | None:
    period_s = spectra.length * spectra.step_s / (_centre(spectra, line) + 1)
    amplitude = _strength(spectra, line)
    bursts = bursts_of(live, spectra, line.stretches, period_s, amplitude / max(survey.noise, 1e-12))
    if not bursts.size:
        return None
    start, end = int(live.time[bursts[0, 0]]), int(live.time[min(int(bursts[-1, 1]), len(live) - 1)])
    lo, hi, chance = line.first, line.past, line.chance
    offset, error = switched(live, bursts, period_s)
    shifted = abs(offset) > SURE_OFFSET * error and abs(offset) > OFFSET_SHARE * amplitude
    clues = _company(record, start, end, period_s)
    if period_s > SOON_S:
        words = "so slow a cycle is one of batches or of a loop, not of a drive"
        clues = (*clues, Clue(odds=SLOW_CYCLE, words=words))
    if _at_other_periods(spectra, line, amplitude):
        words = "at other times it cycles as much at another period, as the process does"
        clues, shifted = (*clues, Clue(odds=0.1, words=words)), False
    elif shifted:
        words = f"the reading stands {written(offset, 2, signed=True)} {record.change_unit} off while it lasts, as with a ground loop through a pump or a drive"
        clues = (*clues, Clue(odds=4.0, words=words))
    elif _other_level(live, spectra, line) > amplitude:
        words = "the reading goes slowly to another level for it, as the process makes it"
        clues = (*clues, Clue(odds=0.1, words=words))
    prior = expected_faults(settings.faults_per_year, survey.years)
    probe = weigh(
        prior=prior, chance=chance + unexplained(settings.process_cycles, survey.years), clues=clues
    )
    level = float(np.median(live.value[spectra.first[lo] : spectra.first[hi - 1] + spectra.length]))
    if end <= start or amplitude < record.point.fine_at(level):
        return None
    whole = lo == 0 and hi == spectra.first.size
    probe = min(probe, 0.5) if whole else probe
    count = bursts.shape[0]
    lasting = "for" if count == 1 else f"{count} times within"
    open_end = hi == spectra.first.size or goes_on(spectra, bursts)
    return Event(
        point=record.point.name,
        kind="periodic",
        start=start,
        end=end,
        size=amplitude,
        size_low=0.8 * amplitude,
        size_high=1.25 * amplitude,
        size_unit=record.unit,
        confidence=probe if name_origin(probe) != "process" else 1 - probe,
        origin=name_origin(probe),
        severity=severity_of(record, level, amplitude + (abs(offset) if shifted else 0.0)),
        probe=record.probe_at(start),
        onset_uncertainty_s=2 * period_s,
        open_start=lo == 0,
        open_end=open_end,
        evidence=(
            f"a cycle of {duration_text(period_s)} with an amplitude of {written(amplitude, 2)} {record.change_unit}, {lasting} {duration_text((end - start) / NS_PER_S)}",
            f"noise alone would show {chance_text(chance)} such lines in this record",
            *words_of(clues),
        ),
        details={"period_s": period_s, "times": float(count), **({"offset": offset} if shifted else {})},
    )


def _at_other_periods(spectra: Spectra, line: _Line, amplitude: float) -> bool:
    """Whether the chunks without this line show as strong a one within an octave of it: a cycle that changes its pace."""
    without = np.ones(len(spectra.first), dtype=np.bool_)
    without[line.chunks] = False
    if np.count_nonzero(without) < FEWEST_TIMES:
        return False
    octave = slice(max(line.bin // 2, LOWEST_BIN), 2 * line.bin + 1)
    power = spectra.amplitude[without] ** 2
    near = np.sqrt((power[:, :-2] + power[:, 1:-1] + power[:, 2:]) / 1.5)[:, octave].max(axis=1)
    return bool(np.median(near) > AS_STRONG * amplitude)


def _other_level(live: Live, spectra: Spectra, line: _Line) -> float:
    """How far the level in the stretches of a line lies off the chunks beside them without it; nil where it comes too seldom."""
    if line.stretches.shape[0] < FEWEST_TIMES:
        return 0.0
    rows = live.value[spectra.first[:, None] + np.arange(spectra.length)]
    level = np.median(rows, axis=1)
    own = np.zeros(level.size, dtype=np.bool_)
    own[line.chunks] = True
    strong = spectra.amplitude[:, max(line.bin - 1, 0) : line.bin + 2].max(axis=1)
    without = strong < NO_LINE * np.median(strong[own])
    best = [int(lo) + int(np.argmax(strong[lo:hi])) for lo, hi in line.stretches]
    off = np.array([_beside(level, without, k) for k in best])
    off = off[np.isfinite(off)]
    return abs(float(np.median(off))) if off.size >= FEWEST_TIMES else 0.0


def _beside(level: FloatArray, without: BoolArray, k: int) -> float:
    """Level of chunk k less the mean of the nearest chunks before and after that have no line; NaN without both."""
    before, after = np.flatnonzero(without[:k])[-1:], k + np.flatnonzero(without[k:])[:1]
    if not (before.size and after.size):
        return math.nan
    return float(level[k] - (level[before[0]] + level[after[0]]) / 2)


def _centre(spectra: Spectra, line: _Line) -> float:
    """Bin of the line, between bins by the weight of its power."""
    k = line.bin
    near = np.arange(max(k - 1, 0), min(k + 2, spectra.amplitude.shape[1]))
    weight = (spectra.amplitude[line.chunks][:, near] ** 2).mean(axis=0)
    return float(weight @ near / weight.sum())


def _company(record: Record, start: int, end: int, period_s: float) -> tuple[Clue, ...]:
    """Whether temperature or neighbours show the same cycle meanwhile."""
    clues = []
    for name, signal in (("the temperature", record.temperature), *record.neighbours.items()):
        if signal is None:
            continue
        other = live_samples(signal, record.states)
        lo, hi = np.searchsorted(other.time, [start, end])
        if hi - lo < 64:
            continue
        shown = _shows(other.time[lo:hi], other.value[lo:hi], period_s)
        clues.append(
            Clue(odds=0.1, words=f"{name} shows the same cycle")
            if shown
            else Clue(odds=1.5, words=f"{name} does not show it")
        )
    return tuple(clues)


def _shows(time: IndexArray, value: FloatArray, period_s: float) -> bool:
    """Whether a sinusoid of this period stands out among its neighbours in frequency."""
    seconds = (time - time[0]) / NS_PER_S
    value = value - np.polyval(np.polyfit(seconds, value, 2), seconds)
    span = float(seconds[-1])
    ratios = 1 / period_s + np.arange(-10, 11) * 1.5 / span
    usable = ratios > 1 / span
    power = np.array([abs(np.sum(value * np.exp(-2j * np.pi * f * seconds))) ** 2 for f in ratios[usable]])
    middle = int(np.argmin(np.abs(ratios[usable] - 1 / period_s)))
    return bool(power[middle] > 8 * np.median(power))
