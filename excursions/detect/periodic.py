"""Periodic disturbance: a narrow line that comes into the spectrum for a while.

Method: unbroken stretches of an even record are cut into chunks; the periodogram of each (Hann window,
straight line taken off) is divided by its own background, the median of the bins around.  Without a line
that ratio is exponential with mean one, whatever the colour of the noise; its sum over neighbouring chunks
is gamma distributed, which gives the false-alarm probability.  Each bin is first divided by its usual ratio
over the record, so that a cycle the process always has is no event.  Begin and end come from the amplitude
at that period, followed through the samples.

References
----------
.. [1] J. D. Scargle, "Studies in astronomical time series analysis II", Astrophysical Journal 263 (1982)
   835: exponential law of the normalised periodogram and its false-alarm probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc, gammainccinv

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.blocks import evenly
from excursions.detect.live import Live, live_samples
from excursions.detect.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.severity import severity_of
from excursions.detect.survey import THINNED, Survey, survey_of
from excursions.digits import chance_text, written
from excursions.records import Event, FloatArray, IndexArray, Record

CHUNKS = (1_024, 256)  # samples; the longest of which the record holds sixteen
FEWEST_CHUNKS = 16
GROUP = 16  # neighbouring bins that make the background
LOWEST_BIN = 6  # below, a line cannot be told from a slow wander
RUNS = (2, 4, 8, 16, 32)  # chunks added up
MEDIAN_OF_EXPONENTIAL = math.log(2)
HANN_GAIN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodicSettings:
    """When a line in the spectrum is an event."""

    false_alarms: float = 1e-3  # expected in a record of pure noise
    least_noise: float = 0.7  # amplitude over the usual noise; smaller ones matter to nobody (cp)
    faults_per_year: float = 1.0  # (cp)
    process_cycles: float = 0.4  # cycles of the process itself that come and go (cp)
    most: int = 4  # more lines than this are the process's way


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spectra:
    """Ratios to the background (chunks, bins), amplitudes, first sample of each chunk, chunk length, spacing."""

    ratio: FloatArray
    amplitude: FloatArray
    first: IndexArray
    length: int
    step_s: float


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


def _seen(record: Record, survey: Survey) -> tuple[Live, _Spectra | None]:
    """The samples that spectra are taken of, and their spectra."""
    live = survey.live
    if record.value is not None and record.value.sampling.kind in THINNED:
        live = evenly(live, survey.blocks, drawn=record.value.sampling.kind == "swinging")
    return live, survey.once("spectra", lambda: _spectra(live, floor=survey.quantum))


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
    power = np.median(spectra.amplitude**2 / np.maximum(spectra.ratio, 1e-12), axis=0)
    size = max(
        math.sqrt(needed * float(np.quantile(power[GROUP:], 0.98))), 1.3 * settings.least_noise * survey.noise
    )
    return size, 5 * spectra.length * spectra.step_s


def _spectra(live: Live, *, floor: float) -> _Spectra | None:
    """Periodograms of the chunks over their background."""
    if len(live) < FEWEST_CHUNKS * CHUNKS[-1]:
        return None
    length = next(size for size in CHUNKS if len(live) >= FEWEST_CHUNKS * size or size == CHUNKS[-1])
    step = float(np.median(np.diff(live.time[:: max(1, len(live) // 100_000)])))
    step /= max(1, len(live) // 100_000)
    first = _even_chunks(live, length, step)
    if first.size < FEWEST_CHUNKS:
        return None
    rows = live.value[first[:, None] + np.arange(length)]
    ramp = np.linspace(-0.5, 0.5, length)
    rows = rows - rows.mean(axis=1, keepdims=True)
    rows -= (rows @ ramp / (ramp @ ramp))[:, None] * ramp
    rows *= np.hanning(length)
    power = np.abs(np.fft.rfft(rows, axis=1)[:, 1 : length // 2 + 1]) ** 2
    power += (floor**2 / 12) * float(np.sum(np.hanning(length) ** 2)) * 0.1 + 1e-300
    ratio = power / _background(power)
    usual = np.maximum(np.median(ratio, axis=0) / MEDIAN_OF_EXPONENTIAL, 1.0)
    amplitude = 2 * np.sqrt(power) / (HANN_GAIN * length)
    return _Spectra(
        ratio=ratio / usual, amplitude=amplitude, first=first, length=length, step_s=step / NS_PER_S
    )


def _even_chunks(live: Live, length: int, step: float) -> IndexArray:
    """First samples of chunks without a break and with even spacing, laid end to end in each stretch."""
    start = np.flatnonzero(live.fresh)
    stop = np.append(start[1:], len(live))
    firsts = [
        np.arange(a, b - length + 1, length) for a, b in zip(start, stop, strict=True) if b - a >= length
    ]
    if not firsts:
        return np.empty(0, dtype=np.int64)
    first = np.concatenate(firsts)
    span = (live.time[first + length - 1] - live.time[first]) / (length - 1)
    return np.asarray(first[np.abs(span - step) < 0.02 * step])


def _background(power: FloatArray) -> FloatArray:
    """Median of groups of bins, drawn through their middles on a logarithmic scale, as the mean of an exponential."""
    groups = power.shape[1] // GROUP
    middle = np.median(power[:, : groups * GROUP].reshape(power.shape[0], groups, GROUP), axis=2)
    log = np.log(middle / MEDIAN_OF_EXPONENTIAL)
    place = (np.arange(power.shape[1]) + 0.5) / GROUP - 0.5
    lower = np.clip(np.floor(place).astype(np.int64), 0, groups - 2)
    share = place - lower
    return np.asarray(np.exp(log[:, lower] * (1 - share) + log[:, lower + 1] * share))


def _lines(
    spectra: _Spectra, survey: Survey, settings: PeriodicSettings
) -> list[tuple[int, int, int, float]]:
    """Lines as (first chunk, last chunk + 1, bin, expected number by chance), strongest first."""
    ratio = np.minimum(spectra.ratio, 50.0)
    chunks, bins = ratio.shape
    total = np.vstack([np.zeros(bins), np.cumsum(ratio, axis=0)])
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
    strong = [line for line in found if _strength(spectra, line) >= settings.least_noise * survey.noise]
    return sorted(strong, key=lambda line: line[3])


HANN_WIDENING = 1.25  # the background is itself uncertain: the gamma law is taken a quarter wider


def _peaks(summed: FloatArray, limit: float) -> list[tuple[int, int]]:
    """Places above the limit, largest first, at most a few hundred."""
    flat = np.flatnonzero(summed.ravel() > limit)
    order = flat[np.argsort(-summed.ravel()[flat], kind="stable")][:300]
    return [(int(i // summed.shape[1]), int(i % summed.shape[1])) for i in order]


def _same(line: tuple[int, int, int, float], lo: int, hi: int, k: int) -> bool:
    return abs(line[2] - k) <= max(3, k // 16) and lo < line[1] + 2 and line[0] - 2 < hi


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


def _strength(spectra: _Spectra, line: tuple[int, int, int, float]) -> float:
    """Amplitude of a line over its chunks; its power is spread over three bins by the window."""
    lo, hi, k, _ = line
    part = spectra.amplitude[lo:hi, max(k - 1, 0) : k + 2]
    return float(np.median(np.sqrt((part**2).sum(axis=1) / 1.5)))


def _event(
    record: Record,
    survey: Survey,
    live: Live,
    spectra: _Spectra,
    line: tuple[int, int, int, float],
    settings: PeriodicSettings,
) -> Event | None:
    lo, hi, _, chance = line
    period_s = spectra.length * spectra.step_s / (_centre(spectra, line) + 1)
    amplitude = _strength(spectra, line)
    a = int(spectra.first[max(lo - 1, 0)])
    b = int(spectra.first[min(hi, spectra.first.size - 1)] + spectra.length)
    core = (int(spectra.first[lo]) + int(spectra.first[hi - 1]) + spectra.length) // 2 - a
    begin, stop = _ends(live.time[a:b], live.value[a:b], core, period_s)
    start, end = int(live.time[a + begin]), int(live.time[min(a + stop, len(live) - 1)])
    clues = _company(record, start, end, period_s)
    prior = expected_faults(settings.faults_per_year, survey.years)
    probe = weigh(
        prior=prior, chance=chance + unexplained(settings.process_cycles, survey.years), clues=clues
    )
    if end <= start:
        return None
    whole = lo == 0 and hi == spectra.first.size
    probe = min(probe, 0.5) if whole else probe
    level = float(np.median(live.value[a:b]))
    return Event(
        point=record.point.name,
        kind="periodic",
        start=start,
        end=end,
        size=amplitude,
        size_low=0.8 * amplitude,
        size_high=1.25 * amplitude,
        size_unit=record.value.unit if record.value else "",
        confidence=probe if name_origin(probe) != "process" else 1 - probe,
        origin=name_origin(probe),
        severity=severity_of(record, level, amplitude),
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=2 * period_s,
        open_start=lo == 0,
        open_end=hi == spectra.first.size,
        evidence=(
            f"a cycle of {duration_text(period_s)} with amplitude {written(amplitude, 2)} for {duration_text((end - start) / NS_PER_S)}",
            f"noise alone would show {chance_text(chance)} such lines in this record",
            *words_of(clues),
        ),
        details={"period_s": period_s},
    )


def _centre(spectra: _Spectra, line: tuple[int, int, int, float]) -> float:
    """Bin of the line, between bins by the weight of its power."""
    lo, hi, k, _ = line
    near = np.arange(max(k - 1, 0), min(k + 2, spectra.amplitude.shape[1]))
    weight = (spectra.amplitude[lo:hi][:, near] ** 2).mean(axis=0)
    return float(weight @ near / weight.sum())


def _ends(time: IndexArray, value: FloatArray, core: int, period_s: float) -> tuple[int, int]:
    """Samples around `core` between which the amplitude at this period passes half of what it is there."""
    seconds = (time - time[0]) / NS_PER_S
    per_period = period_s / max(float(np.median(np.diff(seconds))), 1e-9)
    short = max(round(2 * per_period), 4)
    long = min(max(round(3 * per_period), value.size // 16), round(64 * per_period))
    centred = value - np.convolve(value, np.ones(short) / short, mode="same")
    turned = centred * np.exp(-2j * np.pi * seconds / period_s)
    strength = np.abs(np.convolve(turned, np.ones(long) / long, mode="same"))
    weak = strength < 0.5 * np.median(strength[max(core - long, 0) : core + long + 1])
    before, after = np.flatnonzero(weak[:core]), np.flatnonzero(weak[core:])
    return (int(before[-1]) + 1 if before.size else 0), (core + int(after[0]) if after.size else value.size)


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
