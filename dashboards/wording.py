"""Words and numbers as the pages show them: sizes, spans, names of things."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping

from excursions import clock
from excursions.digits import DEGREE, band_ends, number, of_a_move, written
from excursions.kinds import KINDS, MOVES
from excursions.records import Doubt, Event
from excursions.report.reader import Reader as Reader
from excursions.report.wording import CAUSE_WORDS as CAUSE_WORDS

CAUTIONS = (
    "This is no release system and no protective system: it reads a record after the fact. Quality decisions and "
    "safety functions stay where they are.",
    "Local procedures, lock-out and authorised people decide on every piece of work on a line.",
    "Steam, pressure, hot caustic, acids and broken glass can hurt: isolate, vent, drain and cool before a fitting is opened, "
    "and retract a probe from a live line only with a fitting made for it.",
    "Corrected readings are estimates beside the record. The record itself is never changed.",
)
ORIGIN_WORDS = {
    "probe": "the probe",
    "process": "the process",
    "routine": "routine",
    "record": "the record",
    "undecided": "probe or process, cannot tell",
}
SEVERITY_WORDS = {"act": "act on it", "check": "check it", "note": "for the record"}
STATE_WORDS = {
    "measuring": "measuring",
    "hold": "hold",
    "calibrating": "calibrating",
    "washing": "wash",
    "cleaning": "cleaning",
    "steaming": "steam",
    "recovering": "recovering",
    "no_data": "no data",
}
PARAMETER_WORDS = {
    "slope": "slope",
    "zero_point": "zero point",
    "offset": "offset",
    "cell_constant": "cell constant",
    "zero": "zero",
    "span": "span",
    "gain": "gain",
}
# Units that stand at the end of a figure's name, longest first, and how people write them.
SUFFIXES = (
    ("_k_per_min", "K/min"),
    ("_per_day", "a day"),
    ("_per_h", "an hour"),
    ("_degc", "degC"),
    ("_min", "min"),
    ("_pct", "%"),
    ("_mv", "mV"),
    ("_kpa", "kPa"),
    ("_ph", "pH"),
    ("_s", "s"),
    ("_h", "h"),
    ("_d", "d"),
    ("_k", "K"),
)


def kind_label(kind: str) -> str:
    """Words for a kind of event, also for one this table does not know yet."""
    return KINDS[kind].label if kind in KINDS else kind.replace("_", " ")


def described(label: str, description: str) -> str:
    """A point in a few words: what it measures and where, without saying the first twice."""
    lead = description.split(",")[0].strip().casefold()
    if not lead:
        return label
    ours = label.casefold()
    same = re.match(rf"{re.escape(lead)}\b", ours) or re.match(rf"{re.escape(ours)}\b", lead)
    return description if same else f"{label}, {description}"


def capital(text: str) -> str:
    """First letter large, the rest as it is; words like pH that have their own way stay."""
    return text if text[1:2].isupper() else text[:1].upper() + text[1:]


def size_words(event: Event, reader: Reader) -> str:
    """The size of an event with what it could be between."""
    if not math.isfinite(event.size):
        return "not known"
    if event.size_unit == "h":
        return clock.duration_text(event.size * 3600)
    if event.size_unit == "s":
        return clock.duration_text(event.size)
    low, high = event.size_low, event.size_high
    half = (high - low) / 2 if math.isfinite(high - low) else math.nan
    signed = event.kind in MOVES
    if event.size_unit == "degC" and not signed:
        half = DEGREE
    if signed and event.size_unit != "degC":
        half = of_a_move(event.size, half)
    show = reader.difference if signed else reader.amount
    text = show(event.size, event.size_unit, half if half > 0 else math.nan, signed=signed)
    if not event.size_unit:  # now over before
        band = f" ({written(low, 2)} to {written(high, 2)})" if half > 0 else ""
        return f"{written(event.size, 2)} ×{band}"
    if event.kind in ("over_temperature", "sterilisation"):
        return bounded(text, reader.amount(high, event.size_unit, half) if high > event.size else text)
    if half > 0:
        unit = f" {reader.unit('K' if signed and event.size_unit == 'degC' else event.size_unit)}"
        ends = [show(end, event.size_unit, half, signed=signed).removesuffix(unit) for end in (low, high)]
        return f"{text} ({' to '.join(ends)})" if ends[0] != ends[1] else text
    return text


def bounded(peak: str, bound: str) -> str:
    """The highest seen, and what the sampling could hide where that shows in its digits."""
    return peak if bound == peak else f"{peak}, could be up to {bound}"


def rate_words(figures: Mapping[str, float], reader: Reader) -> str:
    """How fast it heated and cooled [K/min]; a dash where neither is known."""
    rates = [
        f"{word} {reader.amount(rate, 'K/min', 1.0 if rate >= 10 else 0.1)}"
        for word, rate in figures.items()
        if math.isfinite(rate)
    ]
    return ", ".join(rates) or "–"


def figure_words(name: str, value: float, reader: Reader, unit_of_point: str = "") -> str:
    """A further figure of an event: ``minutes_above_rating_min`` becomes ``minutes above rating 31 min``."""
    for suffix, unit in SUFFIXES:
        if name.endswith(suffix):
            words = _figure_name(name.removesuffix(suffix), reader)
            if unit.startswith("a "):
                return f"{words} {reader.difference(value, unit_of_point)} {unit}"
            if unit in ("s", "min", "h", "d"):
                return (
                    f"{words} {clock.duration_text(value * {'s': 1, 'min': 60, 'h': 3600, 'd': 86400}[unit])}"
                )
            return f"{words} {reader.amount(value, unit)}"
    return f"{_figure_name(name, reader)} {number(value)}"


def _figure_name(name: str, reader: Reader) -> str:
    return reader.text(name.replace("_", " ").replace("f0", "F0").replace(" degc", " degC"))


def thousands(count: int) -> str:
    """``2 820 899`` with narrow spaces, which mean the same in every country."""
    return f"{count:,}".replace(",", "\u202f")


def counted(count: int, one: str) -> str:
    """``1 point``, ``3 points``, ``no points``."""
    word = one if count == 1 else f"{one}s"
    return f"{thousands(count)} {word}" if count else f"no {word}"


def joined(parts: list[str], *, last: str = "and") -> str:
    """``a, b and c``."""
    return ", ".join(parts) if len(parts) < 2 else f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def from_words(doubt: Doubt, reader: Reader) -> str:
    """Since when readings are doubtful: to the minute where the record marks it, the day where it is a guess."""
    return f"about {reader.date(doubt.start)}" if doubt.about else reader.moment(doubt.start)


def since_words(since: int | None, reader: Reader, *, about: bool, rest: str) -> tuple[str, str]:
    """The margin's two lines: the day, and the minute with the `rest`; a guess has no minute, and nothing has neither."""
    if since is None:
        return "", ""
    if about:
        return f"about {reader.date(since)}", rest
    return reader.date(since), f"{reader.clock(since)}, {rest}"


def off_by(error: float, band: float, unit: str, show: Callable[..., str]) -> str:
    """How wrong a reading is, in words."""
    if math.isfinite(error) and math.isfinite(band) and abs(error) <= band:
        low, high = (show(end, unit, band, signed=True) for end in band_ends(error, band))
        return f"between {low} and {high}"
    if math.isfinite(error):
        text = f"{show(abs(error), unit, band)} too {'high' if error > 0 else 'low'}"
        return f"{text}, give or take {show(band, unit, band)}" if math.isfinite(band) else text
    return (
        f"up to {show(band, unit, band)} either way"
        if math.isfinite(band)
        else "cannot be said from this record"
    )
