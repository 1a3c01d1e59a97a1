"""What each detector would miss on this record: its own detection limit, from the record itself.

A limit is the smallest fault that is found with a probability of about 98 %: the threshold the record's own
scatter sets, plus three standard errors of the figure that is compared with it.  Smaller faults may be found.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.special import stdtrit

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.catalogue import DETECTORS
from excursions.detect.evidence.apart import apart_from_neighbours, differences_apart
from excursions.detect.evidence.beside import LIKE
from excursions.detect.level.alike import MUCH_LARGER, moves
from excursions.detect.level.step import TRIFLE, TRIFLE_APART
from excursions.detect.limits_plain import chosen, make, plain_limits
from excursions.detect.noise.noise import ERROR, NoiseSettings
from excursions.detect.noise.over_time import noise_series
from excursions.detect.noise.periodic import PeriodicSettings, least_amplitude
from excursions.detect.series.groups import group_median
from excursions.detect.series.scan import FEW_PEAKS, LEAST_RATIO, SUSPICION, Windows, spreads, widths
from excursions.detect.series.several import pace_s
from excursions.detect.series.short import HIGHEST_R, tail_probability, together
from excursions.detect.series.short import LONGEST as SHORT
from excursions.detect.series.slopes import KNOWLEDGE, WINDOWS
from excursions.detect.series.spells import drawn_line
from excursions.detect.series.sudden import LEAST_NOISE, standing_out
from excursions.detect.series.survey import (
    SHORT_LEVEL,
    Survey,
    differences_of,
    jump_loss,
    jumps_of,
    survey_of,
)
from excursions.detect.series.tails import JUMP, outlying, size_of
from excursions.detect.slow.disturbances import disturbances
from excursions.detect.slow.drift import TRIFLE as WALK_TRIFLE
from excursions.detect.slow.plateaus import joined_apart, joined_rest
from excursions.detect.slow.response import ResponseSettings, least_scatter
from excursions.detect.still.stuck import StuckSettings, shortest_stuck
from excursions.digits import written
from excursions.kinds import KINDS
from excursions.ranks import NORMAL_MAD, median, quantiles, scatter_of
from excursions.records import FloatArray, Limit, Record

FOUND = 0.98  # of the faults at the limit
POWER = 3.0  # standard errors above a threshold at which next to none is missed
SLOW_CHANGE_S = 3_600.0  # a change that takes longer than any probe's response is one of all moves as long
HABIT = 3  # changes of level as large as a step may be, before it is one of many
UNSEEN_MARGIN = 1.3  # usual noise must pass the smallest that can be told by this
NOISE_MARGIN = 1.25  # the same for a ratio of noises
MARGIN = 1.5  # over a size below which nothing is reported, for the error of the size seen
SHARE = 16  # a width must fit the record this often to state a limit at it
SENSELESS = 2.0  # spans of the record: a limit above is no limit
LOUDEST = 20.0  # a ratio of noises above is no limit
DAY_S = 86_400.0
SLOW = 4  # disturbances a slower response is stated for
WALK_SHARE = 8  # a drift over an eighth of the record is what its limit is stated for


def detection_limits(record: Record, settings: Mapping[str, object] | None = None) -> dict[str, Limit]:
    """Detection limits of all detectors on this record, by kind of event, in the order of the kinds.

    Parameters
    ----------
    record : Record
    settings : mapping of detector name to settings object, optional
        As given to :func:`excursions.detect.catalogue.detect`; detectors not named have their defaults.

    Returns
    -------
    dict of kind to Limit
        Kinds of the reading are left out for a record without a live sample.
    """
    given = settings or {}
    found = plain_limits(record, given)
    survey = survey_of(record)
    if survey is not None and record.value is not None:
        found += _searched(record, survey, record.change_unit, given)
    for one in DETECTORS:
        if one.limits is not None:
            found += one.limits(record, chosen(given, one.name, one.settings()))
    order = {key: rank for rank, key in enumerate(KINDS)}
    return {limit.kind: limit for limit in sorted(found, key=lambda limit: order[limit.kind])}


def _searched(record: Record, survey: Survey, unit: str, given: Mapping[str, object]) -> list[Limit]:
    """Limits of what is searched for in the live reading."""
    longest = _walk_s(survey)
    stay, step, jump = step_limit(record, survey)
    sharper = (
        f" ({written(jump, 2)} {unit} where it comes from one sample to the next)" if jump < step else ""
    )
    growth, collapse, day_s = _noise_limits(survey, chosen(given, "noise", NoiseSettings()))
    slower, spacing_s = _response_limit(record, survey, chosen(given, "slow_response", ResponseSettings()))
    cycle, chunk_s = least_amplitude(record, chosen(given, "periodic", PeriodicSettings()))
    stuck = chosen(given, "stuck", StuckSettings())
    still, flicker = shortest_stuck(record, stuck)
    far = _senseless(survey)
    return [
        make("stuck", still, "s", lasting_s=flicker, most=longest, say=lambda s: f"a reading that stands still for less than {duration_text(s)}, or flickers or creeps for less than {duration_text(flicker)},"),
        make("noise_growth", growth, "", lasting_s=day_s, most=LOUDEST, say=lambda s: f"noise less than {written(s, 2)} times as large, or for less than {duration_text(day_s)},"),
        make("noise_collapse", collapse, "", lasting_s=day_s, least=1 / LOUDEST, say=lambda s: f"noise that keeps more than {written(s, 2)} of its size, or falls for less than {duration_text(day_s)},"),
        _or_at_once(make("step", step, unit, lasting_s=stay, most=far, say=lambda s: f"a step smaller than {written(s, 2)} {unit}{sharper}, or one that stays for less than {duration_text(stay)},"), jump, far),
        *_walks(record, survey, unit, far),
        make("slow_response", slower, "s", lasting_s=spacing_s, most=DAY_S, say=lambda s: f"a response that takes less than {duration_text(s)} longer, or for less than {duration_text(spacing_s)},"),
        make("periodic", cycle, unit, lasting_s=chunk_s, most=far, say=lambda s: f"a cycle of amplitude less than {written(s, 2)} {unit}, or for less than {duration_text(chunk_s)},"),
    ]  # fmt: skip


def walk_limits(record: Record) -> dict[str, Limit]:
    """Limits of drift and fouling alone, by kind; none for a record without a live sample."""
    survey = survey_of(record)
    if survey is None or record.value is None:
        return {}
    return {limit.kind: limit for limit in _walks(record, survey, record.change_unit, _senseless(survey))}


def _walks(record: Record, survey: Survey, unit: str, far: float) -> list[Limit]:
    longest, drift = _walk_s(survey), drift_limit(record, survey)
    return [
        make("drift", drift, unit, lasting_s=longest, most=far, say=lambda s: f"a drift of less than {written(s, 2)} {unit} within {duration_text(longest)}"),
        make("fouling", drift, unit, lasting_s=longest, most=far, say=lambda s: f"fouling of less than {written(s, 2)} {unit} within {duration_text(longest)}"),
    ]  # fmt: skip


def _walk_s(survey: Survey) -> float:
    """How long a walk is for which its limit is stated [s]."""
    return len(survey.blocks) * survey.blocks.width_s / WALK_SHARE


def _senseless(survey: Survey) -> float:
    """Size from which on a limit is none, the reading's unit."""
    span = float(np.ptp(quantiles(survey.blocks.level, (0.01, 0.99))))
    return SENSELESS * max(span, survey.noise)


def step_limit(record: Record, survey: Survey) -> tuple[float, float, float]:
    """How long a step must stay [s], the smallest one found then however it comes, and the smallest that comes from
    one sample to the next; the reading's unit.

    What takes minutes looks like what the process does; what comes at once has only other jumps to stand out from.
    """
    floor = 0.3 * survey.quantum
    wide, width = _least_difference(differences_of(survey), len(survey.rest), floor=floor)
    if len(survey.blocks) <= SHORT:
        wide = min(wide, _least_short(survey.rest, floor))
    tolerance = record.point.tolerance_at(median(survey.blocks.level))
    span = SENSELESS * float(np.ptp(survey.blocks.level))
    wide = max(wide, _habit(np.array([abs(change.size) for change in survey.changes])))
    while moves(survey, wide, SLOW_CHANGE_S) > HABIT and wide < span:
        wide *= 1.1
    least = max(MARGIN * TRIFLE * tolerance, survey.quantum)
    size, jump = max(wide, least), max(_least_jump(record, survey), least)
    for name, apart in apart_from_neighbours(survey):
        differing, stay = _least_difference(differences_apart(survey, name, apart), len(apart), floor=floor)
        differing = max(differing, MARGIN * TRIFLE_APART * tolerance, survey.quantum)
        if differing < size:
            size, width = differing, stay
    return max(width, 2) * survey.blocks.width_s, size, min(size, jump)


def _or_at_once(limit: Limit, jump: float, far: float) -> Limit:
    """With the smaller size of what comes at once; that alone where nothing slower can be found."""
    if not jump < min(far, math.inf if math.isnan(limit.size) else limit.size):
        return limit
    if not math.isnan(limit.size):
        return replace(limit, at_once=jump)
    sentence = f"a step smaller than {written(jump, 2)} {limit.unit}, or of any size that takes more than two samples, may not be seen here"
    return replace(limit, at_once=jump, sentence=" ".join(sentence.split()).replace(" ,", ","))


def _least_difference(
    every: tuple[Windows, ...], blocks: int, *, floor: float, ramp: int = 0
) -> tuple[float, int]:
    """Smallest difference that passes at some width and keeps for it (or the smallest ramp over `ramp` blocks), and
    that width in blocks.

    Only widths that the record holds sixteen times, so that it shows by itself what is usual.
    """
    least = SUSPICION / math.sqrt(max(len(every), 1))
    found, best = math.inf, 0
    for one, spread in zip(every, spreads(every, blocks, floor=floor), strict=True):
        if one.width * SHARE > blocks:
            continue
        at = one.clean_peaks if one.clean.any() else one.peaks
        if at.size < FEW_PEAKS:
            continue
        ratio = np.abs(one.diff[at]) / max(spread, 1e-300)
        seen = max(1.0, ramp / one.width)  # a window shorter than a ramp sees only its share of it
        needed = (_least_ratio(ratio, least) + POWER) * float(spread) * seen
        if needed < found:
            found, best = needed, one.width
    return found, best


def _least_ratio(ratio: FloatArray, least: float) -> float:
    """Smallest ratio to the usual that stands off from those that are usual."""
    bulk = ratio[~outlying(ratio, at_most=least)]
    return max(size_of(bulk, least), JUMP * float(bulk.max()), LEAST_RATIO)


def _least_jump(record: Record, survey: Survey) -> float:
    """Smallest jump from sample to sample that no other jump of the record explains."""
    live, blocks = survey.live, survey.blocks
    if len(live) < 4 * len(blocks):
        return math.inf
    size, unit = jumps_of(record, survey).size, max(survey.noise, 1e-12)
    large, bulk = standing_out(size, unit)
    gap = max(size_of(bulk, SUSPICION), JUMP * float(bulk[-1]), (LEAST_NOISE + 1) * unit) - unit
    return max(gap + jump_loss(record, survey, share=FOUND), _habit(size[large]))


def _habit(sizes: FloatArray) -> float:
    """Size up to which a step is one of many of its like in this record, as :mod:`excursions.detect.level.alike` counts them."""
    ordered = np.sort(sizes)
    least, most = ordered[: max(ordered.size - HABIT, 0)], ordered[HABIT:]
    many = most * LIKE <= least * MUCH_LARGER
    return float(least[many].max()) / LIKE if many.any() else 0.0


def _least_short(level: FloatArray, floor: float) -> float:
    """Smallest step in the middle of a short series."""
    n = level.size
    if n < 24:
        return math.inf
    rest = level - median(level)
    alike = together(rest, most=HIGHEST_R, fitted=2)
    error = math.sqrt(max(float(rest @ rest) / n, floor**2) * alike / (n / 4))
    statistic = 1.0
    while tail_probability(statistic) > SHORT_LEVEL:
        statistic += 0.1
    return (math.sqrt(statistic) + POWER) * error


def drift_limit(record: Record, survey: Survey) -> float:
    """Smallest walk over an eighth of the record, the reading's unit."""
    pieces = joined_rest(survey)
    length = len(pieces.level) // WALK_SHARE
    found, _ = _least_difference(
        pieces.differences, pieces.level.size, floor=0.3 * survey.quantum, ramp=length
    )
    for count in WINDOWS:
        if pieces.level.size < 6 * count:
            break
        edge = np.linspace(0, pieces.level.size, count + 1).astype(np.int64)
        step = np.diff(group_median(pieces.level, edge[:-1], edge[1:]))
        found = min(found, _least_walk(step - median(step)))
    tolerance = record.point.tolerance_at(median(survey.blocks.level))
    found = max(found, MARGIN * WALK_TRIFLE * tolerance)
    for name, apart in apart_from_neighbours(survey):
        pieces = joined_apart(survey, name, apart)
        least, _ = _least_difference(
            pieces.differences,
            pieces.level.size,
            floor=0.3 * survey.quantum,
            ramp=len(pieces.level) // WALK_SHARE,
        )
        found = min(found, max(least, MARGIN * TRIFLE_APART * tolerance))
    return max(found, survey.quantum)


def _least_walk(step: FloatArray) -> float:
    """Smallest sum of an eighth of the increments that passes, at most half again for its own scatter."""
    n = step.size
    size = max(n // WALK_SHARE, 3)
    scatter = NORMAL_MAD * median(np.abs(step))
    if scatter <= 0:
        return math.inf
    z = np.clip(step / scatter, -4, 4)
    r = float(z[1:] @ z[:-1]) / max(float(z @ z), 1e-300)
    r = min(max(r + 1 / n, -0.4), 0.8)
    wide = (1 + r) / (1 - r) * max(float(z @ z) / n, 1.0)
    needed = -float(stdtrit(KNOWLEDGE * (n - size), SUSPICION / len(WINDOWS) / (2 * n)))
    return (needed + POWER) * math.sqrt(size * wide) * scatter


def _noise_limits(survey: Survey, settings: NoiseSettings) -> tuple[float, float, float]:
    """Smallest growth and largest remainder that are found when they last a day (at least eight figures), and that time."""
    noise = noise_series(survey)
    if noise is None:
        return math.nan, math.nan, 0.0
    if math.exp(median(noise.raw)) <= UNSEEN_MARGIN * noise.unseen:
        return math.nan, math.nan, 0.0
    lasting = max(8, round(86_400 * NS_PER_S / max(noise.width, 1)))
    found = math.inf
    lot = tuple(one for one in noise.differences if one.width <= lasting)
    least = SUSPICION / math.sqrt(len(widths(noise.rest.size)))
    for one, spread in zip(lot, spreads(lot, noise.rest.size, floor=ERROR / 4), strict=True):
        at = one.clean_peaks if one.clean.any() else one.peaks
        if at.size >= FEW_PEAKS:
            ratio = np.abs(one.diff[at]) / spread
            found = min(found, (_least_ratio(ratio, least) + POWER) * spread)
    growth = max(settings.growth * NOISE_MARGIN, math.exp(found))
    unseen = UNSEEN_MARGIN * noise.unseen / math.exp(median(noise.raw))  # less is not told from rounding
    if drawn_line(survey) > 0:
        unseen = math.inf
    collapse = min(settings.collapse / NOISE_MARGIN, math.exp(-found))
    return growth, collapse if collapse > unseen else math.nan, lasting * noise.width / NS_PER_S


def _response_limit(record: Record, survey: Survey, settings: ResponseSettings) -> tuple[float, float]:
    """Smallest growth of the time constant [s] that is found over `SLOW` disturbances, and the time they take [s]."""
    when, tau, sort = disturbances(record, survey)
    if tau.size < 12:
        return math.nan, 0.0
    log = np.log(tau)
    scatter = least_scatter(pace_s(record, survey), tau)
    for each in np.unique(sort):
        own = log[sort == each]
        scatter = max(scatter, scatter_of(own))
    needed = -float(stdtrit(max(tau.size // 3, 4), settings.suspicion * SLOW / (tau.size**2 / 2)))
    ratio = max(math.exp((needed + POWER) * scatter / math.sqrt(SLOW)), settings.ratio * 1.1)
    spacing = float(when[-1] - when[0]) / NS_PER_S / (tau.size - 1)
    return max((ratio - 1) * float(np.median(tau)), 2 * pace_s(record, survey)), SLOW * spacing
