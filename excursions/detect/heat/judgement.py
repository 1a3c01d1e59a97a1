"""How a stretch of heat is judged and worded: severity from what it does to the probe, confidence, facts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.clock import minutes_text
from excursions.detect.heat.exposure import Exposure
from excursions.digits import written
from excursions.kinds import SEVERITIES
from excursions.records import Event, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTemperatureSettings:
    """How heat is judged."""

    join_s: float = 900.0  # chatter around the rating within a quarter of an hour is one stay (cp)
    clear_k: float = 1.0  # a stay ends this far below the rating, so that noise does not split it
    element_k: float = (
        1.0  # platinum element of class B at 130 degC, two wire rounding included (IEC 60751: 0.95 K)
    )
    harmless_k: float = 2.0  # above a stated rating by less than this is worth a note (cp)
    serious_k: float = 10.0  # and by more than this calls for action (cp)
    far_k: float = 20.0  # so far beyond even an assumed rating is beyond any rating of the class (cp)
    serious_dose_h: float = 24.0  # a day at the rating in one stay (cp)
    habit_k: float = 3.0  # an assumed rating gives way to the habit and this much
    habit_count: int = 4  # so many stays alike are a habit
    least_confidence: float = 0.4  # a stay within the tolerance of element and rating is no event
    chronic_share: float = (
        0.2  # above its rating for more than this share of the time: one event for the record
    )
    chronic_count: int = (
        100  # more exposures than this above a rating are the way of the place: one event (cp)
    )
    longer_minutes: float = 1.2  # a sterilisation this many times longer than rated is too long


def over(
    record: Record,
    seen: Exposure,
    settings: OverTemperatureSettings,
    limit: float,
    more: tuple[str, ...],
    *,
    span: tuple[int, int] | None = None,
) -> Event:
    """An over-temperature event from an exposure that went beyond `limit`."""
    routine = seen.cleaning and seen.peak_degc <= seen.ratings.sterilisation_degc and not seen.ratings.assumed
    return heat_event(
        record,
        seen,
        kind="over_temperature",
        origin="routine" if routine else "probe",
        severity=severity_of(seen, settings, limit),
        confidence=confidence_of(seen, settings, limit) if seen.peak_degc > limit else 0.8,
        evidence=(*_facts(seen, limit), *more),
        span=span,
    )


def severity_of(seen: Exposure, settings: OverTemperatureSettings, limit: float) -> str:
    """What it may do to the probe: how far beyond, how long, and whether the probe is made for steam."""
    beyond = seen.peak_degc - limit
    hottest_allowed = seen.ratings.sterilisation_degc
    if seen.ratings.assumed and seen.peak_degc > hottest_allowed:
        return "act" if seen.peak_degc > hottest_allowed + settings.far_k else "check"
    if seen.steaming:
        return _grade(beyond, settings) if beyond > 0 else "check"
    if hottest_allowed > seen.ratings.continuous_degc and seen.peak_degc <= hottest_allowed:
        brief = seen.minutes_continuous <= seen.ratings.sterilisation_min
        return "note" if brief or beyond <= settings.harmless_k else "check"
    grade = _grade(beyond, settings)
    if seen.ratings.assumed:
        return min(grade, "check", key=SEVERITIES.index)
    return "act" if seen.dose_h > settings.serious_dose_h and grade == "check" else grade


def _grade(beyond: float, settings: OverTemperatureSettings) -> str:
    if beyond <= settings.harmless_k:
        return "note"
    return "act" if beyond > settings.serious_k else "check"


def confidence_of(seen: Exposure, settings: OverTemperatureSettings, limit: float) -> float:
    """Chance that the medium really was above the limit: element tolerance, samples seen, who set the rating."""
    z = (seen.peak_degc - limit) / settings.element_k
    above = 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
    return above * few_samples(seen) * (0.85 if seen.ratings.assumed else 1.0)


def few_samples(seen: Exposure) -> float:
    """Chance that so few samples are heat and not a wild reading."""
    return {1: 0.75, 2: 0.85}.get(seen.samples, 0.97)


def _facts(seen: Exposure, limit: float) -> tuple[str, ...]:
    """Short facts in the order a person asks: how hot, how long over what, how fast, how much."""
    ratings = seen.ratings
    named, minutes = (
        ("sterilisation", seen.minutes_sterilisation)
        if seen.steaming
        else ("continuous", seen.minutes_continuous)
    )
    rated = ratings.sterilisation_degc if seen.steaming else ratings.continuous_degc
    hidden = (
        f", between samples up to {seen.hidden_degc:.0f} °C"
        if seen.hidden_degc > seen.peak_degc + 0.5 and round(seen.hidden_degc) > round(seen.peak_degc)
        else ""
    )
    facts = [
        f"highest {seen.peak_degc:.0f} °C{hidden}",
        f"{minutes_text(minutes)} above the {named} rating of {rated:.0f} °C"
        + (" (assumed, stated nowhere)" if ratings.assumed else ""),
    ]
    if limit > rated:
        facts.append(f"this line usually stays below {limit:.0f} °C")
    if not seen.steaming and seen.minutes_sterilisation > 0:
        facts.append(f"{minutes_text(seen.minutes_sterilisation)} above the sterilisation rating too")
    facts += _rates(seen)
    facts.append(f"ageing dose {written(seen.dose_h, 2)} h at the continuous rating (general rule, Q10 = 2)")
    if math.isfinite(seen.saturation_degc):
        facts.append(f"line pressure: steam of {seen.saturation_degc:.1f} °C at most")
    if seen.samples <= 2:
        facts.append(f"seen in {seen.samples} sample{'s' if seen.samples > 1 else ''} only")
    return tuple(facts)


def _rates(seen: Exposure) -> list[str]:
    rates = (("heated", seen.heating_k_per_min), ("cooled", seen.cooling_k_per_min))
    known = [f"{how} at {written(rate, 2)} K/min" for how, rate in rates if rate > 0]
    return [", ".join(known)] if known else []


def heat_event(
    record: Record,
    seen: Exposure,
    *,
    kind: str,
    origin: str,
    severity: str,
    confidence: float,
    evidence: tuple[str, ...],
    span: tuple[int, int] | None = None,
) -> Event:
    """An event from an exposure; `span` when it is not the whole stretch (ns)."""
    start, end = span or (seen.start, seen.end)
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=max(end, start + 1),
        size=seen.peak_degc,
        size_unit="degC",
        size_low=seen.peak_degc,
        size_high=seen.hidden_degc,
        confidence=min(max(confidence, 0.0), 0.99),
        origin=origin,
        severity=severity,
        probe=record.probe_at(seen.start),
        onset_uncertainty_s=_interval_s(record),
        open_start=seen.open_start,
        open_end=seen.open_end,
        evidence=evidence,
        details={name: figure for name, figure in seen.details.items() if math.isfinite(figure)},
    )


def _interval_s(record: Record) -> float:
    """Usual interval of the temperature [s], 0 when unknown."""
    interval = record.temperature.sampling.interval_s if record.temperature else 0.0
    return interval if math.isfinite(interval) else 0.0
