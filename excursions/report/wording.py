"""Facts in words: numbers with the digits their uncertainty supports, events and verdicts as sentences."""

from __future__ import annotations

import math
from functools import partial
from typing import Protocol
from zoneinfo import ZoneInfo

from excursions.clock import duration_text, to_datetime
from excursions.kinds import KINDS
from excursions.records import PRORATION, Doubt, Event

MOVES = ("step", "drift", "fouling")  # whose size is a change, also where the reading is a temperature


def digits_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty to its first digit: 0.04 -> 2, 0.3 -> 1, 12 -> 0."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 3
    return max(0, min(6, -math.floor(math.log10(uncertainty))))


def number(value: float, uncertainty: float = float("nan"), *, signed: bool = False) -> str:
    """Write a number with as many digits as its uncertainty supports (three significant ones when unknown)."""
    if not math.isfinite(value):
        return "unknown"
    if math.isfinite(uncertainty) and uncertainty > 0:
        text = f"{value:+.{digits_for(uncertainty)}f}" if signed else f"{value:.{digits_for(uncertainty)}f}"
    else:
        text = _three_digits(value, signed=signed)
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def _three_digits(value: float, *, signed: bool) -> str:
    if value == 0:
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:+.{min(decimals, 6)}f}" if signed else f"{value:.{min(decimals, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def quantity(value: float, unit: str, uncertainty: float = float("nan"), *, signed: bool = False) -> str:
    """A number with its unit as people write it."""
    shown = {"degC": "°C", "degF": "°F", "uS/cm": "µS/cm", "%sat": "% sat", "K/min": "K/min"}.get(unit, unit)
    return f"{number(value, uncertainty, signed=signed)} {shown}".rstrip()


def day(instant: int, tz: ZoneInfo) -> str:
    """Day and minute as a person says it: ``30 May 14:05``."""
    return to_datetime(instant, tz).strftime("%-d %b %H:%M")


class Show(Protocol):
    """How a figure is written: by :func:`quantity`, or by a page in the units its reader asked for."""

    def __call__(self, value: float, unit: str, uncertainty: float = ..., *, signed: bool = ...) -> str:
        """The figure with its unit."""


def event_sentence(event: Event, tz: ZoneInfo, *, show: Show = quantity) -> str:
    """One event in a sentence: what, how much, since when, for how long; `show` writes its figures."""
    size = partial(
        show, event.size, "K" if event.size_unit == "degC" and event.kind in MOVES else event.size_unit
    )
    label = KINDS[event.kind].label
    text = f"{label[0].upper()}{label[1:]}"
    half = (
        (event.size_high - event.size_low) / 2
        if math.isfinite(event.size_high - event.size_low)
        else math.nan
    )
    lasting = duration_text((event.end - event.start) / 1e9)
    when = day(event.start, tz)
    match event.kind:
        case "over_temperature" | "sterilisation":
            above = event.details.get("minutes_above_rating_min", 0.0)
            text += f" to {size()} on {when}"
            text += f", {minutes_text(above)} above the rating" if above else ""
        case "step":
            text += f" of {size(half, signed=True)} on {when}"
        case "drift" | "fouling":
            text += f" of {size(half, signed=True)} from {when} over {lasting}"
        case "noise_growth" | "noise_collapse":
            text += f" to {number(event.size)} times the usual, from {when}"
        case "slow_response":
            text += f", {number(event.size)} times as slow as before, from {when}"
        case "stuck" | "pinned":
            text += f" at {size()} from {when}"
            text += ", still so at the end of the record" if event.open_end else f" for {lasting}"
        case "hidden_heat":
            text += f": highest {size()} from {when}, between samples up to about {show(event.size_high, event.size_unit, 1.0)}"
        case "dropout" | "bad_quality" | "bridged":
            text += f" from {when}, {lasting}"
        case _:
            text += f" of {size()} on {when}"
    return text


HEAT = ("over_temperature", "thermal_shock")


def whose(event: Event) -> str:
    """Whose doing an event is and how sure that is, in brackets; heat was measured, its harm was not."""
    if event.kind == "hidden_heat":
        return "this export cannot tell"
    if event.kind in HEAT:
        return "measured; whether the reading suffered, the next verification tells"
    who = "the probe" if event.origin == "probe" else "probe or process, cannot tell which"
    return f"{who}, {event.confidence * 100:.0f} % sure"


def minutes_text(minutes: float) -> str:
    """Minutes as people say them: of hours and days from two hours on."""
    return f"{number(minutes)} min" if minutes < 120 else duration_text(minutes * 60)


def is_seen(error: float, band: float) -> bool:
    """Whether an error stands out of its 90 % band enough to be called high or low; a NaN band hides nothing."""
    return not abs(error) < band / 2


def why_doubted(doubt: Doubt) -> str:
    """What a window of doubt rests on, in plain words; methods have their names in the tables."""
    return "found off later; nothing in the record explains it" if doubt.basis == PRORATION else doubt.basis


def doubt_sentence(doubt: Doubt, unit: str, tz: ZoneInfo) -> str:
    """One closed window of doubt: from when to when, how wrong at most, for how long beyond tolerance, why."""
    text = f"{day(doubt.start, tz)} to {day(doubt.end, tz)}"
    if doubt.knots:
        worst = max(range(len(doubt.knots)), key=lambda i: abs(doubt.knots[i][1]))
        error = doubt.knots[worst][1]
        band = doubt.band[worst] if worst < len(doubt.band) else math.nan
        text += f": up to {quantity(abs(error), unit, band)} {'high' if error > 0 else 'low'}"
        text += f" (± {quantity(band, unit, band)})" if math.isfinite(band) else ""
    return f"{text}, {number(doubt.hours_out_of_tolerance)} h out of tolerance ({why_doubted(doubt)})"
