"""Flurries: bursts of noise of minutes that come again and again from one day on, as from a wet plug or a loose clamp.

Each is over before its noise could be told from chance, and all together are no change of the usual noise.  Method: a
stretch of a few dozen samples is loud when its noise passes several times the usual; loud stretches side by side are one
flurry.  Where they become a habit (:mod:`excursions.detect.series.habit`), that is one event.  A process that bursts all the
time, or as often as ever, is left alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    elsewhere_clue,
    expected_faults,
    heat_clue,
    name_origin,
    state_clue,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.blocks import SECOND_DIFFERENCE, noise_blocks
from excursions.detect.series.groups import group_median
from excursions.detect.series.habit import Habit, habit_of
from excursions.detect.series.live import bends, live_samples
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import median, quantile
from excursions.records import Event, FloatArray, IndexArray, Record
from excursions.runs import runs

QUIET = 0.25  # quantile of the noise that is the usual one, also where half of a record is loud
MOST_LOUD = 0.3  # of the stretches: more are how the reading is
FEWEST_SAMPLES, NORMAL_MEDIAN = 8, 0.6745  # of a burst; median of |x|, x standard normal
BESIDE = 0.5  # of the flurries that the temperature shows as well


@dataclass(frozen=True, slots=True, kw_only=True)
class FlurrySettings:
    """When bursts of noise are an event, and whose."""

    loud: float = 4.0  # times the usual noise: one figure of it is good to a fifth
    growths_per_year: float = 0.6  # as for noise that grows (cp)
    unexplained: float = 0.2  # bubbles, a pump that sucks air: as for noise that grows (cp)
    electrode: float = 3.0  # odds where plug and cable carry a few nanoamperes at most (cp)


def detect_flurry(record: Record, settings: FlurrySettings | None = None) -> tuple[Event, ...]:
    """Find bursts of noise that became a habit.

    Returns
    -------
    tuple of Event
        At most one, kind ``noise_growth``; size is the noise in the bursts over the usual.
    """
    settings = settings or FlurrySettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    edge, sigma = _noise(survey)
    known = sigma[np.isfinite(sigma)]
    usual = max(quantile(known, QUIET) if known.size else 0.0, survey.quantum / 2, survey.deadband)
    loud = np.nan_to_num(sigma) > settings.loud * max(usual, 1e-300)
    if usual <= 0 or not loud.any() or np.mean(loud) > MOST_LOUD:
        return ()
    spans = runs(loud)
    habit = habit_of(edge[spans[:, 0]], len(survey.blocks))
    if habit is None:
        return ()
    between = sigma[spans[habit.first, 0] : spans[habit.last - 1, 1]]
    if float(np.nanmedian(between)) > settings.loud / 2 * usual:
        return ()  # it is noisy between the bursts as well: its noise has grown
    return (_event(record, survey, edge, spans, habit, usual, settings),)


def _noise(survey: Survey) -> tuple[IndexArray, FloatArray]:
    """First block of each stretch and the end (k + 1,), and its noise (k,).

    A thinned record holds many samples where it bursts and few where it does not: there each block is judged by the
    samples it holds, so that a burst much shorter than the block still has its say.
    """
    if not survey.deadband:
        return survey.noises.block, survey.noises.sigma
    bend, broken = bends(survey.live)
    first = survey.blocks.first - np.searchsorted(broken, survey.blocks.first)
    lo, hi = np.minimum(first[:-1], bend.size), np.clip(first[1:] - 2, 0, bend.size)
    sigma = group_median(bend, lo, np.maximum(hi, lo)) / (NORMAL_MEDIAN * SECOND_DIFFERENCE)
    sigma[hi - lo < FEWEST_SAMPLES] = 0.0  # hardly a sample was worth keeping: it is quiet
    return np.arange(len(survey.blocks) + 1), sigma


def _event(
    record: Record,
    survey: Survey,
    edge: IndexArray,
    spans: IndexArray,
    habit: Habit,
    usual: float,
    settings: FlurrySettings,
) -> Event:
    blocks = survey.blocks
    mine = edge[spans[habit.first : habit.last]]  # blocks
    start = int(survey.live.time[min(int(blocks.first[mine[0, 0]]), len(survey.live) - 1)])
    last = int(blocks.start[mine[-1, 1] - 1]) + blocks.width
    end = int(survey.live.time[-1]) if habit.goes_on else last
    inside = _noises(survey, mine)
    noise = median(inside)
    lasting = median((mine[:, 1] - mine[:, 0]).astype(np.float64)) * blocks.width_s
    a_day = NS_PER_DAY / blocks.width
    clues = (
        heat_clue(record, start),
        state_clue(record, start),
        elsewhere_clue(survey, start, end),
        _temperature_clue(record, survey, mine, settings),
        Clue(odds=settings.electrode if record.point.quantity.electrode else 1.0, inside=True),
    )
    probe = weigh(
        prior=expected_faults(settings.growths_per_year, survey.years),
        chance=unexplained(settings.unexplained, survey.years),
        clues=clues,
    )
    probe = witnessed(probe, clues)
    level = float(np.median(blocks.level))
    return Event(
        point=record.point.name,
        kind="noise_growth",
        start=start,
        end=max(end, start + 1),
        size=noise / usual,
        size_low=quantile(inside, 0.25) / usual,
        size_high=quantile(inside, 0.75) / usual,
        size_unit="",
        confidence=probe,
        origin=name_origin(probe),
        severity="note"
        if severity_of(record, level, max(2 * noise, _off(survey, mine))) == "note"
        else "check",
        probe=record.probe_at(start),
        onset_uncertainty_s=blocks.width_s,
        open_end=habit.goes_on,
        evidence=(
            f"noise {written(noise, 2)} {record.change_unit} against {written(usual, 2)} {record.change_unit} usually, in {len(mine)} bursts of about {duration_text(lasting)}",
            f"{written(habit.now * a_day, 2)} bursts a day, {written(habit.before * a_day, 2)} before",
            *words_of(clues),
        ),
        details={"noise_before": usual, "noise": noise, "bursts": float(len(mine))},
    )


def _noises(survey: Survey, mine: IndexArray) -> FloatArray:
    """Noise of each burst (k,) by its samples."""
    first, value = survey.blocks.first, survey.live.value
    parts = [value[first[a] : first[b]] for a, b in mine]
    every = [np.abs(part[2:] - 2 * part[1:-1] + part[:-2]) for part in parts if part.size > FEWEST_SAMPLES]
    return np.array([median(bend) for bend in every]) / (NORMAL_MEDIAN * SECOND_DIFFERENCE)


def _off(survey: Survey, mine: IndexArray) -> float:
    """How far the reading is usually off in a burst: its level beside that of as many blocks before."""
    level = survey.blocks.level
    away = [abs(median(level[a:b]) - median(level[max(2 * a - b, 0) : a])) for a, b in mine if a and b > a]
    return median(np.array(away)) if away else 0.0


def _temperature_clue(record: Record, survey: Survey, mine: IndexArray, settings: FlurrySettings) -> Clue:
    """Whether the temperature is noisy in the same bursts, as in a medium that is stirred or full of bubbles."""
    signal = record.temperature
    live = live_samples(signal, record.states) if signal is not None else None
    if live is None or len(live) < 100:
        return Clue(odds=1.0)
    own = noise_blocks(live, survey.blocks)
    sigma = own.sigma
    place = np.maximum(np.searchsorted(own.start, survey.blocks.start[mine[:, 0]], side="right") - 1, 0)
    known = sigma[np.isfinite(sigma)]
    if not known.size or not np.median(known) > 0:
        return Clue(odds=1.0)
    share = float(np.mean(np.nan_to_num(sigma[place]) > settings.loud * float(np.median(known))))
    if share > BESIDE:
        return Clue(odds=0.15, words="the temperature is noisy at the same moments")
    return Clue(odds=1.5, words="the temperature is calm meanwhile")
