"""The error of one stretch of a probe's life over time, from draws of what happened, as a window of doubt.

References
----------
.. [1] Wagner, Boulger, Oblinger, Smith, "Guidelines and standard procedures for continuous water-quality monitors",
   USGS Techniques and Methods 1-D3 (2006): calibration drift is prorated linearly over the service interval; the
   fallback here when no event gives a better shape.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.conclusions import Levels
from excursions.kinds import GRADUAL, HEAT_KINDS, KINDS
from excursions.link.candidates import Cause
from excursions.link.correct import hours_beyond
from excursions.link.errors import reading_errors
from excursions.link.intervals import Interval
from excursions.link.pins import Agreement, Pin, Samples, agreement, pins_of
from excursions.link.posterior import AGEING, Posterior
from excursions.link.sizes import usual_level
from excursions.plant import Point
from excursions.ranks import many_quantiles
from excursions.records import AGED, COATED, PRORATION, SET_WRONG, UNVERIFIED, Doubt, FloatArray, Parameter

CONFIDENCE = 0.9
# The window opens when the chance that the reading was out of tolerance first reaches this.
OPENS_AT = 0.1
_GRID = 160
_EVENLY_NS = 3 * NS_PER_DAY  # a knot at least so often, besides those of the causes
_EVENLY = (5, 24)  # but neither fewer nor more than this
_LEVELS = 8  # quantiles of the level that stand for its scatter
_NEAR_NS = 12 * NS_PER_HOUR
_WIDE = 2.0  # readings so many times the usual one make a figure at the usual one mislead (cp)
_EVEN = 0.15  # of an error that grows with the reading, from an even growth (cp)
_ENOUGH_AGREE = 2  # samples that agree before an error is over: one may have been mixed up (cp)
_RATHER = 0.5  # likelier than not
_ACTED = 0.05  # causes less likely than this get no knots of their own


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of one probe's life whose error is asked: what the transmitter used and where the probe began.

    coated : a cleaning at the end took it off again; start, end : from one calibration to the next; first, last : the part of it that the probe spent at this point
    """

    point: Point
    probe: str
    start: int
    end: int
    first: int
    last: int
    shape: models.Form
    names: tuple[str, ...]
    used: dict[str, float]
    began: dict[str, float]
    found: dict[str, float]
    level: float
    temp: float
    line: Levels
    pins: tuple[Pin, ...] = ()
    open_end: bool = False
    coated: bool = False

    def levels(self, at: FloatArray, count: int) -> FloatArray:
        """Readings the process showed around instants: `count` even quantiles of the hours near each (count, t).

        `at` in ns after the start; `level` where there is no reading within half a day.  Only hours that lie wholly
        between the two calibrations count: what the transmitter shows after it was set right has no part in the error.
        """
        made = np.full((count, at.size), self.level)
        shares = (np.arange(count) + 0.5) / count
        when = self.start + at.astype(np.int64)
        known = np.isfinite(self.line.value)
        time, value = self.line.time[known], self.line.value[known]
        first = np.searchsorted(time, np.maximum(when - _NEAR_NS, self.first))
        hours = np.searchsorted(time, np.minimum(when + _NEAR_NS, self.last - NS_PER_HOUR + 1)) - first
        for size in np.unique(hours[hours > 0]):  # instants with as many hours near them side by side
            alike = np.flatnonzero(hours == size)
            made[:, alike] = many_quantiles(value[first[alike, None] + np.arange(size)], shares).T
        return made

    def tolerance(self, at: FloatArray) -> FloatArray:
        """Reading error that matters at instants (t,)."""
        return self.point.doubted_at_each(self.levels(at, 1)[0])


def span_of(
    interval: Interval,
    used: Mapping[str, Parameter],
    point: Point,
    levels: Mapping[str, Levels],
    *,
    probe: str,
    samples: Samples,
    stay: tuple[int, int] | None = None,
    open_end: bool = False,
) -> Span:
    """The span of an interval at a point, where the probe sat all the time or for a `stay` [first, last)."""
    shifts = interval.shifts
    first, last = stay or (interval.start, interval.end)
    level, temp = level_before(levels, point.name, last, since=first)
    names = tuple(s.parameter for s in shifts)
    units = {s.parameter: s.unit for s in shifts}
    return Span(
        point=point,
        probe=probe,
        start=interval.start,
        end=interval.end,
        first=first,
        last=last,
        shape=models.form(shifts[0].measurand, units),
        names=names,
        used={s.parameter: s.before for s in shifts}
        | {n: p.value for n, p in used.items() if n in names and p.unit == units[n]},
        began={s.parameter: s.before for s in shifts},
        found={s.parameter: s.after for s in shifts},
        level=level if math.isfinite(level) else usual_level(shifts[0].measurand),
        temp=temp,
        line=levels.get(point.name) or Levels(),
        pins=pins_of(point, levels, (first, last), samples),
        open_end=open_end,
        coated=interval.coated,
    )


def off_at_first(span: Span) -> float:
    """Error of the reading right after the calibration that a span begins with."""
    return models.reading_error(span.shape, span.level, used=span.used, real=span.began, temp_degc=span.temp)


def is_off_at_first(span: Span) -> bool:
    """Whether that error matters."""
    return abs(off_at_first(span)) > span.point.doubted_at(span.level)


def window(span: Span, seen: Posterior, reason: str) -> Doubt | None:
    """Shape of the error over time from draws, cut to where the reading may have been out of tolerance."""
    first, last = float(span.first - span.start), float(span.last - span.start)
    knots = np.unique(np.clip(_knots(span, seen), first, last))
    grid = np.unique(np.concatenate([np.linspace(first, last, _GRID), knots]))
    agreed = _agreement(span, seen)
    weight = agreed.weight if agreed else np.full(len(seen.contribution), 1.0 / len(seen.contribution))
    everywhere = _with_samples(span, seen, agreed, grid)
    outside = weight @ (np.abs(everywhere) > span.tolerance(grid))
    if not (outside >= OPENS_AT).any():  # what came at the work itself spoilt no reading before it
        return None
    lead = _lead(span, seen)
    opens, about = _opening(span, grid, outside, lead)
    closes, over = last, False
    if _by_samples(lead, seen, agreed):
        likeliest = weighted_quantile(everywhere, weight, 0.5)
        opens, about = _last_agreeing(span, grid, likeliest, opens), True
        half = weighted_quantile(np.abs(everywhere - likeliest), weight, CONFIDENCE)
        closes, over = _first_agreeing(span, grid, likeliest, half) if span.open_end else (last, False)
    inside = np.unique(np.concatenate([[opens, closes], knots[(knots >= opens) & (knots <= closes)]]))
    drawn = _with_samples(span, seen, agreed, inside)
    even = lead is None and seen.observed and not span.pins and not seen.misjudged
    middle = _prorated(span, inside) if even else weighted_quantile(drawn, weight, 0.5)
    half = weighted_quantile(np.abs(drawn - middle), weight, CONFIDENCE)
    line = tuple((span.start + int(t), float(e)) for t, e in zip(inside, middle, strict=True))
    return Doubt(
        point=span.point.name,
        probe=span.probe,
        start=span.start + int(opens),
        end=span.start + int(closes),
        open_end=span.open_end and not over,
        knots=line,
        band=tuple(float(h) for h in half),
        basis=_basis(lead, seen, agreed),
        hours_out_of_tolerance=hours_beyond(line, float(np.median(span.tolerance(inside)))),
        event=lead.event.id if lead else "",
        reasons=(reason, *_shape_reason(lead, span, seen, even=even), *_pin_reason(agreed)),
        about=about,
        share=_share(span, seen, weight),
    )


def _share(span: Span, seen: Posterior, weight: FloatArray) -> float:
    """Error at the end over the reading, where one figure cannot stand for all readings of the window; else NaN.

    That is where twice the reading has twice the error, and the readings spread: of a cell, whose highest ones (strong
    caustic in a cleaning, say) are no live ones, always.
    """
    real = {
        name: span.began[name]
        + weighted_quantile((seen.began + seen.contribution.sum(axis=1))[:, i : i + 1], weight, 0.5)
        for i, name in enumerate(span.names)
    }
    levels = span.level * np.array([1.0, 2.0])
    once, twice = reading_errors(span.shape, levels, used=span.used, real=real, temp_degc=span.temp)
    known = span.line.value[(span.line.time >= span.first) & (span.line.time < span.last)]
    wide = span.shape.kind == "cell" or bool(np.any(known > _WIDE * span.level))
    grows = wide and span.level > 0 and abs(twice - 2.0 * once) <= _EVEN * abs(2.0 * once)
    return float(once / span.level) if grows and once else math.nan


def _opening(span: Span, grid: FloatArray, outside: FloatArray, lead: Cause | None) -> tuple[float, bool]:
    """Where a window opens (ns after the start), and whether that is a guess: then it is given to the hour before.

    An event that did most of it at once marks the start, where the reading before it was rather right than not.
    """
    at = int(np.argmax(outside >= OPENS_AT))
    if lead is not None and lead.event.kind not in GRADUAL:
        starts = (variant.start for variant in lead.variants)
        marked = float(min(starts, default=lead.event.start) - span.start)
        before = grid < marked
        if before[at] and outside[before].max() < _RATHER:
            at = min(int(np.searchsorted(grid, marked)), len(grid) - 1)
            return float(grid[at]), False
    if at == 0 or grid[at] - grid[at - 1] <= NS_PER_S:
        return float(grid[at]), False
    hour = (span.start + int(grid[at])) // NS_PER_HOUR * NS_PER_HOUR - span.start
    return max(float(hour), float(grid[0])), True


def _last_agreeing(span: Span, grid: FloatArray, middle: FloatArray, first: float) -> float:
    """Where a window opens whose error samples alone show (ns after the start): at the last that agreed before the likeliest
    error (`middle`, on `grid`) matters; at `first` without one."""
    beyond = np.abs(middle) > span.tolerance(grid)
    if not beyond.any():
        return first
    there = grid[int(np.argmax(beyond))]
    at = np.array([float(pin.time - span.start) for pin in span.pins])
    off = np.abs([pin.error for pin in span.pins])
    agreed = at[(at <= there) & (off <= span.tolerance(at))]
    return float(agreed.max()) if agreed.size else first


def _first_agreeing(span: Span, grid: FloatArray, middle: FloatArray, half: FloatArray) -> tuple[float, bool]:
    """Where a window is over whose error samples show (ns after the start): at the first of several that agree to the end.

    The end of the span, and that it is not over, where the likeliest error (`middle`, with half the width of its band) still
    matters or never surely did, and where one sample alone agrees.
    """
    last, tolerance = float(span.last - span.start), span.tolerance(grid)
    at = np.array([float(pin.time - span.start) for pin in span.pins])
    off = np.abs([pin.error for pin in span.pins]) > span.tolerance(at)
    beyond = grid[
        (np.abs(middle) > tolerance) & (grid <= at.max())
    ]  # after the last sample nothing new is known
    later = at > beyond.max(initial=-1.0)
    sure = np.any(np.abs(middle) > np.maximum(tolerance, half))
    if not (beyond.size and sure) or later.sum() < _ENOUGH_AGREE or off[later].any():
        return last, False
    return float(at[later].min()), True


def _agreement(span: Span, seen: Posterior) -> Agreement | None:
    """How the draws agree with the laboratory samples; None without any."""
    if not span.pins:
        return None
    at = np.array([float(pin.time - span.start) for pin in span.pins])
    known = (span.start, span.end) if seen.observed and not span.open_end else (span.start,)
    tolerance = float(np.median(span.tolerance(at)))
    return agreement(span.pins, _errors(span, seen, at), known, span.start, tolerance)


def weighted_quantile(values: FloatArray, weight: FloatArray, share: float) -> FloatArray:
    """Quantile of each column of values (n, t) with weights (n,) that sum to 1."""
    order = np.argsort(values, axis=0)
    total = np.cumsum(weight[order], axis=0)
    index = np.minimum(np.argmax(total >= share - 1e-12, axis=0), len(values) - 1)
    columns = np.arange(values.shape[1])
    return np.asarray(values[order[index, columns], columns])


def _prorated(span: Span, at: FloatArray) -> FloatArray:
    """Drift spread evenly between the two calibrations [1]_, at the level where the process sat."""
    share = at / float(span.end - span.start)
    real = {name: span.began[name] + share * (span.found[name] - span.began[name]) for name in span.names}
    return reading_errors(span.shape, span.levels(at, 1)[0], used=span.used, real=real, temp_degc=span.temp)


def _with_samples(span: Span, seen: Posterior, agreed: Agreement | None, at: FloatArray) -> FloatArray:
    """Reading errors (n draws, t instants), with what the laboratory samples show beside the causes."""
    drawn = _errors(span, seen, at)
    return drawn + agreed.discrepancy(at) if agreed else drawn


def _errors(span: Span, seen: Posterior, at: FloatArray) -> FloatArray:
    """Reading errors (n draws, t instants); `at` in ns after the start of the span."""
    begin, finish = seen.when[:, :, 0] - span.start, seen.when[:, :, 1] - span.start
    length = np.maximum(finish - begin, 1.0)
    share = np.clip((at[None, None, :] - begin[:, :, None]) / length[:, :, None], 0.0, 1.0)
    share = np.where((finish <= begin)[:, :, None], at[None, None, :] >= begin[:, :, None], share)
    moved = np.einsum("nkp,nkt->ntp", seen.contribution, share)
    moved += seen.began[:, None, :]
    real = {name: span.began[name] + moved[:, :, i] for i, name in enumerate(span.names)}
    # Draws come ordered by what acted: neighbours get different levels, so that every cause meets every level.
    level = np.tile(span.levels(at, _LEVELS), (len(moved) // _LEVELS, 1))
    return reading_errors(span.shape, level, used=span.used, real=real, temp_degc=span.temp)


def _knots(span: Span, seen: Posterior) -> FloatArray:
    """Instants (ns after the start) where the error bends: ends, causes that may have acted, and a few between."""
    length = float(span.end - span.start)
    between = min(max(round(length / _EVENLY_NS), _EVENLY[0]), _EVENLY[1])
    knots = [*np.linspace(0.0, length, between + 2), *(float(pin.time - span.start) for pin in span.pins)]
    for column, cause in enumerate(seen.causes):
        if seen.acted[column] < _ACTED:
            continue
        for variant in cause.variants:
            begin, finish = float(variant.start - span.start), float(variant.end - span.start)
            if finish <= begin:
                knots += [begin - NS_PER_S, begin]
            else:
                knots += [begin - variant.blur, begin, begin + variant.blur, 0.5 * (begin + finish), finish]
    return np.unique(np.clip(np.round(knots), 0.0, length))


def _lead(span: Span, seen: Posterior) -> Cause | None:
    """The event that contributes most to the error at the end, unless ageing or the unrecorded does."""
    best = _most(span, seen)
    return seen.causes[best] if best < len(seen.causes) and seen.acted[best] >= 0.5 else None


def _most(span: Span, seen: Posterior) -> int:
    """Column of a posterior that contributes most to the error at the end."""
    end = np.array([float(span.last - span.start)])
    base = replace(seen, contribution=np.zeros_like(seen.contribution))
    none = np.abs(_errors(span, base, end))[:, 0]
    weight = np.zeros(seen.cause.size)
    for column in range(seen.cause.size):
        alone = np.zeros_like(seen.contribution)
        alone[:, column] = seen.contribution[:, column]
        weight[column] = np.mean(
            np.abs(np.abs(_errors(span, replace(seen, contribution=alone), end))[:, 0] - none)
        )
    return int(np.argmax(weight))


def _by_samples(lead: Cause | None, seen: Posterior, agreed: Agreement | None) -> bool:
    """Whether the laboratory samples say how the error went, rather than an event or a calibration that was off."""
    known = lead is not None or seen.misjudged
    return agreed is not None and (not known or agreed.unexplained > _RATHER)


def _basis(lead: Cause | None, seen: Posterior, agreed: Agreement | None) -> str:
    if _by_samples(lead, seen, agreed):
        return "laboratory samples"
    if lead is None:
        if seen.misjudged:
            return SET_WRONG
        return PRORATION if seen.observed else UNVERIFIED
    if lead.event.kind in HEAT_KINDS:
        return "heat"
    return "drift" if lead.event.kind in GRADUAL else lead.event.kind


def _pin_reason(agreed: Agreement | None) -> tuple[str, ...]:
    if agreed is None:
        return ()
    count = agreed.at.size
    words = f"{count} laboratory sample{'s' if count > 1 else ''} in between taken into account"
    if agreed.unexplained > _RATHER:
        words += ": neither events nor calibrations explain what they say, so they decide"
    return (words,)


def _shape_reason(lead: Cause | None, span: Span, seen: Posterior, *, even: bool) -> tuple[str, ...]:
    if lead is not None:
        return (f"how the error grew is reckoned from the {KINDS[lead.event.kind].label}",)
    if seen.began_off > _RATHER:
        return ("the calibration it begins with was itself off, as the one at its end shows",)
    if not even:
        return ()
    if is_off_at_first(span):
        return ("off already at the calibration before: error spread evenly between the two",)
    why = "no event in between explains it"
    if span.coated:
        why = COATED
    elif int(seen.cause[_most(span, seen)]) == AGEING:
        why = AGED
    return (f"{why}: error spread evenly from the calibration before",)
