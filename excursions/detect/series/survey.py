"""The shared base of every detector of live readings, computed once for a record and carried by it."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.detect.series.alike import shows_as_large
from excursions.detect.series.blocks import (
    Blocks,
    NoiseBlocks,
    block_width,
    evenly,
    make_blocks,
    noise_blocks,
    onto_blocks,
    usual_interval,
)
from excursions.detect.series.live import Live, live_samples
from excursions.detect.series.pattern import without_round
from excursions.detect.series.scan import Change, Windows, changes_among, differences
from excursions.detect.series.short import short_changes
from excursions.detect.series.sudden import Jumps, Way, gaps, jumps, loss, sudden_changes, together
from excursions.once import Once
from excursions.ranks import median, scatter_of
from excursions.records import FloatArray, Record, Sampling, Signal
from excursions.states.heat import Usual, usual_temperature
from excursions.states.trace import Trace, trace_of

# Rules under which a line joins two samples.
DRAWN = ("swinging", "interpolated", "averages", "grid", "sparse")
SHORT_LEVEL = 0.005  # probability by chance below which a short record shows a change
NS_PER_YEAR = 365.25 * NS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What is computed once for all detectors of one record.

    rest (m,): block levels less their daily or weekly pattern; changes: its changes of level; wander: its robust standard deviation;
    interval_s: median time between live samples; quantum: smallest step the record can show (resolution or
    dead band, 0 when continuous); deadband: the latter alone; sigma: usual noise; noise: the same, at least a quarter of the quantum;
    years: time covered by blocks; temperature (m,): median temperature of each block, NaN where none;
    neighbours: the same by name; redundant: those of them that measure the same quantity, and show its moves as large; once: what detectors share beyond this, worked out at the first asking.
    """

    live: Live
    blocks: Blocks
    noises: NoiseBlocks
    interval_s: float
    rest: FloatArray
    changes: tuple[Change, ...]
    wander: float
    quantum: float
    deadband: float
    sigma: float
    noise: float
    years: float
    temperature: FloatArray
    neighbours: dict[str, FloatArray]
    redundant: frozenset[str] = frozenset()
    once: Once = field(default_factory=Once, compare=False, repr=False)

    def span_of(self, first: int, last: int) -> tuple[int, int]:
        """From the first of some live samples to an interval after the last of them [ns]."""
        return int(self.live.time[first]), int(self.live.time[last]) + round(self.interval_s * NS_PER_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """The temperature as the detectors of heat see it, and where it usually is; once: as in a survey."""

    trace: Trace
    usual: Usual
    once: Once = field(default_factory=Once, compare=False, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatedRecord(Record):
    """A record that carries what its temperature says, so that detectors share it without any hidden store."""

    heat: Heat | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyedRecord(HeatedRecord):
    """A record that carries its survey as well."""

    survey: Survey


def surveyed(record: Record) -> Record:
    """Attach the survey, where there are live samples, and the heat."""
    if isinstance(record, HeatedRecord):
        return record
    given = {f.name: getattr(record, f.name) for f in fields(Record)}
    survey, heat = survey_of(record), heat_of(record)
    if survey is None:
        return HeatedRecord(heat=heat, **given)
    return SurveyedRecord(survey=survey, heat=heat, **given)


def heat_of(record: Record) -> Heat | None:
    """Temperature of a record: what it carries, else looked at anew; None without any finite sample."""
    if isinstance(record, HeatedRecord):
        return record.heat
    return heat_in(record.temperature)


def heat_in(signal: Signal | None) -> Heat | None:
    """A temperature signal looked at as heat; None without any finite sample."""
    trace = trace_of(signal)
    return Heat(trace=trace, usual=usual_temperature(trace)) if trace is not None else None


def survey_of(record: Record) -> Survey | None:
    """The survey of a record: the one it carries, else a new one; None without any live sample."""
    if isinstance(record, SurveyedRecord):
        return record.survey
    if record.value is None:
        return None
    live = live_samples(record.value, record.states)
    if not len(live):
        return None
    sampling = record.value.sampling
    blocks = make_blocks(live, width=block_width(live), drawn=sampling.kind in DRAWN)
    even = evenly(live, blocks, drawn=sampling.kind == "swinging") if sampling.on_change else live
    noises = noise_blocks(even, blocks)
    quantum = max(sampling.resolution, sampling.deadband)
    rest = without_round(blocks.start, blocks.level, width=blocks.width)
    known = noises.sigma[np.isfinite(noises.sigma)]
    sigma = median(known) if known.size else 0.0
    once = Once()
    every = once("differences", lambda: differences(rest, blocks.broken))
    neighbours = {name: onto_blocks(signal, blocks) for name, signal in record.neighbours.items()}
    return Survey(
        once=once,
        live=live,
        blocks=blocks,
        noises=noises,
        interval_s=usual_interval(live) / NS_PER_S if len(live) > 1 else 1.0,
        quantum=quantum,
        rest=rest,
        changes=together(
            changes_among(every, blocks.broken, floor=0.3 * quantum)
            or short_changes(rest, floor=0.3 * quantum, least=SHORT_LEVEL),
            sudden_changes(
                live,
                blocks,
                once("jumps", lambda: jumps(live, blocks, gaps(live.value), Way.of(sampling))),
                noise=max(sigma, quantum / 4),
            ),
        ),
        wander=scatter_of(rest),
        deadband=sampling.deadband if sampling.on_change else 0.0,
        sigma=sigma,
        noise=max(sigma, quantum / 4),
        years=len(blocks) * blocks.width / NS_PER_YEAR,
        temperature=onto_blocks(record.temperature, blocks),
        neighbours=neighbours,
        redundant=frozenset(
            name
            for name, signal in record.neighbours.items()
            if signal.unit == record.value.unit and shows_as_large(blocks.level, neighbours[name])
        ),
    )


def differences_of(survey: Survey) -> tuple[Windows, ...]:
    """Differences of the record's levels at all widths, worked out once for all who ask."""
    return survey.once("differences", lambda: differences(survey.rest, survey.blocks.broken))


def jumps_of(record: Record, survey: Survey) -> Jumps:
    """The largest jump of every block, worked out once for all who ask."""
    sampling = record.value.sampling if record.value is not None else Sampling()
    return survey.once(
        "jumps", lambda: jumps(survey.live, survey.blocks, gaps(survey.live.value), Way.of(sampling))
    )


def jump_loss(record: Record, survey: Survey, *, share: float) -> float:
    """What the values around it take off a jump in this share of the record (:func:`excursions.detect.series.sudden.loss`)."""
    sampling = record.value.sampling if record.value is not None else Sampling()
    return survey.once(f"jump loss {share}", lambda: loss(survey.live, Way.of(sampling), share=share))
