"""Scores: pure functions from what is true and what was reported to matches, and from matches to figures.

The rules, all of them:

* A fault is *found* when an event of a compatible kind overlaps it (within a tolerance; a step: its first half
  day) and lays it at the
  probe's door or says that the record cannot tell; heat, and what the recording did, need only not be called routine.
  It is *laid to the probe* when the origin says probe.  It is *seen* when the kind fits whatever the origin.
  It is *named* when the kind is the very kind.
* A *false probe fault* is an event of origin probe, confidence at least 0.5, severity check or act, that
  neither fits a true fault nor is a usual consequence of one that overlaps it.  A drift or a fouling is not false where
  the true error of the reading moved the same way by at least half of its size: ordinary ageing, which is no planted fault.
* An event is *right* when its kind and origin are: a probe event fits a true fault or its aftermath; a
  process event touches no fault of a compatible kind; a routine event lies in a routine; a record event fits
  what the recording did.  Undecided events state no origin and are left out of the reliability.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.records import Event
from sample_data.simulator import TruthRow

# True kind -> event kinds that say the same thing.
COMPATIBLE: dict[str, tuple[str, ...]] = {
    "stuck": ("stuck", "pinned"),
    "pinned": ("pinned", "stuck", "out_of_range"),
    "noise_growth": ("noise_growth", "periodic", "spikes"),
    "noise_collapse": ("noise_collapse", "slow_response", "stuck"),
    "periodic": ("periodic", "noise_growth"),
    "step": ("step", "drift"),
    "drift": ("drift", "fouling", "step"),
    "fouling": ("fouling", "drift"),
    "slow_response": ("slow_response", "noise_collapse"),
    "dropout": ("dropout", "bad_quality", "bridged"),
    "bad_quality": ("bad_quality", "dropout"),
    "spikes": ("spikes", "noise_growth", "out_of_range"),
    "out_of_range": ("out_of_range", "pinned", "stuck", "spikes"),
    "bridged": ("bridged", "dropout"),
}
# Variants that look like another kind.
BY_MODE: dict[tuple[str, str], tuple[str, ...]] = {
    ("stuck", "glass"): ("stuck", "noise_collapse", "step"),
    ("stuck", "slow"): ("stuck", "noise_collapse", "slow_response"),
}
# What a true fault usually brings along: not asked for, but not false either.
CONSEQUENCES: dict[str, tuple[str, ...]] = {
    "over_temperature": ("step", "drift", "noise_growth", "slow_response", "stuck", "thermal_shock", "spikes", "temperature_fault"),
    "thermal_shock": ("step", "drift", "noise_growth", "over_temperature", "spikes", "temperature_fault"),
    "temperature_fault": ("step", "drift", "noise_growth", "over_temperature", "thermal_shock", "spikes"),
    "stuck": ("step", "noise_collapse", "slow_response", "spikes", "drift", "out_of_range"),
    "pinned": ("step", "spikes", "noise_collapse", "noise_growth"),
    "noise_growth": ("step", "out_of_range"),
    "noise_collapse": ("step",),
    "step": ("spikes", "pinned", "stuck", "out_of_range"),
    "drift": ("noise_growth", "slow_response", "pinned", "stuck", "out_of_range"),
    "fouling": ("step", "noise_collapse", "slow_response", "noise_growth"),
    "spikes": ("step", "pinned", "out_of_range"),
    "out_of_range": ("step", "noise_growth"),
    "dropout": ("step", "spikes", "noise_growth"),
    "bad_quality": ("step", "spikes", "noise_growth", "bridged"),
}  # fmt: skip
CAUSE_OPEN = ("spikes", "periodic")
ANY_BUT_ROUTINE = ("over_temperature", "thermal_shock", "dropout", "bad_quality", "bridged")
LEAST_TOLERANCE_S = 600.0
STEP_SHOWS = NS_PER_DAY // 2  # after that nothing happens until it is taken out
ABRUPT = (
    "over_temperature",
    "thermal_shock",
    "step",
    "stuck",
    "pinned",
    "spikes",
    "out_of_range",
    "temperature_fault",
)


def kinds_of(row: TruthRow) -> tuple[str, ...]:
    """Event kinds that fit a true event."""
    return BY_MODE.get((row.kind, row.mode), COMPATIBLE.get(row.kind, (row.kind,)))


@dataclass(frozen=True)
class Match:
    """One true fault and the event that says it best: found (with the right origin), seen (any origin), or none.

    blamed: laid to the probe (of spikes and hum, where a bubble or a pump does the same, the cause may stay open);
    onset_error_s: event's start minus true start, NaN without an event.
    """

    row: TruthRow
    relative: float
    interval_s: float
    found: Event | None
    seen: Event | None
    blamed: bool = False

    @property
    def named(self) -> bool:
        """Whether the found event has the very kind."""
        return self.found is not None and self.found.kind == self.row.kind

    @property
    def onset_error_s(self) -> float:
        """Onset of the found event minus the true one."""
        return math.nan if self.found is None else (self.found.start - self.row.start) / NS_PER_S


@dataclass(frozen=True)
class Judged:
    """One reported event: whether kind and origin are right (None: it states no origin), whether it is a false
    probe fault, and which look-alike or routine it lies in (empty: none)."""

    event: Event
    right: bool | None
    false: bool
    beside: str


@dataclass(frozen=True)
class Score:
    """Everything about one point: its faults matched, its events judged, how long its record is."""

    matches: tuple[Match, ...]
    judged: tuple[Judged, ...]
    point_years: float


def tolerance_ns(interval_s: float) -> int:
    """How far an event may miss a fault and still mean it: ten minutes, or three intervals."""
    return round(max(LEAST_TOLERANCE_S, 3 * interval_s) * NS_PER_S)


def overlaps(row: TruthRow, event: Event, slack: int) -> bool:
    """Whether an event touches a true span, give or take `slack` ns; of a step, which lasts until somebody takes
    it out, the half day after its begin or around its end."""
    return any(touches(a, b, event.start, event.end, slack) for a, b in shown(row))


def begins_in(row: TruthRow, event: Event, slack: int) -> bool:
    """The same, but of a step its begin alone: who points at its end has not found it."""
    return touches(*shown(row)[0], event.start, event.end, slack)


def shown(row: TruthRow) -> tuple[tuple[int, int], ...]:
    """Spans [ns] in which a true event shows itself, its begin first."""
    if row.kind != "step" or row.end - row.start <= 2 * STEP_SHOWS:
        return ((row.start, row.end),)
    return (row.start, row.start + STEP_SHOWS), (row.end - STEP_SHOWS, row.end)


def touches(lo: int, hi: int, start: int, end: int, slack: int) -> bool:
    """Whether [start, end) touches [lo, hi), give or take `slack` ns."""
    return start < hi + slack and max(end, start + 1) > lo - slack


def _origin_fits(row: TruthRow, event: Event) -> bool:
    if row.kind in ANY_BUT_ROUTINE:
        return event.origin != "routine"
    played = row.mode == "repeat" and event.origin == "record"  # a block played back is the archive's doing
    return event.origin in ("probe", "undecided") or played


def _lays(row: TruthRow, event: Event) -> bool:
    if row.kind in ANY_BUT_ROUTINE or row.kind in CAUSE_OPEN:
        return _origin_fits(row, event)
    return event.origin == "probe"


def match(row: TruthRow, events: Sequence[Event], relative: float, interval_s: float) -> Match:
    """The event that fits a fault best: the very kind first, then the onset that is nearest."""
    slack = tolerance_ns(interval_s)
    fitting = [e for e in events if e.kind in kinds_of(row) and begins_in(row, e, slack)]

    def order(event: Event) -> tuple[bool, int]:
        return event.kind != row.kind, abs(event.start - row.start)

    seen = min(fitting, key=order, default=None)
    found = min((e for e in fitting if _origin_fits(row, e)), key=order, default=None)
    blamed = any(_lays(row, e) for e in fitting)
    return Match(row, relative, interval_s, found, seen, blamed)


def excused(row: TruthRow, event: Event, slack: int) -> bool:
    """Whether a true fault (or what it left behind) accounts for an event."""
    brought = CONSEQUENCES.get(row.kind, ()) + CONSEQUENCES.get(row.mode, ())
    return overlaps(row, event, slack) and event.kind in kinds_of(row) + brought


def judge(event: Event, truth: Sequence[TruthRow], interval_s: float) -> Judged:
    """Whether an event is right, false, and what innocent thing it lies beside."""
    slack = tolerance_ns(interval_s)
    faults = [
        row for row in truth if row.role in ("fault", "aftermath", "record") and excused(row, event, slack)
    ]
    beside = next(
        (row.kind for row in truth if row.role in ("lookalike", "routine") and overlaps(row, event, slack)),
        "",
    )
    loud = event.origin == "probe" and event.confidence >= 0.5 and event.severity in ("check", "act")
    return Judged(event, _right(event, truth, slack), loud and not faults, beside)


def _right(event: Event, truth: Sequence[TruthRow], slack: int) -> bool | None:
    near = [row for row in truth if overlaps(row, event, slack)]
    fitting = [row for row in near if event.kind in kinds_of(row)]
    if event.origin == "probe":
        return any(row.role in ("fault", "aftermath") for row in near if excused(row, event, slack))
    if event.origin == "process":
        return not any(
            row.role in ("fault", "aftermath") and row.kind not in ANY_BUT_ROUTINE for row in fitting
        )
    if event.origin == "record":
        return any(row.role == "record" for row in fitting)
    if event.origin == "routine":
        return any(row.role == "routine" for row in near)
    return None


def score_point(
    truth: Sequence[TruthRow],
    events: Sequence[Event],
    relatives: Sequence[float],
    interval_s: float,
    point_years: float,
) -> Score:
    """Match every fault, judge every event.  relatives: size over limit of each row that `is_fault`, in order."""
    faults = [row for row in truth if row.is_fault]
    matches = tuple(match(row, events, size, interval_s) for row, size in zip(faults, relatives, strict=True))
    return Score(matches, tuple(judge(event, truth, interval_s) for event in events), point_years)


def reliability(
    judged: Sequence[Judged], *, routine: bool, bins: int = 10
) -> list[tuple[float, float, int, float]]:
    """Rows (mean confidence, share right, count, standard error of the share) of each filled bin.

    routine: of the events called routine, or of all others.
    """
    said = [
        (j.event.confidence, j.right)
        for j in judged
        if j.right is not None and (j.event.origin == "routine") == routine
    ]
    rows = []
    for k in range(bins):
        here = [(c, r) for c, r in said if min(int(c * bins), bins - 1) == k]
        if here:
            share = float(np.mean([r for _, r in here]))
            error = math.sqrt(max(share * (1 - share), 0.25 / len(here)) / len(here))
            rows.append((float(np.mean([c for c, _ in here])), share, len(here), error))
    return rows
