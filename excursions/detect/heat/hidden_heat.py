"""Heat that the export may hide: a brief rise that stays below the rating in its samples and may not have in truth.

An average keeps the area of a peak, not its height: thirty kelvin over ten minutes are a hundred kelvin for three.  Samples
minutes apart miss what was between them.  Such a rise is told with what it could have been, and nothing is claimed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.heat.exposure import bounded, hidden_peak, saturation_degc
from excursions.detect.series.survey import heat_of
from excursions.detect.series.tails import outlying
from excursions.records import STEAMING, Event, IndexArray, Record
from excursions.states.element import HIGHEST_DEGC, not_heat
from excursions.states.trace import Trace

HABIT = 3  # steamings as brief and no hotter for all one can see are how this plant sterilises (cp)
ANY_RATING_K = 10.0  # ratings of probes made for steam differ by no more (cp)
REACH = 3  # samples to either side within which a brief rise is over


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenHeatSettings:
    """When a rise may hide heat."""

    finest_s: float = 60.0  # closer samples show the peak as the element saw it
    least_k: float = 10.0  # a smaller rise is the process's own (cp)
    shortest_s: float = 60.0  # an element in a probe shaft follows no faster: a peak of its signal has at least so much width (cp)
    margin_k: float = 1.0  # platinum element of class B at 130 degC (IEC 60751)
    habit_k: float = 3.0  # an assumed rating gives way to how the process lives and this much
    chance: float = 0.05  # expected number of rises as large by chance
    confidence: float = 0.5  # that the rating was passed: the record does not tell


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rise:
    """A brief rise: its highest sample, the temperature around it, area above that [K s], and the bound [degC];
    whether it was a steaming, which is held against the rating for that."""

    top: int
    base_degc: float
    area_k_s: float
    bound_degc: float
    limit_degc: float
    assumed: bool
    steam: bool

    @property
    def beyond_any(self) -> bool:
        """Whether it may have been hotter than any probe made for steam is rated for."""
        return self.steam and self.bound_degc > self.limit_degc + ANY_RATING_K


def detect_hidden_heat(record: Record, settings: HiddenHeatSettings | None = None) -> tuple[Event, ...]:
    """Find the brief rise that may have been above the rating although no sample is.

    Parameters
    ----------
    record : Record
    settings : HiddenHeatSettings, optional

    Returns
    -------
    tuple of Event
        Kind ``hidden_heat``, at most one, the one with the highest bound; size is the highest sample, size_high what may
        have been.
    """
    settings = settings or HiddenHeatSettings()
    heat = heat_of(record)
    if heat is None or heat.trace.held or heat.trace.interval_s < settings.finest_s:
        return ()
    trace = heat.trace
    found = [
        rise
        for top in _brief(trace, settings)
        if (rise := _rise(record, trace, int(top), heat.usual.high, settings)) is not None
        and not not_heat(trace, int(top), int(top) + 1, heat.usual.middle)
    ]
    if sum(rise.steam for rise in found) >= HABIT:
        found = [rise for rise in found if not rise.steam]
    if not found:
        return ()
    worst = max(found, key=lambda rise: rise.bound_degc)
    return (_event(record, trace, worst, len(found) - 1, settings),)


def _brief(trace: Trace, settings: HiddenHeatSettings) -> IndexArray:
    """Highest samples of brief rises that this temperature does not show by chance."""
    value, time = trace.value, trace.time
    if value.size < 8 * REACH:
        return np.empty(0, dtype=np.int64)
    at = np.arange(REACH, value.size - REACH)
    highest = (value[at] >= value[at - 1]) & (value[at] > value[at + 1])
    whole = time[at + REACH] - time[at - REACH] <= 2.2 * REACH * trace.interval_s * NS_PER_S
    at = at[highest & whole]
    rise = value[at] - np.maximum(value[at - REACH], value[at + REACH])
    return at[outlying(np.maximum(rise, 0.0), at_most=settings.chance) & (rise >= settings.least_k)]


def _rise(
    record: Record, trace: Trace, top: int, usual_high: float, settings: HiddenHeatSettings
) -> _Rise | None:
    """The rise around a sample; None where it was above the rating for all to see, or cannot have been."""
    value, when = trace.value, int(trace.time[top])
    ratings = record.plant.ratings(record.point, when)
    steam = bool(record.states.at(trace.time[top : top + 1])[0] == STEAMING)
    limit = ratings.sterilisation_degc if steam else ratings.continuous_degc
    assumed = not (ratings.sterilisation_stated if steam else ratings.continuous_stated)
    if assumed and not steam:
        limit = max(limit, usual_high + settings.habit_k)
    near = slice(top - REACH + 1, top + REACH)
    base = float(max(value[top - REACH], value[top + REACH]))
    area = float(np.maximum(value[near] - base, 0.0).sum()) * trace.interval_s
    bound = hidden_peak(record.temperature, trace, top)
    if record.temperature is not None and record.temperature.sampling.kind == "averages":
        bound = max(bound, base + area / settings.shortest_s)
    ends = int(trace.time[top - REACH]), int(trace.time[top + REACH])
    saturation = saturation_degc(record, *ends)
    bound = bounded(min(bound, HIGHEST_DEGC), float(value[top]), saturation)
    if value[top] > limit or bound <= limit + settings.margin_k:
        return None
    return _Rise(
        top=top,
        base_degc=base,
        area_k_s=area,
        bound_degc=bound,
        limit_degc=limit,
        assumed=assumed,
        steam=steam,
    )


def _event(record: Record, trace: Trace, rise: _Rise, others: int, settings: HiddenHeatSettings) -> Event:
    peak = float(trace.value[rise.top])
    start = int(trace.time[rise.top]) - round(trace.interval_s * NS_PER_S)
    end = int(trace.time[rise.top]) + 2 * round(trace.interval_s * NS_PER_S)
    averaged = record.temperature is not None and record.temperature.sampling.kind == "averages"
    apart = duration_text(trace.interval_s)
    assumed = " (assumed, stated nowhere)" if rise.assumed else ""
    longest_s = rise.area_k_s / (rise.limit_degc - rise.base_degc)
    facts = [
        f"highest {peak:.0f} °C, up from {rise.base_degc:.0f} °C, in {'averages of' if averaged else 'samples every'} {apart}",
        f"between them up to about {rise.bound_degc:.0f} °C cannot be excluded; the rating is {rise.limit_degc:.0f} °C{assumed}",
    ]
    if averaged:
        facts.append(
            f"an average keeps the area of a peak: it may have been above the rating for up to {duration_text(longest_s)}"
        )
    if others:
        facts.append(f"{others} more rise{'s' if others > 1 else ''} of this kind in the record")
    facts.append("ask for a finer export of this stretch")
    return Event(
        point=record.point.name,
        kind="hidden_heat",
        start=start,
        end=end,
        size=peak,
        size_unit="degC",
        size_low=peak,
        size_high=rise.bound_degc,
        confidence=settings.confidence,
        origin="undecided",
        severity="note" if rise.assumed and not rise.beyond_any else "check",
        probe=record.probe_at(start),
        onset_uncertainty_s=trace.interval_s,
        evidence=tuple(facts),
        details={
            "hidden_peak_degc": rise.bound_degc,
            "rating_continuous_degc": rise.limit_degc,
            "rating_assumed": float(rise.assumed),
            **({"minutes_above_at_most_min": longest_s / 60.0} if averaged else {}),
        },
    )
