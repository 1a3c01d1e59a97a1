"""What the page of one probe, and the list of all probes, says."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from dashboards.wording import PARAMETER_WORDS, Reader, bounded, capital, counted, kind_label, rate_words
from excursions.clock import minutes_text
from excursions.digits import DEGREE, f0_text, number
from excursions.report.exposures import VERDICT_WORDS, HeatExposure
from excursions.report.life import (
    hottest_first,
    life_sentence,
    maximum_bound,
    next_calibration,
    replacement,
)
from excursions.report.lives import FIXED_EDGES_DEGC, ORIGINS, ProbeLife
from excursions.report.result import Verdict

MOST_ROUTINE = 30  # sterilisations within the rating on one page, hottest first
DOSE_WORDS = (
    "The ageing dose counts hours at the continuous rating, doubling every 10 K above it: the integral of "
    "2 to the power of (temperature minus rating) over 10 K (ASTM F1980 with Q10 = 2). That rule is general and no promise of a probe's maker."
)
F0_WORDS = "F0 is the lethality of a steam cycle in minutes at 121.1 °C with z = 10 K. It describes heat on the probe and releases nothing."
PROBE_CAUTIONS = (
    "Whether a probe stays, is calibrated or is replaced is decided by local procedures and authorised people.",
    "Steam, pressure, hot caustic, acids and broken glass can hurt: isolate, vent, drain and cool before a fitting is opened, "
    "and retract a probe from a live line only with a fitting made for it.",
    "This is no release system and no protective system: it reads a record after the fact. What a probe went through before this "
    "record, or on the bench, is not in it.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Text and the number it is sorted by."""

    text: str
    sort: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StayRow:
    """One stay."""

    point: str
    page: str
    start: Cell
    end: Cell
    basis: str
    hours: Cell
    highest: Cell
    dose: Cell
    cleanings: Cell
    ratings: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureRow:
    """One exposure, and what its close view needs; figure is its place on the page, empty without one."""

    event: str
    point: str
    page: str
    label: str
    when: Cell
    peak: Cell
    above: Cell
    steam: Cell
    rates: str
    f0: Cell
    dose: Cell
    reading: str
    noise: str
    calibration: str
    verdict: str
    sentence: str
    serious: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ParameterRow:
    """A calibration parameter as found or left once."""

    parameter: str
    when: Cell
    point: str
    phase: str
    value: Cell
    uncertainty: str
    limits: str
    outside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeContent:
    """The whole page of a probe, as text and rows."""

    name: str
    label: str
    model: str
    points: tuple[tuple[str, str], ...]
    where: str
    sentence: str
    now: str
    lead: str
    worst: str
    advice: str
    caution: str
    replacement: str
    due: str
    verdict: str
    figures: tuple[tuple[str, str], ...]
    bands: tuple[tuple[str, str], ...]
    fixed: tuple[tuple[str, str], ...]
    stays: tuple[StayRow, ...]
    exposures: tuple[ExposureRow, ...]
    left_out: int
    parameters: tuple[ParameterRow, ...]
    swaps: str
    assumed: bool


def probe_content(
    life: ProbeLife, reader: Reader, pages: Mapping[str, str], verdicts: Mapping[str, Verdict]
) -> ProbeContent:
    """Turn a life into what its page says; `pages` is point -> file stem, `verdicts` the answers by point."""
    rows = tuple(_exposure(e, reader, pages) for e in sorted(life.exposures, key=_order))
    over, routine = [r for r in rows if r.serious], [r for r in rows if not r.serious]
    last = max(life.stays, key=lambda s: s.end, default=None)
    now = verdicts.get(last.point) if last and last.open_end else None
    trouble = now if now and now.verdict != "trust" else None  # what is to be done where it sits now
    badge = _verdict(life, trouble)
    standing = f"{trouble.point}: {trouble.verdict}. {reader.text(trouble.sentence)}" if trouble else ""
    told = standing if trouble and badge == trouble.verdict else ""
    sentence, worst = reader.text(life_sentence(life, reader.tz)), over[0].sentence if over else ""
    return ProbeContent(
        name=life.name if life.probe else "Probe without a name",
        label=life.label,
        model=life.model,
        points=tuple((p, pages.get(p, "")) for p in life.points),
        where=(f"at {last.point} now" if last.open_end else "on the bench, or not known where")
        if last
        else "at no point",
        sentence=sentence,
        now=standing,
        lead=told or worst or sentence,
        worst=worst,
        advice=reader.text(trouble.advice) if trouble else "",
        caution=reader.text(trouble.caution) if trouble else "",
        replacement=reader.text(replacement(life, reader.tz)),
        due=_due(life, reader),
        verdict=badge,
        figures=_figures(life, reader),
        bands=_bands(life),
        fixed=_fixed(life, reader),
        stays=tuple(_stay(life, i, reader, pages) for i in range(len(life.stays))),
        exposures=(*over, *routine[:MOST_ROUTINE]),
        left_out=max(0, len(routine) - MOST_ROUTINE),
        parameters=_parameters(life, reader),
        swaps=_swaps(life),
        assumed=any(s.ratings.assumed for s in life.stays),
    )


def _order(exposure: HeatExposure) -> tuple[bool, tuple[float, str, int]]:
    return exposure.kind == "sterilisation", hottest_first(exposure)


# Of its hours with a temperature, from which on a word about its heat holds for all of them.
LEAST_KNOWN = 0.95


def _verdict(life: ProbeLife, trouble: Verdict | None) -> str:
    """What the margin says: whether it is worn, whether heat changed it, what stands where it sits, what heat it had."""
    if life.worn_out:
        return "due for replacement"
    unchecked = [e for e in life.over if e.verdict == "changed since" and "check before use" in e.advice]
    if unchecked:
        return "check before use"
    if trouble is not None and trouble.verdict in ("do not use", "doubt"):
        return trouble.verdict
    if life.over:
        return "was above a rating"
    known = math.fsum(s.hours_with_temperature for s in life.stays if math.isfinite(s.hours_with_temperature))
    if life.hottest is None or known <= 0:
        return "heat not known"
    return "heat within ratings" if known >= LEAST_KNOWN * life.hours else "heat known in part"


def _due(life: ProbeLife, reader: Reader) -> str:
    when = next_calibration(life)
    basis = "by the plan" if life.due and life.due.planned else "by the staircase of ILAC-G24 / OIML D 10"
    return (
        f"{reader.date(when)}, {basis}" if when is not None else "not known: no plan, or too few calibrations"
    )


def _figures(life: ProbeLife, reader: Reader) -> tuple[tuple[str, str], ...]:
    hot = life.hottest
    highest = "not recorded"
    if hot is not None and hot.maximum_time is not None:
        bound = maximum_bound(life)
        peak = bounded(reader.amount(hot.maximum_degc, "degC", DEGREE), reader.amount(bound, "degC", DEGREE))
        highest = f"{peak}, {reader.moment(hot.maximum_time)} at {hot.point}"
    f0 = math.fsum(e.f0_min for e in life.exposures if math.isfinite(e.f0_min))
    return (
        ("Operating hours", f"{hours_cell(life.hours).text} in this record"),
        ("Highest", highest),
        ("Sterilisations", str(life.sterilisations) if hot else "not known"),
        ("Above a rating", counted(len(life.over), "exposure") if hot else "not known"),
        (
            "Ageing dose",
            f"{hours_cell(life.dose_h).text} above the rating, {hours_cell(life.all_dose_h).text} at all temperatures",
        ),
        ("F0, all cycles", f0_text(f0) if hot else "not known"),
        (
            "Cleanings",
            f"{sum(s.cleanings for s in life.stays)} hot, {sum(s.washes for s in life.stays)} washes",
        ),
        ("Calibrations", str(len(life.calibrations))),
    )


def _bands(life: ProbeLife) -> tuple[tuple[str, str], ...]:
    words = (
        "up to the continuous rating",
        "above it, up to the sterilisation rating",
        "above the sterilisation rating",
    )
    return tuple((w, _lasting(h)) for w, h in zip(words, life.bands, strict=True))


def _fixed(life: ProbeLife, reader: Reader) -> tuple[tuple[str, str], ...]:
    edges = [reader.amount(e, "degC", 1.0) for e in FIXED_EDGES_DEGC]
    words = [
        f"up to {edges[0]}",
        *(f"above {a}, up to {b}" for a, b in pairwise(edges)),
        f"above {edges[-1]}",
    ]
    return tuple((w, _lasting(h)) for w, h in zip(words, life.fixed, strict=True))


def _lasting(hours: float) -> str:
    if not math.isfinite(hours):
        return "not known"
    return (
        f"{number(hours * 60, 1.0)} min" if hours < 1 else f"{number(hours, 1.0 if hours >= 100 else 0.1)} h"
    )


def hours_cell(hours: float) -> Cell:
    """Hours as a table shows and sorts them; a tenth where they are few."""
    if not math.isfinite(hours):
        return Cell(text="not known", sort=-1.0)
    return Cell(text=f"{number(hours, 1.0) if hours >= 100 else number(hours)} h", sort=hours)


def _stay(life: ProbeLife, at: int, reader: Reader, pages: Mapping[str, str]) -> StayRow:
    stay = life.stays[at]
    assumed = ", assumed" if stay.ratings.assumed else ""
    known = math.isfinite(stay.maximum_degc) and stay.maximum_time is not None
    return StayRow(
        point=stay.point,
        page=pages.get(stay.point, ""),
        start=Cell(text=f"{'before ' if stay.open_start else ''}{reader.date(stay.start)}", sort=stay.start / 1e9),
        end=Cell(text="still there" if stay.open_end else reader.date(stay.end), sort=stay.end / 1e9),
        basis=ORIGINS[stay.basis],
        hours=hours_cell(stay.hours),
        highest=Cell(
            text=f"{reader.amount(stay.maximum_degc, 'degC', DEGREE)}, {reader.date(stay.maximum_time or 0)}" if known else "not recorded",
            sort=stay.maximum_degc if known else -1e9,
        ),
        dose=hours_cell(stay.dose_h),
        cleanings=Cell(text=str(stay.cleanings + stay.washes), sort=stay.cleanings + stay.washes),
        ratings=f"{reader.amount(stay.ratings.continuous_degc, 'degC', 1.0)} / {reader.amount(stay.ratings.sterilisation_degc, 'degC', 1.0)}{assumed}",
    )  # fmt: skip


def _exposure(e: HeatExposure, reader: Reader, pages: Mapping[str, str]) -> ExposureRow:
    peak = reader.amount(e.peak_degc, "degC", DEGREE)
    if e.bound_degc > e.peak_degc:
        peak = bounded(peak, reader.amount(e.bound_degc, "degC", DEGREE))
    next_one = f"next {reader.moment(e.calibration)}. " if e.calibration is not None else ""
    return ExposureRow(
        event=e.event,
        point=e.point,
        page=pages.get(e.point, ""),
        label=kind_label(e.kind),
        when=Cell(text=reader.moment(e.start), sort=e.start / 1e9),
        peak=Cell(text=peak, sort=_sortable(e.peak_degc)),
        above=_minutes(e.minutes_above_continuous),
        steam=_minutes(e.minutes_above_sterilisation),
        rates=rate_words({"up": e.heating_k_per_min, "down": e.cooling_k_per_min}, reader),
        f0=Cell(text=f0_text(e.f0_min), sort=_sortable(e.f0_min)),
        dose=hours_cell(e.dose_h),
        reading=_pair(e.reading_before, e.reading_after, e.unit, reader),
        noise=_pair(
            e.noise_before, e.noise_after, e.unit, reader, fine=max(e.noise_before, e.noise_after) / 20
        ),
        calibration=f"{next_one}{reader.text(e.found)}" or "none has followed",
        verdict=VERDICT_WORDS.get(e.verdict, e.verdict),
        sentence=reader.text(e.sentence),
        serious=e.kind != "sterilisation",
    )


def _pair(before: float, after: float, unit: str, reader: Reader, *, fine: float = math.nan) -> str:
    first, last = (reader.amount(v, unit, fine) if math.isfinite(v) else "not known" for v in (before, after))
    return f"{first} before, {last} after"


def _minutes(value: float) -> Cell:
    if not math.isfinite(value):
        return Cell(text="–", sort=-1.0)
    return Cell(text=minutes_text(value), sort=value)


def _sortable(value: float) -> float:
    return value if math.isfinite(value) else -1e9


def _parameters(life: ProbeLife, reader: Reader) -> tuple[ParameterRow, ...]:
    rows = []
    for track in life.tracks:
        limits = track.limits
        words = "none in use"
        if limits:
            ends = [reader.figure(v, track.unit) for v in (limits.low, limits.high) if math.isfinite(v)]
            words = f"{' to '.join(ends) if len(ends) == 2 else 'from ' + ends[0]} {reader.unit(track.unit)} ({limits.source})"
        for p in track.points:
            outside = limits is not None and (p.value < limits.low or p.value > limits.high)
            rows.append(
                ParameterRow(
                    parameter=capital(PARAMETER_WORDS.get(track.parameter, track.parameter)),
                    when=Cell(text=reader.moment(p.time), sort=p.time / 1e9),
                    point=p.point or "bench",
                    phase=p.phase,
                    value=Cell(text=reader.amount(p.value, track.unit, p.uncertainty), sort=p.value),
                    uncertainty=f"± {reader.half(p.uncertainty, track.unit)}"
                    if math.isfinite(p.uncertainty)
                    else "not known",
                    limits=words,
                    outside=outside,
                )
            )
    return tuple(rows)


def _swaps(life: ProbeLife) -> str:
    recognised = sum(s.basis == "recognised" for s in life.stays)
    if recognised:
        return "Nobody logged the swap that begins or ends a stay here: it was recognised from calibrations that jump to a fresh probe's figures, so its moment is that of the calibration."
    if not life.probe:
        return "Nobody said which probe sat here: name it in the register, so that its history can follow it."
    return ""


def life_words(life: ProbeLife, reader: Reader) -> str:
    """The text alternative of the figure."""
    stays = (
        "; ".join(f"{s.point} from {reader.date(s.start)} to {reader.date(s.end)}" for s in life.stays)
        or "no stay"
    )
    text = f"Sat at {stays}. {reader.text(life_sentence(life, reader.tz))}"
    for track in life.tracks[:2]:
        first, last = track.points[0], track.points[-1]
        text += f" {capital(track.parameter.replace('_', ' '))} from {reader.amount(first.value, track.unit, first.uncertainty)} to {reader.amount(last.value, track.unit, last.uncertainty)}"
        far = max(track.points, key=lambda p: abs(p.value - first.value))
        if abs(far.value - first.value) > abs(last.value - first.value) + 2 * (far.uncertainty or 0.0):
            found = reader.amount(far.value, track.unit, far.uncertainty)
            text += f", in between {found} {far.phase} on {reader.date(far.time)}"
        text += "."
    return text
