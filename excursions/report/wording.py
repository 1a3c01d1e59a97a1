"""Facts in words: numbers with the digits their uncertainty supports, events and verdicts as sentences."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from functools import partial
from typing import Protocol
from zoneinfo import ZoneInfo

from excursions.clock import duration_text, minutes_text, to_datetime, which_pass
from excursions.conclusions import AUDIT_KINDS
from excursions.digits import DEGREE, band_ends, digits_for, number, of_a_jump, of_a_move, written
from excursions.kinds import DOUBTED, HEAT_KINDS, KINDS, MOVES
from excursions.records import AGED, COATED, PRORATION, Doubt, Event, Parameter

UNIT_WORDS = {
    "degC": "°C",
    "degF": "°F",
    "degF/min": "°F/min",
    "uS/cm": "µS/cm",
    "%sat": "% sat",
    "1/cm": "cm⁻¹",
    "ratio": "×",
    "1": "",
}

# Causes of a shift that are no event.
CAUSE_WORDS = {
    "ageing": "ordinary ageing",
    "unrecorded": "something not in the record",
    "calibration": "a calibration that was itself off",
}


def quantity(value: float, unit: str, uncertainty: float = float("nan"), *, signed: bool = False) -> str:
    """A number with its unit as people write it."""
    return f"{number(value, uncertainty, signed=signed)} {UNIT_WORDS.get(unit, unit)}".rstrip()


def difference(value: float, unit: str, uncertainty: float = math.nan, *, signed: bool = False) -> str:
    """The same of an error, a step, a band or a tolerance: of temperatures a difference, which no other scale's zero moves."""
    return quantity(value, "K" if unit == "degC" else unit, uncertainty, signed=signed)


def plus_minus(half: float, unit: str) -> str:
    """``± 0.2`` behind a figure that has its unit; of temperatures with a unit of its own, so that it follows the scale asked for."""
    return f"± {difference(half, unit if unit in ('degC', 'K') else '', half)}"


def parameter_unit(parameter: Parameter) -> str:
    """Unit of a calibration parameter; a cell constant reckoned from readings is a factor to the one that was set."""
    return "ratio" if parameter.basis == "relative" and parameter.unit == "1/cm" else parameter.unit


def basis_words(parameter: Parameter) -> str:
    """How a calibration parameter is known."""
    return "to what was set" if parameter.basis == "relative" else parameter.basis


def day(instant: int, tz: ZoneInfo) -> str:
    """Day and minute as a person says it: ``30 May 14:05``."""
    moment = to_datetime(instant, tz)
    return f"{moment:%-d %b %H:%M}{which_pass(moment)}"


class Show(Protocol):
    """How a figure is written: by :func:`quantity`, or by a page in the units its reader asked for."""

    def __call__(self, value: float, unit: str, uncertainty: float = ..., *, signed: bool = ...) -> str:
        """The figure with its unit."""


def event_sentence(event: Event, tz: ZoneInfo, *, show: Show = quantity) -> str:
    """One event in a sentence: what, how much, since when, for how long; `show` writes its figures."""
    size = partial(
        show, event.size, "K" if event.size_unit == "degC" and event.kind in MOVES else event.size_unit
    )
    kind = KINDS[event.kind]
    text = f"{kind.label[0].upper()}{kind.label[1:]}"
    half = (
        (event.size_high - event.size_low) / 2
        if math.isfinite(event.size_high - event.size_low)
        else math.nan
    )
    lasting = duration_text((event.end - event.start) / 1e9)
    above = event.details.get("minutes_above_rating_min", 0.0)
    stood = event.details.get("stood_at_degc", math.nan)
    lag_s = event.details.get("lag_s", math.nan)
    form = kind.stood if kind.stood and math.isfinite(stood) else kind.said
    said = (kind.again if kind.again and math.isfinite(lag_s) else form).format(
        earlier=duration_text(lag_s) if math.isfinite(lag_s) else "",
        level=show(stood, "degC", DEGREE),
        size=size(_fineness(event, half)),
        change=size(of_a_move(event.size, half), signed=True),
        bound=show(event.size_high, event.size_unit, 1.0),
        ratio=written(event.size, 2),
        when=day(event.start, tz),
        lasting=lasting,
        still=", still so at the end of the record" if event.open_end else f" for {lasting}",
        above=f", {minutes_text(above)} above {_rating(event, show)}" if above else "",
    )
    return f"{text}{said}" if said.startswith(",") else f"{text} {said}"


def _fineness(event: Event, half: float) -> float:
    """The uncertainty a size is written with: its half band where that is coarser than three digits, a degree for heat."""
    if event.size_unit in ("degC", "K"):
        return DEGREE if event.size_unit == "degC" else of_a_jump(event.size)
    return half if digits_for(half) < digits_for(_third_digit(event.size)) else math.nan


def _rating(event: Event, show: Show) -> str:
    """The rating an exposure was held against; one that nobody stated is called assumed, with its figure."""
    if not event.details.get("rating_assumed", 0.0):
        return "the rating"
    steam = event.details.get("minutes_above_sterilisation_min", math.nan)
    which = "sterilisation" if event.details["minutes_above_rating_min"] == steam else "continuous"
    limit = event.details.get(f"rating_{which}_degc", math.nan)
    return f"its assumed {show(limit, 'degC', 1.0)} rating" if math.isfinite(limit) else "its assumed rating"


def _third_digit(size: float) -> float:
    """What the third digit of a size is worth: a sentence gives no more of it than that."""
    return 10.0 ** (math.floor(math.log10(abs(size))) - 2) if size and math.isfinite(size) else 0.0


HEAT = tuple(kind for kind in HEAT_KINDS if kind in DOUBTED)  # what may have harmed a probe


_RATHER = 0.75  # from three to one on, what nothing decides is told as the likelier (cp)


def whose(event: Event) -> str:
    """Whose doing an event is and how sure that is, in brackets; heat was measured, its harm was not."""
    if event.kind == "hidden_heat":
        return "this export cannot tell"
    if event.kind in HEAT:
        return "measured; whether the reading suffered, the next verification tells"
    sure = f"{event.confidence * 100:.0f} %"
    if event.origin in ("probe", "process", "record"):  # whose confidence is that it was
        return f"the {event.origin}, {sure} sure"
    if event.origin == "routine":
        return "routine"
    if event.confidence >= _RATHER:
        return f"rather the probe, {sure}; the process is not excluded"
    if event.confidence <= 1.0 - _RATHER:
        return f"rather the process; {sure} for the probe"
    return f"probe or process, cannot tell which; {sure} for the probe"


def too_far(error: float, band: float, unit: str) -> str:
    """``0.3 pH too high (nine times in ten between 0.1 pH and 0.5 pH)``; without a band that is known, the first half."""
    text = f"{difference(abs(error), unit, band)} too {'high' if error > 0 else 'low'}"
    if not (math.isfinite(band) and band > 0):
        return text
    low, high = (difference(end, unit, band, signed=True) for end in band_ends(error, band))
    if not is_seen(error, band):
        return f"no error seen; nine times in ten between {low} and {high}"
    return f"{text} (nine times in ten between {low} and {high})"


def is_seen(error: float, band: float) -> bool:
    """Whether an error stands out of its 90 % band enough to be called high or low; a NaN band hides nothing."""
    return not abs(error) < band / 2


_BECAUSE = {
    "heat": "because of heat",
    "drift": "because of drift",
    "step": "because of a step",
    "laboratory samples": "shown by laboratory samples",
}


def why_doubted(doubt: Doubt) -> str:
    """What a window of doubt rests on, in plain words; methods have their names in the tables."""
    if doubt.basis != PRORATION:
        return _BECAUSE.get(doubt.basis, doubt.basis)
    known = [why for why in (AGED, COATED) if any(why in reason for reason in doubt.reasons)]
    return f"found off later; {known[0] if known else 'no event in the record explains it'}"


def doubted_from(doubt: Doubt, tz: ZoneInfo) -> str:
    """Since when readings are to be doubted: the minute where the record marks it, ``about 28 Feb`` where it is a guess."""
    return f"about {to_datetime(doubt.start, tz):%-d %b}" if doubt.about else day(doubt.start, tz)


_BESIDE = 0.5  # an error this small beside its band says no more than the band (cp)


def worst_error(doubt: Doubt, unit: str) -> str:
    """How wrong readings of a window are at most, with the band there: ``up to 0.4 pH high (± 0.1 pH)``.

    Empty without an error; an error that is nothing beside its band is told as the band alone.
    """
    if not doubt.knots:
        return ""
    error, band = worst_knot(doubt)
    if _is_moot(doubt):
        widest = max(doubt.band)
        return f"whether it is off cannot be told, up to {difference(widest, unit, widest)} either way is possible"
    way, known = "high" if error > 0 else "low", math.isfinite(band)
    if math.isfinite(doubt.share) and error:
        share = abs(doubt.share) * 100.0
        spread = band / abs(error) * share
        text = f"up to {number(share, spread)} % of the reading {way}"
        text += f" (± {number(spread, spread)} %)" if known else ""
        return f"{text}, {difference(abs(error), unit, band)} at the usual one"
    text = f"up to {difference(abs(error), unit, band)} {way}"
    return f"{text} (± {difference(band, unit, band)})" if known else text


def worst_knot(doubt: Doubt) -> tuple[float, float]:
    """The largest error of a window and its band there, of those beyond their bands if there are any; NaN where there is none."""
    if not doubt.knots:
        return math.nan, math.nan
    sizes = [abs(error) for _, error in doubt.knots]
    sure = [size > band for size, band in zip(sizes, doubt.band, strict=False)] or [False] * len(sizes)
    at = max(range(len(sizes)), key=lambda i: (sure[i], sizes[i]))
    return doubt.knots[at][1], doubt.band[at] if at < len(doubt.band) else math.nan


def _is_moot(doubt: Doubt) -> bool:
    """Whether a window's error is nothing beside its band and never left the tolerance."""
    beside = _BESIDE * max(doubt.band, default=0.0)
    return bool(doubt.knots) and doubt.hours_out_of_tolerance == 0 and abs(worst_knot(doubt)[0]) < beside


def doubt_sentence(doubt: Doubt, unit: str, tz: ZoneInfo) -> str:
    """One closed window of doubt: from when to when, how wrong at most, for how long beyond tolerance, why."""
    worst = worst_error(doubt, unit)
    text = f"{doubted_from(doubt, tz)} to {day(doubt.end, tz)}{f': {worst}' if worst else ''}"
    if _is_moot(doubt):
        return f"{text} ({why_doubted(doubt)})"
    return f"{text}, {number(doubt.hours_out_of_tolerance)} h out of tolerance ({why_doubted(doubt)})"


def row_account(read: int, used: int, repeated: int, contradicted: int, refused: int) -> str:
    """The rows as a sum; rows that give another value for an instant that a later row speaks of are told apart."""
    against = f" + {contradicted:,} contradicted by a later row" if contradicted else ""
    return f"{read:,} read = {used:,} used + {repeated:,} repeated{against} + {refused:,} refused"


def audit_account(kinds: Iterable[str]) -> str:
    """What the calibration log and the record disagree in, counted by kind; empty where they agree."""
    counts = Counter(kinds)
    said = [
        f"{counts[kind]} {words[counts[kind] > 1]}"
        for kind, words in AUDIT_KINDS.items()
        if counts[kind] and words[0]
    ]
    return ", ".join(said)
