"""Drift: the reading walks away slowly.  Fouling: it does, and a cleaning brings it back.

Method: slow changes are what the search over all widths (:mod:`excursions.detect.series.scan`) finds in a record
whose sudden changes are taken out (:mod:`excursions.detect.slow.plateaus`), and a ramp of hours or more explains
better than a step, and the stretches that walk more steadily than any other (:mod:`excursions.detect.series.slopes`).
A straight walk over the whole record, which has no level before it, is tested by its slope against the
long-run scatter around it; see :mod:`excursions.detect.slow.walks`.  The value alone cannot say whose drift it is: a neighbour that stays, laboratory samples that disagree,
or a calibration or cleaning that takes it out can.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE
from excursions.detect.evidence.along import along_clue, solubility_clue
from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.evidence.laboratory import STRONGEST, samples_clue, showed_clue
from excursions.detect.evidence.origin import (
    WITNESS,
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    times,
    unexplained,
    weigh,
    witnessed,
    witnesses_of,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.evidence.votes import WENT_ALONG, votes_clue, went_along
from excursions.detect.series.alike import related
from excursions.detect.series.straight import FEWEST_BLOCKS, walks_straight
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.slow.dirt import dirt_clue
from excursions.detect.slow.resets import adjusted, reset_clue, taken_out
from excursions.detect.slow.taken_back import AT_END
from excursions.detect.slow.walks import SAW, Walk, ends_of, find_walks
from excursions.detect.slow.way_gone import (
    LONGEST_WAY_BACK,
    gone_as_far,
    own_way,
    stays_away,
    tooth,
    turned_back,
)
from excursions.detect.slow.whose import went_instead, whose_clue
from excursions.digits import number, written
from excursions.ranks import NORMAL_MAD
from excursions.records import (
    CLEANING,
    MOVED_NOT,
    MOVED_TOO,
    RETURNED,
    TEMPERATURE,
    THEIR_CONFIDENCE,
    THEIR_LEVEL,
    THEIR_SIZE,
    WASHING,
    Event,
    FloatArray,
    Record,
)

RETURNING = 0.4  # share of the sudden changes in a walk that undo it, from which they are cleanings
UNEVEN = 2.0  # starts of the teeth this much more scattered than their ends speak for the process
# Usual changes over as long: another signal that goes further walked too, one below kept still.
WALKED, STOOD = 2.5, 1.0
TRIFLE = 0.5  # of the tolerance: smaller changes are not reported
TRIFLE_APART = 1.0  # of the tolerance, for a difference: two probes never agree to the last digit


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftSettings:
    """When a slow change is a drift, and whose."""

    drifts_per_year: float = 1.0  # how often a probe that somebody looks into drifts (cp)
    unexplained: float = 0.5  # slow changes of the process itself to be expected in a record (cp)
    least_confidence: float = 0.1  # below, it is the process as far as the record can tell
    most: int = 6  # more slow changes than this are the process's way


def detect_drift(record: Record, settings: DriftSettings | None = None) -> tuple[Event, ...]:
    """Find slow changes of the reading.

    Returns
    -------
    tuple of Event
        Kind ``drift``, or ``fouling`` when a cleaning undoes it; size is the change over the event.
        Confidence of an undecided drift is the probability that the probe did it.
    """
    settings = settings or DriftSettings()
    survey = survey_of(record)
    if survey is None or len(survey.blocks) < FEWEST_BLOCKS:
        return ()
    walks = find_walks(record, survey, (*apart_from_neighbours(survey), ("", survey.rest)))
    if len(walks) > settings.most:
        return ()
    walks = [_sawn(record, walk) for walk in walks]
    events = [_event(record, survey, walks, walk, settings) for walk in walks]
    return tuple(sorted((e for e in events if e is not None), key=lambda event: event.start))


def _event(
    record: Record, survey: Survey, walks: list[Walk], walk: Walk, settings: DriftSettings
) -> Event | None:
    blocks = survey.blocks
    start = int(survey.live.time[blocks.first[walk.lo]])
    end = int(survey.live.time[min(int(blocks.first[walk.hi]), len(survey.live) - 1)])
    alike = sum(other is not walk and abs(other.size) > 0.5 * abs(walk.size) for other in walks)
    alike = max(alike, gone_as_far(survey, walk))
    reset, odds, out_at = taken_out(record, survey, walk)
    outside = (
        heat_clue(record, start),
        *reset_clue(reset, odds),
        *_samples(record, survey, walk, start, end),
    )
    turned, back = turned_back(record, survey, walk)
    if reset in (CLEANING, WASHING) and walk.returns < SAW and out_at >= end - AT_END * (end - start):
        # What a cleaning took off is over; a saw-tooth grows again after each.
        back = {RETURNED: (out_at - start) / NS_PER_S}
    elif walk.taken_back:
        back = {RETURNED: (end - start) / NS_PER_S}
    clues = (
        *outside,
        *_company(record, survey, walk),
        *_walk_clues(record, walk),
        *_leads_back(survey, walk),
        *stays_away(survey, walk),
        *turned,
    )
    prior = expected_faults(settings.drifts_per_year, survey.years)
    chance = walk.expected + alike + unexplained(settings.unexplained, survey.years)
    probe = weigh(prior=prior, chance=chance, clues=clues)
    against = (Clue(odds=WITNESS),) if walk.basis or (walk.joints == 0 and walk.returns >= SAW) else ()
    probe = witnessed(probe, (*outside, *against, *_related(survey, clues)))
    origin = name_origin(probe)
    confidence = probe if origin != "process" else (1 - probe) * prior / (prior + walk.expected)
    if prior < walk.expected or confidence < settings.least_confidence or end <= start:
        return None
    if adjusted(record, survey, walk):
        return None
    if abs(walk.size) <= 1.645 * walk.spread:
        return None  # its interval holds nil: no more than the usual change over that time
    days, size = (end - start) / NS_PER_DAY, tooth(walk)
    trifle = TRIFLE_APART if walk.basis else TRIFLE
    if abs(size) < trifle * record.point.tolerance_at(walk.before):
        return None
    open_end = walk.hi >= len(blocks) - 2
    return Event(
        point=record.point.name,
        kind="fouling" if reset in (CLEANING, WASHING) or _is_dirt(record, walk) else "drift",
        start=start,
        end=end,
        size=size,
        size_low=size - 1.645 * walk.spread,
        size_high=size + 1.645 * walk.spread,
        size_unit=record.unit,
        confidence=confidence,
        origin=origin,
        severity=_severity(record, walk, size, origin),
        probe=record.probe_at(start),
        onset_uncertainty_s=0.1 * (end - start) / NS_PER_S,
        open_start=walk.lo == 0,
        open_end=open_end,
        evidence=(
            f"walked by {number(walk.size, 1.645 * walk.spread)} {record.change_unit} in {duration_text((end - start) / NS_PER_S)}",
            f"usual change over that time {written(walk.spread, 2)} {record.change_unit}; {times(alike, 'other slow change', 'other slow changes')} of that size",
            *_straight_words(walk),
            *words_of(clues),
        ),
        witnesses=witnesses_of(clues),
        details={
            "rate_per_day": walk.size / days,
            **back,
            **_theirs(record, survey, walk, clues, prior=prior, chance=chance),
            **({"stretches": walk.returns + 1.0} if walk.returns >= SAW else {}),
        },
    )


def _theirs(
    record: Record, survey: Survey, walk: Walk, clues: tuple[Clue, ...], *, prior: float, chance: float
) -> dict[str, float]:
    """What a walk apart from a neighbour that rather went itself tells of that one, as details; empty where it tells nothing.

    Which of the two went is weighed where both are known; here it is a second witness alone.
    """
    told = went_instead(survey, walk, clues)
    if told is None:
        return {}
    size, stayed = told
    sure = weigh(prior=prior, chance=chance, clues=_walk_clues(record, walk))
    return {
        THEIR_CONFIDENCE: witnessed(sure, (Clue(odds=WITNESS), stayed)),
        THEIR_SIZE: size,
        THEIR_LEVEL: float(survey.neighbours[walk.basis][walk.lo]),
    }


def _straight_words(walk: Walk) -> tuple[str, ...]:
    if not walk.straight:
        return ()
    words = "a straight walk to the end of the record" if walk.lo else "a straight walk over the whole record"
    other = {"upper": "lower", "lower": "upper"}.get(walk.end, "")
    return (words, f"of its {walk.end} level alone: the {other} one stayed") if other else (words,)


def _severity(record: Record, walk: Walk, size: float, origin: str) -> str:
    """By what it does to the reading; an error that samples prove is to be checked however wide the tolerance is."""
    graded = severity_of(record, walk.before, size)
    return "check" if graded == "note" and walk.sampled and origin == "probe" else graded


def _sawn(record: Record, walk: Walk) -> Walk:
    """The walk, less returns that undo what no dirt does, or are a few of many sudden changes: they are the process's.

    Where it is known which way dirt moves a reading, what goes the other way and is sent back at once is rain, or a batch.
    """
    way = record.point.quantity.fouls * walk.size
    if walk.returns < SAW or way > 0 or (way == 0 and _mostly_undo(walk)):
        return walk
    return replace(walk, returns=0)


def _mostly_undo(walk: Walk) -> bool:
    return walk.returns >= RETURNING * walk.joints


def _is_dirt(record: Record, walk: Walk) -> bool:
    """Whether returns undid it, or samples agreed again in between and it went the way dirt does."""
    return walk.returns >= SAW or (walk.agreed_again and record.point.quantity.fouls * walk.size > 0)


def _samples(record: Record, survey: Survey, walk: Walk, start: int, end: int) -> tuple[Clue, ...]:
    """What laboratory samples say; a walk that they alone show has their word already."""
    if not walk.sampled:
        return samples_clue(record, survey, *_error_span(start, end, walk), _error_shift(walk), spread=0.5)
    showed = showed_clue(STRONGEST, walk.sampled, record.change_unit)
    again = (
        (walk.taken_back, "at once it was back where they agree, as after a cleaning"),
        (walk.agreed_again, "they agreed again in between, as after a cleaning"),
    )
    return (showed, *(Clue(odds=2.0, words=words) for so, words in again if so))


def _error_span(start: int, end: int, walk: Walk) -> tuple[int, int]:
    """Span in which samples show the error: the later half of a walk and a while after; all of a saw-tooth."""
    return (start, end) if walk.returns >= SAW else ((start + end) // 2, end + (end - start) // 4)


def _error_shift(walk: Walk) -> float:
    return 0.5 * tooth(walk) if walk.returns >= SAW else 0.8 * walk.size


def _walk_clues(record: Record, walk: Walk) -> tuple[Clue, ...]:
    """What the walk itself shows of its cause."""
    clues = []
    if walk.basis:
        clues.append(Clue(odds=8.0, words=f"against {walk.basis}, which usually goes along"))
    if walk.returns >= SAW:
        odds = 5.0 if _mostly_undo(walk) else 2.0
        clues.append(Clue(odds=odds, words=f"sudden returns undid it {walk.returns} times, as cleaning does"))
        if walk.uneven > UNEVEN and walk.joints <= 1.5 * walk.returns:
            clues.append(
                Clue(odds=0.1, words="each walk starts from another level, as after a surge of the process")
            )
        clues.append(dirt_clue(record, walk.size))
    elif walk.joints >= 2:
        clues.append(Clue(odds=2.5, words=f"it went on through {walk.joints} sudden changes of the process"))
    return tuple(clues)


def _leads_back(survey: Survey, walk: Walk) -> tuple[Clue, ...]:
    """A walk of days that ends where the reading was right before is the way back from what threw it off."""
    blocks, length = survey.blocks, walk.hi - walk.lo
    if walk.returns >= SAW or walk.sampled or walk.basis:
        return ()
    if walk.joints and abs(own_way(survey, walk)) < GONE * abs(walk.size):
        return (Clue(odds=0.15, words="with its sudden changes it ended where it began", inside=True),)
    if length * blocks.width > LONGEST_WAY_BACK:
        return ()
    ended = blocks.level[walk.hi : walk.hi + max(length // 8, 2)]
    earlier = blocks.level[max(walk.lo - length, 0) : walk.lo]
    if not ended.size or not earlier.size:
        return ()
    if np.min(np.abs(earlier - float(np.median(ended)))) > GONE * abs(walk.size):
        return ()
    return (Clue(odds=0.15, words="it leads back to where the reading was right before", inside=True),)


def _related(survey: Survey, clues: tuple[Clue, ...]) -> tuple[Clue, ...]:
    """Neighbours that usually go along and did not."""
    names = [name for name in survey.redundant if related(survey.blocks.level, survey.neighbours[name])]
    return tuple(clue for clue in clues if clue.said == MOVED_NOT and clue.source in names)


def _company(record: Record, survey: Survey, walk: Walk) -> tuple[Clue, ...]:
    """Whether temperature or neighbours walked over the same time."""
    before, after = ends_of(walk)
    if walk.basis:
        return votes_clue(survey, walk.basis, before, after) or (whose_clue(survey, walk),)
    clues = [along_clue(survey, before, after, walk.size)]
    if not clues[0].words:
        clues = [solubility_clue(record, survey, before, after, walk.size)]
    along = went_along(survey, before, after, walk.size)
    clues.extend(Clue(odds=0.1, words=f"{name} {WENT_ALONG}", source=name, said=MOVED_TOO) for name in along)
    for name, other in ((TEMPERATURE, survey.temperature), *survey.neighbours.items()):
        if name in along or (name == TEMPERATURE and clues[0].words):
            continue
        ratio = _walked(other, walk)
        close = name in survey.redundant and related(survey.blocks.level, other)
        if ratio > WALKED or (walk.straight and walks_straight(survey, other, walk.lo)):
            odds = 0.1 if close else 0.3
            clues.append(Clue(odds=odds, words=f"{name} walked too", source=name, said=MOVED_TOO))
        elif ratio < STOOD:
            odds = 2.0 if close else 1.2
            words = f"{name} did not walk with it"
            clues.append(Clue(odds=odds, words=words, source=name, said=MOVED_NOT))
    return tuple(clues)


def _walked(other: FloatArray, walk: Walk) -> float:
    """Change of another signal over the walk, in its usual changes over as long."""
    length = walk.hi - walk.lo
    if not np.isfinite(other).any() or length >= other.size // 2:
        return math.nan
    edge = max(length // 8, 1)
    before, after = other[max(walk.lo - edge, 0) : walk.lo + edge], other[walk.hi - edge : walk.hi + edge]
    usual = np.abs(other[length:] - other[:-length])
    usual = usual[np.isfinite(usual)]
    if not (np.isfinite(before).any() and np.isfinite(after).any() and usual.size):
        return math.nan
    moved = abs(float(np.nanmean(after)) - float(np.nanmean(before)))
    return moved / max(NORMAL_MAD * float(np.median(usual)), 1e-12)
