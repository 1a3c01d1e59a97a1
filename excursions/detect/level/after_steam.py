"""After steam: the reading comes back from steaming another way than it did from those before.

Between two steamings lies a batch, with jumps of its own: among them a step that heat left behind is one change of level
of many, and so is what shows for some hours only, as moisture behind a window or a membrane that polarises anew.  What
batches share is their way, so the levels at like times after each steaming are compared: the usual way is the median over
all cycles, and each cycle stands off it by an amount of its own.  One change of these amounts, from some steaming on, that
their scatter does not explain and a straight walk explains worse, came with that steaming.  All of the cycle shows a step,
its beginning alone a slow return.

False friends: a medium or a recipe changes with a batch too, and nobody sees it in the reading alone. Without a witness it
stays undecided.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    expected_faults,
    heat_before,
    name_origin,
    unexplained,
    weigh,
    witnessed,
    witnesses_of,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import number, written
from excursions.ranks import known_row_median
from excursions.records import (
    MOVED_NOT,
    MOVED_TOO,
    STEAMING,
    TEMPERATURE,
    Event,
    FloatArray,
    IndexArray,
    Limit,
    Record,
)

FEWEST_BEFORE, FEWEST_AFTER = 3, 2  # cycles that show the usual way, and that it is another way since
FEWEST_BLOCKS = 8  # of a cycle
MOST_BLOCKS = 2_000  # after a steaming: later it is not steam that is told of
COMMON = 0.25  # of the cycles may be shorter than what is compared: batches are cut short now and then (cp)
# Shares of a cycle, one in so many, in one of which a reading comes back: each half as long as the one before, so that none
# it may take lies further than a factor of 1.4 from one of them; longer than an eighth is the cycle itself (cp).
BEGINNINGS = (8, 16, 32)
SHORTEST = 2  # blocks of such a beginning
# Of the squares that a straight walk leaves, which a step must not pass: at least twice as good, because the step had the
# choice of its place (cp).
NO_WALK = 0.5
JEFFREYS = 0.5  # a change more than was seen is always possible: half a count
MOVED = 4.0  # of its errors: another signal that changed with the same steaming
HEAT, TEMPERATURE_TOO, NEIGHBOUR_TOO, NEIGHBOUR_NOT = 6.0, 0.15, 0.05, 6.0  # odds, as for other steps
STAYS = 2.0  # odds: as a step that does not come back, or one that steam brings again each time (cp)
POWER = 3.0  # errors above a threshold at which next to none is missed


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterSteamSettings:
    """When the reading is said to come back from steam another way, and whose doing it is."""

    chance: float = 0.01  # expected number of such changes by chance; batches that wander make more than their scatter says
    tolerances: float = 0.5  # a smaller change misleads nobody
    faults_per_year: float = 1.0  # as for other steps (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A change of the way back from steam: first cycle of the new way, cycles on either side, level before and size
    [signal's unit], error of the size, chance number."""

    cycle: int
    cycles: tuple[int, int]
    before: float
    size: float
    error: float
    expected: float


def detect_after_steam(record: Record, settings: AfterSteamSettings | None = None) -> tuple[Event, ...]:
    """Find the steaming from which on the reading comes back another way.

    Returns
    -------
    tuple of Event
        At most one: kind ``step``, or ``slow_return`` where the rest of each cycle is as ever; size is after minus before.
    """
    settings = settings or AfterSteamSettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    ends = np.asarray(record.states.spans(STEAMING)[:, 1])
    place = _place(survey, ends)
    if place is None:
        return ()
    level, floor = survey.blocks.level, _floor(survey)

    def matters(shift: Shift | None) -> bool:
        return shift is not None and abs(shift.size) >= settings.tolerances * record.point.tolerance_at(
            shift.before
        )

    lasting = _shift(level, place, floor=floor, at_most=settings.chance)
    if lasting is not None and matters(lasting):
        return (_event(record, survey, settings, "step", place, ends, lasting),)
    parts = _beginnings(place)
    shifts = (
        (part, _shift(level, part, floor=floor, at_most=settings.chance / len(parts))) for part in parts
    )
    found = [(part, shift) for part, shift in shifts if shift is not None and matters(shift)]
    if not found:
        return ()
    part, shift = max(found, key=lambda one: abs(one[1].size))  # what decays is largest at first
    return (_event(record, survey, settings, "slow_return", part, ends, shift),)


def after_steam_limits(record: Record, settings: AfterSteamSettings) -> Sequence[Limit]:
    """Smallest change of the way back, over the longest beginning, that is found when it comes half way through the cycles;
    a step's is stated elsewhere."""
    survey = survey_of(record)
    if survey is None:
        return ()
    place, size = _place(survey, np.asarray(record.states.spans(STEAMING)[:, 1])), math.nan
    parts = _beginnings(place) if place is not None else []
    if parts:
        apart, usual = _apart(survey.blocks.level, parts[0])
        x = apart[np.isfinite(apart)]
        if x.size >= FEWEST_BEFORE + FEWEST_AFTER:
            choices = x.size - FEWEST_BEFORE - FEWEST_AFTER + 1
            t = -float(stdtrit(x.size - 2, settings.chance / (2 * choices * len(parts))))
            k = min(max(x.size // 2, FEWEST_BEFORE), x.size - FEWEST_AFTER)
            moved = np.sort(np.diff(x) ** 2)[:-1]  # the largest may be a change of the way back
            spread = math.sqrt(float(moved.mean()) / 2)
            error = max(spread, _floor(survey)) * math.sqrt(1 / k + 1 / (x.size - k))
            least = settings.tolerances * record.point.tolerance_at(usual)
            size = max(t * error, least) + POWER * error
    seen = math.isfinite(size)
    sentence = (
        f"a return from steam that stands off less than {written(size, 2)} {record.change_unit} may not be seen here"
        if seen
        else "this record cannot show it"
    )
    return (Limit(kind="slow_return", size=size, unit=record.unit, lasting_s=0.0, sentence=sentence),)


def _event(
    record: Record,
    survey: Survey,
    settings: AfterSteamSettings,
    kind: str,
    place: IndexArray,
    ends: IndexArray,
    shift: Shift,
) -> Event:
    time = survey.live.time
    start = int(ends[shift.cycle])
    back = int(time[min(int(np.searchsorted(time, start)), len(time) - 1)])
    lasts = kind == "step"
    words = "every batch since shows it" if lasts else "later in each batch it is as ever"
    clues = (
        _heat(record, start),
        *_company(survey, place, shift),
        Clue(odds=STAYS, words=words, inside=True),
    )
    prior = expected_faults(settings.faults_per_year, survey.years)
    chance = shift.expected + unexplained(JEFFREYS, survey.years)
    probe = witnessed(weigh(prior=prior, chance=chance, clues=clues), clues)
    origin = name_origin(probe)
    half = 1.645 * shift.error
    waited = (back - start) / NS_PER_S
    over = place.shape[1] * survey.blocks.width / NS_PER_S
    severity = severity_of(record, shift.before, shift.size)
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=max(back if lasts else int(time[-1]) + 1, start + 1),
        size=shift.size,
        size_low=shift.size - half,
        size_high=shift.size + half,
        size_unit=record.unit,
        confidence=1 - probe if origin == "process" else probe,
        origin=origin,
        severity="note" if origin == "process" else severity if lasts or severity == "note" else "check",
        probe=record.probe_at(start),
        onset_uncertainty_s=waited,
        open_end=not lasts,
        evidence=(
            f"level in the {duration_text(over)} after steaming went from {number(shift.before, half)} to"
            f" {number(shift.before + shift.size, half)}: after {shift.cycles[1]} steamings, not after the {shift.cycles[0]} before",
            *words_of(clues),
        ),
        witnesses=witnesses_of(clues),
        details={
            "before": shift.before,
            "after": shift.before + shift.size,
            "transition_s": waited,
            "cycles_before": float(shift.cycles[0]),
            "cycles_after": float(shift.cycles[1]),
        },
    )


def _floor(survey: Survey) -> float:
    """What a level is known to at best."""
    return max(survey.noise, survey.quantum)


def _beginnings(place: IndexArray) -> list[IndexArray]:
    """The first part of each cycle, in which a reading comes back: longer and shorter ones."""
    lengths = [place.shape[1] // share for share in BEGINNINGS]
    return [place[:, :length] for length in lengths if length >= SHORTEST]


def _place(survey: Survey, ends: IndexArray) -> IndexArray | None:
    """Block at each time after each steaming, shape (cycles, times), -1 where there is none; None with too few cycles."""
    if ends.size < FEWEST_BEFORE + FEWEST_AFTER:
        return None
    start, width = survey.blocks.start, survey.blocks.width
    cycle = np.searchsorted(ends, start, side="right") - 1
    after = np.where(cycle >= 0, (start - ends[np.maximum(cycle, 0)]) // width, -1)
    longest = np.zeros(ends.size, dtype=np.int64)
    np.maximum.at(longest, cycle[cycle >= 0], after[cycle >= 0] + 1)
    times = min(int(np.quantile(longest, COMMON)), MOST_BLOCKS)
    if times < FEWEST_BLOCKS:
        return None
    place = np.full((ends.size, times), -1, dtype=np.int64)
    known = np.flatnonzero((cycle >= 0) & (after >= 0) & (after < times))
    place[cycle[known], after[known]] = known
    return place


def _apart(level: FloatArray, place: IndexArray) -> tuple[FloatArray, float]:
    """What each cycle stands off the usual way (k,), NaN where less than half of it is known; level of the usual way."""
    seen = np.where(place >= 0, level[np.maximum(place, 0)], np.nan)
    usual = known_row_median(seen.T)
    off = seen - usual
    enough = np.isfinite(off).sum(axis=1) >= (place.shape[1] + 1) // 2
    return np.where(enough, known_row_median(off), np.nan), float(known_row_median(usual[None, :])[0])


def _shift(level: FloatArray, place: IndexArray, *, floor: float, at_most: float) -> Shift | None:
    """The one change of the way back that the scatter of the cycles does not explain; None without."""
    apart, usual = _apart(level, place)
    known = np.flatnonzero(np.isfinite(apart))
    x, n = apart[known], known.size
    if n < FEWEST_BEFORE + FEWEST_AFTER:
        return None
    at = np.arange(FEWEST_BEFORE, n - FEWEST_AFTER + 1)
    left = np.array([_squares(x[:k]) + _squares(x[k:]) for k in at])
    best = int(np.argmin(left))
    k = int(at[best])
    line = np.polyval(np.polyfit(np.arange(n), x, 1), np.arange(n))
    if left[best] > NO_WALK * float(np.sum((x - line) ** 2)):
        return None
    before, after = float(np.mean(x[:k])), float(np.mean(x[k:]))
    error = _error(x, k, floor)
    ratio = abs(after - before) / error
    expected = at.size * 2 * float(stdtr(n - 2, -ratio))
    if expected > at_most:
        return None
    return Shift(
        cycle=int(known[k]),
        cycles=(k, n - k),
        before=usual + before,
        size=after - before,
        error=error,
        expected=expected,
    )


def _squares(x: FloatArray) -> float:
    return float(np.sum((x - x.mean()) ** 2))


def _error(x: FloatArray, k: int, floor: float) -> float:
    """Standard error of the difference of the means of x (n,) before and from `k` on; a cycle is known to `floor` at best."""
    spread = math.sqrt((_squares(x[:k]) + _squares(x[k:])) / (x.size - 2))
    return max(spread, floor) * math.sqrt(1 / k + 1 / (x.size - k))


def _heat(record: Record, end: int) -> Clue:
    """Whether this steaming was hotter than the probe is rated for; that it was hot says nothing, all of them were."""
    hottest = heat_before(record, end)
    if not hottest > record.plant.ratings(record.point, end).sterilisation_degc:
        return Clue(odds=1.0)
    return Clue(odds=HEAT, words=f"after heat: {hottest:.0f} °C in that steaming")


def _company(survey: Survey, place: IndexArray, shift: Shift) -> tuple[Clue, ...]:
    """Whether temperature and neighbours come back from steam another way since the same steaming."""
    clues = []
    for name, level in ((TEMPERATURE, survey.temperature), *survey.neighbours.items()):
        apart, _ = _apart(level, place)
        known = np.flatnonzero(np.isfinite(apart))
        k = int(np.searchsorted(known, shift.cycle))
        if not FEWEST_BEFORE - 1 <= k <= known.size - 1 or known.size < FEWEST_BEFORE + 1:
            continue
        x = apart[known]
        ratio = abs(float(np.mean(x[k:]) - np.mean(x[:k]))) / max(_error(x, k, 0.0), 1e-12)
        if ratio > MOVED:
            odds = TEMPERATURE_TOO if name == TEMPERATURE else NEIGHBOUR_TOO
            clues.append(
                Clue(
                    odds=odds,
                    words=f"{name} comes back another way since then too",
                    source=name,
                    said=MOVED_TOO,
                )
            )
        elif name in survey.redundant:
            clues.append(
                Clue(
                    odds=NEIGHBOUR_NOT,
                    words=f"{name} comes back as before",
                    source=name,
                    said=MOVED_NOT,
                )
            )
    return tuple(clues)
