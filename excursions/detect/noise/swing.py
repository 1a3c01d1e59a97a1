"""A loop that swings more slowly: the cycle of an on-off control grows longer and wider.

A probe in a loop that is dosed on and off swings between two limits all day.  When the probe follows more slowly, the
loop learns late that a limit was passed: the cycle becomes longer and overshoots further.  Slower dosing, a longer way
or a larger volume do the same, so that the record alone cannot tell whose doing it is; more or less to neutralise
changes the length of the cycle, but hardly its swing.

Method: crossings of two levels, a quarter and three quarters up the swing, cut the record into cycles.  Medians of
length and swing of each day (of even shares on a short record) are fitted by a straight transition between two levels,
and the rise is held against the scatter from one day to the next.  Where the loop is driven by another probe its cycle stays,
but the reading turns round less sharply (:mod:`excursions.detect.noise.turning`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    weigh,
    words_of,
)
from excursions.detect.noise.turning import turns
from excursions.detect.series.groups import group_median
from excursions.detect.series.shape import ramp
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import NORMAL_MAD, median, quantile, quantiles, scatter_of
from excursions.records import Event, FloatArray, IndexArray, Record

MOST_SAMPLES = 400_000  # looked at, evenly thinned
CLEAR = 20.0  # noises that a swing must measure
FEWEST_CYCLES, FEWEST_SAMPLES = 80, 8  # of a record; of a cycle
REGULAR = 0.4  # robust spread of the lengths over their median; a wandering process has about one
FEWEST_DAYS, SHARES = 8, 16
FEWEST_IN_SHARE = 4  # cycles
# Of the time in the middle half of its swing: a sine is there for 0.32, by its ends at 10 and 90 %.
UNDER_WAY = 0.25
NARROWER = 0.05  # logarithm of the swing; less is chance


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingSettings:
    """When a loop is said to swing more slowly."""

    longer: float = 1.25  # times the usual cycle
    slower: float = 1.5  # times the response that shows where the reading turns round
    wider: float = 1.03  # times the usual swing: most of it is the distance of the two limits
    suspicion: float = 1e-3  # chance of either rise
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.5  # dosing, mixing and volume do it as often (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycles:
    """Cycles of a record: start (k,) ns, length (k,) s, swing (k,) from the lowest to the highest reading."""

    start: IndexArray
    length: FloatArray
    swing: FloatArray


def detect_swing(record: Record, settings: SwingSettings | None = None) -> tuple[Event, ...]:
    """Find a limit cycle that became longer and wider.

    Returns
    -------
    tuple of Event
        At most one, kind ``slow_response``; size is the length of the cycle then over before.
    """
    settings = settings or SwingSettings()
    survey = survey_of(record)
    cycles = None if survey is None else limit_cycle(survey)
    if survey is None or cycles is None:
        return ()
    start, length, swing = _by_day(cycles)
    if start.size < FEWEST_DAYS:
        return ()
    slower = _slower_loop(record, survey, (start, length, swing), settings)
    return slower or _rounder_turns(record, survey, cycles, (start, length, swing), settings)


Days = tuple[IndexArray, FloatArray, FloatArray]


def _slower_loop(record: Record, survey: Survey, days: Days, settings: SwingSettings) -> tuple[Event, ...]:
    """A cycle that became longer and wider."""
    start, length, swing = days
    longer = np.log(length)
    begin, end = ramp(longer, start.size // 2)
    rises = [_rise(series, begin, end) for series in (longer, np.log(swing))]
    least = (math.log(settings.longer), math.log(settings.wider))
    if any(
        rise < bar or chance > settings.suspicion for (rise, chance), bar in zip(rises, least, strict=True)
    ):
        return ()
    return (_event(record, survey, (start, length, swing), (begin, end), rises, settings),)


def _rounder_turns(
    record: Record, survey: Survey, cycles: Cycles, days: Days, settings: SwingSettings
) -> tuple[Event, ...]:
    """A reading that turns round less sharply, at both ends of its swing."""
    if _rests_at_its_ends(survey):
        return ()
    group = np.append(np.searchsorted(cycles.start, days[0]), cycles.start.size)
    upper, lower = turns(survey, cycles.start, cycles.length, group)
    known = np.isfinite(upper) & np.isfinite(lower)
    if np.count_nonzero(known) < FEWEST_DAYS:
        return ()
    days = (days[0][known], days[1][known], days[2][known])
    tau = (upper[known] + lower[known]) / 2
    begin, end = ramp(tau, tau.size // 2)
    rises = [_rise(one, begin, end) for one in (upper[known], lower[known])]
    if any(chance > settings.suspicion or rise < survey.interval_s for rise, chance in rises):
        return ()
    before, now = float(np.median(tau[: max(begin, 1)])), float(np.median(tau[min(end, tau.size - 1) :]))
    before = max(before, survey.interval_s / 2)  # a faster response does not show in these samples
    if now < settings.slower * before:
        return ()
    start = int(days[0][min(begin, tau.size - 1)])
    clues = (
        heat_clue(record, start),
        Clue(odds=2.0, words="at the upper and at the lower end of its swing"),
        _narrower(days, begin, end),
    )
    chance = sum(chance for _, chance in rises) + expected_faults(settings.unexplained, survey.years)
    probe = weigh(prior=expected_faults(settings.faults_per_year, survey.years), chance=chance, clues=clues)
    spread = 1.645 * NORMAL_MAD * median(np.abs(np.diff(tau))) / math.sqrt(2)
    return (
        Event(
            point=record.point.name,
            kind="slow_response",
            start=start,
            end=int(survey.live.time[-1]),
            size=now / before,
            size_low=max(now - spread, 0.0) / before,
            size_high=(now + spread) / before,
            size_unit="",
            confidence=probe,
            origin=name_origin(probe),
            severity="check",
            probe=record.probe_at(start),
            onset_uncertainty_s=float(np.median(np.diff(days[0]))) / NS_PER_S,
            open_end=True,
            evidence=(
                f"it turns round as behind a lag of {duration_text(now)}, {duration_text(before)} or less before",
                *words_of(clues),
                "slower mixing in front of the probe does the same",
            ),
            details={"time_constant_before_s": before, "time_constant_s": now},
        ),
    )


def _rests_at_its_ends(survey: Survey) -> bool:
    """Whether a swing is hardly ever under way: batches that stand at one level and then at another have no corner to round.

    Straight lines spend half of their time in the middle half of the swing, and behind the longest lag, which leaves
    a sine, still a third.
    """
    value = survey.live.value[:: -(-len(survey.live) // MOST_SAMPLES)]
    low, high = quantiles(value[:: max(1, value.size // 50_000)], (0.1, 0.9))
    inside = (value > low + 0.25 * (high - low)) & (value < low + 0.75 * (high - low))
    return float(np.mean(inside)) < UNDER_WAY


def _narrower(days: Days, begin: int, end: int) -> Clue:
    """A loop set to closer limits turns sooner; a reading that swings less in cycles as long as ever follows less."""
    first, last = slice(0, max(begin, 1)), slice(min(end, days[0].size - 1), None)
    longer, wider = (float(np.log(np.median(x[last]) / np.median(x[first]))) for x in days[1:])
    if wider > -NARROWER or abs(longer) > abs(wider) / 2:
        return Clue(odds=1.0)
    words = f"it swings by {100 * (1 - math.exp(wider)):.0f} % less, in cycles as long as before"
    return Clue(odds=3.0, words=words)


def limit_cycle(survey: Survey) -> Cycles | None:
    """The cycles of a reading that swings between two limits all the time; None where it does not."""
    live = survey.live
    step = -(-len(live) // MOST_SAMPLES)
    time, value = live.time[::step], live.value[::step]
    low, high = quantiles(value[:: max(1, value.size // 50_000)], (0.1, 0.9))
    if high - low < CLEAR * survey.noise:
        return None
    outside = np.flatnonzero((value > low + 0.75 * (high - low)) | (value < low + 0.25 * (high - low)))
    above = value[outside] > (low + high) / 2
    up = outside[1:][above[1:] & ~above[:-1]]
    if up.size <= FEWEST_CYCLES:
        return None
    length = np.diff(time[up]) / NS_PER_S
    usual = float(np.median(length))
    if scatter_of(length) > REGULAR * usual or float(np.median(np.diff(up))) < FEWEST_SAMPLES:
        return None
    swing = np.maximum.reduceat(value, up[:-1]) - np.minimum.reduceat(value, up[:-1])
    whole = length < 3 * usual  # else the loop was off, or data are missing
    if np.sum(length[whole]) < 0.5 * (time[-1] - time[0]) / NS_PER_S:
        return None
    return Cycles(start=time[up[:-1]][whole], length=length[whole], swing=swing[whole])


def _by_day(cycles: Cycles) -> tuple[IndexArray, FloatArray, FloatArray]:
    """First instants, median lengths and median swings of each day; of even shares where there are few days."""
    day = (cycles.start - cycles.start[0]) // NS_PER_DAY
    if int(day[-1]) + 1 < FEWEST_DAYS:
        day = np.arange(day.size) * SHARES // day.size
    _, first, count = np.unique(day, return_index=True, return_counts=True)
    enough = count >= FEWEST_IN_SHARE
    lo, hi = first[enough], (first + count)[enough]
    return cycles.start[lo], group_median(cycles.length, lo, hi), group_median(cycles.swing, lo, hi)


def _rise(series: FloatArray, begin: int, end: int) -> tuple[float, float]:
    """Rise from before `begin` to after `end`, and the chance of it by the scatter from one entry to the next.

    Neighbouring days hang together: their mean counts as that of a third of them.
    """
    before, after = series[: max(begin, 1)], series[min(end, series.size - 1) :]
    rise = float(np.median(after) - np.median(before))
    scatter = max(NORMAL_MAD * float(np.median(np.abs(np.diff(series)))) / math.sqrt(2), 1e-3)
    error = scatter * math.sqrt(3 / before.size + 3 / after.size)
    return rise, float(series.size * stdtr(max(series.size - 2, 1), -rise / error))


def _event(
    record: Record,
    survey: Survey,
    days: tuple[IndexArray, FloatArray, FloatArray],
    place: tuple[int, int],
    rises: list[tuple[float, float]],
    settings: SwingSettings,
) -> Event:
    first, length, swing = days
    begin, end = max(place[0], 1), min(place[1], first.size - 1)
    start = int(first[min(begin, first.size - 1)])
    before, now = float(np.median(length[:begin])), float(np.median(length[end:]))
    narrow, wide = float(np.median(swing[:begin])), float(np.median(swing[end:]))
    clues = (
        heat_clue(record, start),
        Clue(
            odds=2.0,
            words=f"its swing grew from {written(narrow)} to {written(wide)}, as behind a slow probe",
        ),
    )
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years),
        chance=sum(chance for _, chance in rises) + expected_faults(settings.unexplained, survey.years),
        clues=clues,
    )
    return Event(
        point=record.point.name,
        kind="slow_response",
        start=start,
        end=int(survey.live.time[-1]),
        size=now / before,
        size_low=quantile(length[end:], 0.05) / before,
        size_high=quantile(length[end:], 0.95) / before,
        size_unit="",
        confidence=probe,
        origin=name_origin(probe),
        severity="check",
        probe=record.probe_at(start),
        onset_uncertainty_s=float(first[begin] - first[begin - 1]) / NS_PER_S,
        open_end=True,
        evidence=(
            f"the cycle of this loop took {duration_text(before)} before and takes {duration_text(now)} now",
            *words_of(clues),
            "slower dosing, a longer way or a larger volume do the same",
        ),
        details={"period_before_s": before, "period_s": now, "swing_before": narrow, "swing": wide},
    )
