"""Every heat exposure of a point: how hot, how long, what it adds up to, and what it did to the probe.

Whether a reading changed is taken from what the rooms before found (doubt, events of the probe, calibrations), never from
two levels alone: a process moves too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.clock import minutes_text
from excursions.conclusions import BESIDE, Levels
from excursions.digits import number
from excursions.kinds import KINDS, MOVES, TOLD_AS_HEAT
from excursions.plant import Plant, Ratings
from excursions.records import NOT_BORNE_OUT, NOT_PUT_RIGHT, SETTLED, VERIFIED, Calibration, Doubt, Event
from excursions.report.followed import FOLLOWS, LEAD, follows, half_band
from excursions.report.result import PointFindings, ScanResult
from excursions.report.telling import last_error
from excursions.report.wording import day, difference, is_seen, quantity, worst_knot

VERDICT_WORDS = {"changed since": "reading changed since"}  # where the table's word alone is too short
NEAREST = 3  # measuring hours beside the heat that give the reading: the process moves within a day (cp)
ExposureVerdict = Literal[
    "changed since", "above rating, no change laid to it", "within rating", "cannot tell"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatExposure:
    """One exposure of one probe.  Temperatures in degC, readings and errors in `unit`, NaN where not known.

    bound_degc : the true peak lies between `peak_degc` and this; stretches : times above the rating told as one event;
    dose_before_h : dose above the rating of this probe's exposures before; error, error_band : reading minus truth
    afterwards and the half width of its 90 % band; calibration : the next one of this probe (ns) or None; found : what
    it found.
    """

    event: str
    probe: str
    point: str
    kind: str
    start: int
    end: int
    peak_degc: float
    bound_degc: float
    rating_continuous_degc: float
    rating_sterilisation_degc: float
    rating_degc: float
    ratings_assumed: bool
    minutes_above_rating: float
    minutes_above_continuous: float
    minutes_above_sterilisation: float
    minutes_above_110: float
    heating_k_per_min: float
    cooling_k_per_min: float
    f0_min: float
    dose_h: float
    dose_before_h: float
    unit: str
    reading_before: float
    reading_after: float
    noise_before: float
    noise_after: float
    error: float
    error_band: float
    stretches: int
    calibration: int | None
    found: str
    verdict: ExposureVerdict
    sentence: str
    advice: str
    shock: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _After:
    """What followed an exposure: doubt, event of the probe, next calibration, what became of it."""

    doubt: Doubt | None
    change: Event | None
    calibration: Calibration | None
    state: str
    found: str
    known: bool


def heat_exposures(result: ScanResult) -> tuple[HeatExposure, ...]:
    """All exposures of all probes, in order of time at each point."""
    tz = clock.zone(result.plant.zone)
    logs = _Logs(by_probe={}, by_point={}, nameless={}, doubts={})
    for c in result.calibrations:
        logs.by_probe.setdefault(c.probe, []).append(c)
        logs.by_point.setdefault(c.point, []).append(c)
        if not c.probe:
            logs.nameless.setdefault(c.point, []).append(c)
    for doubt in result.told_doubts:
        logs.doubts.setdefault(doubt.point, []).append(doubt)
    return tuple(row for findings in result.points for row in _of_point(result, findings, logs, tz))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Logs:
    """Calibrations by serial number, by point, those without a serial number by point; doubts by point."""

    by_probe: dict[str, list[Calibration]]
    by_point: dict[str, list[Calibration]]
    nameless: dict[str, list[Calibration]]
    doubts: dict[str, list[Doubt]]

    def of(self, probe: str, point: str) -> list[Calibration]:
        """Calibrations of this probe, and those at its point that name none."""
        if not probe:
            return self.by_point.get(point, [])
        return [*self.by_probe.get(probe, []), *self.nameless.get(point, [])]


def _of_point(result: ScanResult, findings: PointFindings, logs: _Logs, tz: ZoneInfo) -> list[HeatExposure]:
    name = findings.point.name
    made: list[HeatExposure] = []
    for event, shocks in _grouped(findings):
        probe = event.probe or result.plant.probe_at(name, event.start) or ""
        after = _after(event, findings, logs.doubts.get(name, []), logs.of(probe, name), result)
        made.append(_exposure(event, probe, shocks, findings, result.plant, after, tz))
    return made


def _grouped(findings: PointFindings) -> list[tuple[Event, list[Event]]]:
    """Exposures in order of time, each with the thermal shocks that happened in it; a shock alone is one too."""
    heat = [e for e in findings.events if e.kind in TOLD_AS_HEAT]
    main = [e for e in heat if e.kind != "thermal_shock"]
    held: dict[str, list[Event]] = {e.id: [] for e in main}
    for shock in heat:
        if shock.kind == "thermal_shock":
            owner = next((e for e in main if e.start - LEAD <= shock.start <= e.end + LEAD), None)
            held.setdefault((owner or shock).id, [])
            if owner is None:
                main.append(shock)
            else:
                held[owner.id].append(shock)
    return [(e, held[e.id]) for e in sorted(main, key=lambda e: (e.start, e.kind))]


def _after(
    event: Event,
    findings: PointFindings,
    doubts: Sequence[Doubt],
    calibrations: Sequence[Calibration],
    result: ScanResult,
) -> _After:
    first, last = event.start - LEAD, event.end + FOLLOWS
    doubt = next((d for d in doubts if d.event == event.id or first <= d.start <= last), None)
    change = next((e for e in findings.events if follows(e, event)), None)
    state, found = result.outcomes.get(event.id, ("", ""))
    following = sorted(
        (c for c in calibrations if c.time > event.start and not c.copied), key=lambda c: c.time
    )
    seen = bool(np.any((findings.levels.time >= event.end) & (findings.levels.time < event.end + BESIDE)))
    return _After(
        doubt=doubt,
        change=change,
        calibration=following[0] if following else None,
        state=state,
        found=found,
        known=seen or bool(following),
    )


def _exposure(
    event: Event,
    probe: str,
    shocks: Sequence[Event],
    findings: PointFindings,
    plant: Plant,
    after: _After,
    tz: ZoneInfo,
) -> HeatExposure:
    figures = {name: value for source in (*shocks, event) for name, value in source.details.items()}

    def figure(name: str) -> float:
        return figures.get(name, math.nan)

    ratings = plant.ratings(findings.point, event.start)
    peak, bound = _peak(event)
    verdict = _verdict(event, after)
    before, later = event.start - BESIDE, event.end + BESIDE
    levels = findings.levels
    noise_before, noise_after = findings.noise_beside.around(event.start, event.end)
    error, band = _off_by(after.doubt) if after.doubt else (math.nan, math.nan)
    limit = _limit(event, ratings)
    return HeatExposure(
        event=event.id,
        probe=probe,
        point=findings.point.name,
        kind=event.kind,
        start=event.start,
        end=event.end,
        peak_degc=peak,
        bound_degc=bound,
        rating_continuous_degc=ratings.continuous_degc,
        rating_sterilisation_degc=ratings.sterilisation_degc,
        rating_degc=limit,
        ratings_assumed=ratings.assumed,
        minutes_above_rating=figure("minutes_above_rating_min"),
        minutes_above_continuous=figure("minutes_above_continuous_min"),
        minutes_above_sterilisation=figure("minutes_above_sterilisation_min"),
        minutes_above_110=figure("minutes_above_110_degc_min"),
        heating_k_per_min=figure("heating_rate_k_per_min"),
        cooling_k_per_min=figure("cooling_rate_k_per_min"),
        f0_min=figure("f0_min"),
        dose_h=figure("dose_h"),
        dose_before_h=math.nan,
        unit=findings.unit,
        reading_before=_level(levels, before, event.start, slice(-NEAREST, None)),
        reading_after=_level(levels, event.end, later, slice(NEAREST)),
        noise_before=noise_before,
        noise_after=noise_after,
        error=error,
        error_band=band,
        stretches=int(figures.get("stretches", 1)),
        calibration=after.calibration.time if after.calibration else None,
        found=after.found,
        verdict=verdict,
        sentence=_sentence(event, findings, ratings, after, verdict, tz, shocks),
        advice=_advice(event, verdict, after, tz, shocks),
        shock="; ".join(fact for shock in shocks for fact in shock.evidence[:1]),
    )  # fmt: skip


def _level(levels: Levels, start: int, end: int, part: slice) -> float:
    """Median of the measuring hours in [start, end) that `part` takes of them, NaN without any."""
    inside = (levels.time >= start) & (levels.time + clock.NS_PER_HOUR <= end) & np.isfinite(levels.value)
    seen = levels.value[inside][part]
    return float(np.median(seen)) if seen.size else math.nan


def _peak(event: Event) -> tuple[float, float]:
    if event.kind != "thermal_shock":
        return event.size, max(event.size, event.size_high) if math.isfinite(event.size_high) else event.size
    ends = [event.details.get(name, math.nan) for name in ("before_degc", "after_degc")]
    top = max((end for end in ends if math.isfinite(end)), default=math.nan)
    return top, top


def _limit(event: Event, ratings: Ratings) -> float:
    """The rating this exposure was held against."""
    above = event.details.get("minutes_above_rating_min", math.nan)
    steam = event.details.get("minutes_above_sterilisation_min", math.nan)
    return (
        ratings.sterilisation_degc
        if event.kind == "sterilisation" or above == steam
        else ratings.continuous_degc
    )


# --- the answer ----------------------------------------------------------------------------------


def _verdict(event: Event, after: _After) -> ExposureVerdict:
    if _reading_off(after) or after.change or after.state == VERIFIED:
        return "changed since"
    if event.kind == "sterilisation":
        return "within rating"
    if event.kind == "hidden_heat":
        return "cannot tell"
    return "above rating, no change laid to it" if after.known else "cannot tell"


def _off_by(doubt: Doubt) -> tuple[float, float]:
    """The error of a window and its band as the point itself is told: now where it is open, else where it was largest."""
    return last_error(doubt) if doubt.open_end else worst_knot(doubt)


def _reading_off(after: _After) -> bool:
    """Whether the doubt that follows is more than a band around nothing."""
    doubt = after.doubt
    if doubt is None:
        return False
    return not (doubt.knots and doubt.band) or is_seen(*_off_by(doubt))


def _sentence(
    event: Event,
    findings: PointFindings,
    ratings: Ratings,
    after: _After,
    verdict: ExposureVerdict,
    tz: ZoneInfo,
    shocks: Sequence[Event] = (),
) -> str:
    """The answer in one sentence: how hot, against what, what it did, what to do."""
    parts = [f"{findings.point.name}: {_how_hot(event, ratings, tz)}"]
    parts += [f"in it {_how_hot(shock, ratings, tz)}" for shock in shocks[:1]]
    if verdict == "changed since":
        parts.append(_changed(findings, after, tz))
    elif verdict == "above rating, no change laid to it":
        parts.append(_nothing_seen(after, findings.unit))
    elif verdict == "cannot tell":
        parts.append(
            "this export cannot tell"
            if event.kind == "hidden_heat"
            else "no reading and no calibration since: cannot tell what it did"
        )
    parts.append(_advice(event, verdict, after, tz, shocks))
    return "; ".join(parts) + "."


def _nothing_seen(after: _After, unit: str) -> str:
    """What was looked at without finding a change."""
    if after.state != NOT_BORNE_OUT:
        hidden = ""
        if after.doubt is not None and after.doubt.band:
            band = _off_by(after.doubt)[1]
            hidden = f" (a shift up to {difference(band, unit, band)} could hide)"
        return f"no change of the reading laid to it{hidden}"
    other = "found no shift" not in after.found
    return "a shift found later has another likely cause" if other else "a later calibration found no shift"


def _how_hot(event: Event, ratings: Ratings, tz: ZoneInfo) -> str:
    if event.kind == "thermal_shock":
        return f"{number(event.size)} K/min on {day(event.start, tz)}, a thermal shock"
    assumed = " (assumed)" if ratings.assumed else ""
    if event.kind == "hidden_heat":
        assumed = "" if ratings.continuous_stated else " (assumed)"
        return (
            f"highest {quantity(event.size, 'degC', 1.0)} on {day(event.start, tz)}, between samples up to about"
            f" {quantity(event.size_high, 'degC', 1.0)} cannot be excluded: it may have been above its"
            f" {quantity(ratings.continuous_degc, 'degC', 1.0)} rating{assumed}"
        )
    times = int(event.details.get("stretches", 1))
    often = f", {times} times up to {day(event.end, tz)}" if times > 1 else ""
    text = f"{quantity(event.size, 'degC', 1.0)} on {day(event.start, tz)}{often}"
    limit = quantity(_limit(event, ratings), "degC", 1.0)
    above = event.details.get("minutes_above_rating_min", 0.0)
    if event.size > _limit(event, ratings) and above > 0:
        return f"{text}, {minutes_text(above)} above its {limit} rating{assumed}"
    minutes = event.details.get("minutes_above_110_degc_min", 0.0)
    if event.kind == "over_temperature":
        return f"{text}, {minutes_text(minutes)} of steam where {minutes_text(ratings.sterilisation_min)} are rated{assumed}"
    return f"{text}, a sterilisation within its {limit} rating{assumed}"


def _changed(findings: PointFindings, after: _After, tz: ZoneInfo) -> str:
    doubt = after.doubt
    if doubt and doubt.knots and _reading_off(after):
        error, band = _off_by(doubt)
        way = f"{difference(abs(error), findings.unit, band)} {'high' if error > 0 else 'low'}"
        return (
            f"reads about {way} since" if doubt.open_end else f"read up to {way} until {day(doubt.end, tz)}"
        )
    if after.change:
        change, of = after.change, ""
        if change.kind in MOVES and math.isfinite(change.size):
            of = f" of {difference(change.size, findings.unit, half_band(change), signed=True)}"
        return f"{KINDS[change.kind].label}{of} since {day(change.start, tz)}"
    return "a later calibration found it changed"


def _advice(
    event: Event, verdict: ExposureVerdict, after: _After, tz: ZoneInfo, shocks: Sequence[Event]
) -> str:
    later = after.calibration
    if event.kind == "hidden_heat" and verdict == "cannot tell":
        return "ask for a finer export of that stretch"
    if verdict == "within rating" and any(s.asks_a_look and s.may_be_probe for s in shocks):
        looked = f"calibrated on {day(later.time, tz)}" if later is not None else "verify the reading"
        return f"look for cracks; {looked}"
    if verdict == "within rating":
        return "nothing to do"
    if verdict == "changed since":
        open_now = after.doubt is not None and after.doubt.open_end
        if later is None or open_now or after.state == NOT_PUT_RIGHT:
            return "check before use"
        return f"calibrated on {day(later.time, tz)}"
    if later is not None and after.state in SETTLED:
        return "nothing more to do"
    if after.doubt is not None and after.doubt.open_end:
        return "check before use"
    if later is None and event.asks_a_look and event.may_be_probe:
        return "verify before trusting the reading"  # as the point itself is told: nobody has looked since
    return "compare slope and zero at the next calibration"
