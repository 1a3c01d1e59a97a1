"""Words and numbers as the pages show them: units, times, spans, names of things.

Inside the house temperatures are degC; here, and only here, they become what the reader asked for.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from excursions import clock
from excursions.digits import band_ends, number, of_a_move, supported, written
from excursions.kinds import KINDS, MOVES
from excursions.records import Doubt, Event, FloatArray
from excursions.report.wording import event_sentence, quantity

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
CAUSE_WORDS = {"ageing": "ordinary ageing", "unrecorded": "something not in the record"}
# unit -> (what is added after multiplying by 1.8, unit shown)
FAHRENHEIT = {"degC": (32.0, "degF"), "K": (0.0, "degF"), "K/min": (0.0, "degF/min")}
MOST_DEGREES = (
    2  # decimals of a temperature that was converted: what arithmetic adds behind them is no reading
)
LEAST_DEGREES = 0.5  # no temperature on a page is worth more than one decimal
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
FEW = 64
# The house writes a temperature as a number of degC (or °C) and a difference as a number of K, always; so the unit
# alone says how a figure is converted, and nothing is guessed from the words around it.
_DEGREES = re.compile(r"(?P<figure>[+\-−]?\d+(?:[.,]\d+)?)\s?(?P<unit>°C|degC|K/min|K)(?![\w/])")
_PLAIN_UNITS = re.compile(r"(?<=\d)\s?deg([CF])\b")
_SIGNED_ZERO = re.compile(r"^[−+-](?=0(?:\.0*)?(?:\s|$))")
# An instant as the house writes it for machines; people get it on their own clock.
_STAMP = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_MACHINE_UNITS = re.compile(r"(?<=\d )(?:uS/cm|%sat)(?!\w)")
_BARE_UNITS = re.compile(r"\bdeg([CF])\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Who looks: the zone of their clock and the unit of their temperatures (``degC`` or ``degF``)."""

    tz: ZoneInfo
    temperature: str = "degC"
    _words: dict[str, str] = field(default_factory=dict, compare=False)

    def unit(self, unit: str) -> str:
        """How a unit is written, after conversion."""
        shown = FAHRENHEIT[unit][1] if self.temperature == "degF" and unit in FAHRENHEIT else unit
        return UNIT_WORDS.get(shown, shown)

    def level(self, value: FloatArray, unit: str) -> FloatArray:
        """A reading (not a difference) in the unit shown."""
        if unit == "degC" and self.temperature == "degF":
            return np.round(value * 1.8 + 32.0, MOST_DEGREES)
        return value

    def amount(self, value: float, unit: str, uncertainty: float = math.nan, *, signed: bool = False) -> str:
        """A figure with its unit and the digits its uncertainty supports; what degC measures is a level, K a difference."""
        if self.temperature == "degF" and unit in FAHRENHEIT:
            shift, unit = FAHRENHEIT[unit]
            if (
                0 < uncertainty < 1
            ):  # sentences hold tenths of degC: here the same tenth is converted, not another
                value = supported(value, uncertainty)
            value, uncertainty = value * 1.8 + shift, uncertainty * 1.8
        if unit in ("ratio", "1"):
            return f"{number(value, uncertainty, signed=signed)}{' ×' if unit == 'ratio' else ''}"
        text = quantity(value, UNIT_WORDS.get(unit, unit), uncertainty, signed=signed)
        return _SIGNED_ZERO.sub("", text)

    def difference(
        self, value: float, unit: str, uncertainty: float = math.nan, *, signed: bool = False
    ) -> str:
        """A difference of two readings in `unit`: an error, a step, a deadband."""
        return self.amount(value, "K" if unit == "degC" else unit, uncertainty, signed=signed)

    def text(self, sentence: str) -> str:
        """A sentence made elsewhere, its temperatures in the unit shown."""
        if self.temperature == "degF":
            sentence = _DEGREES.sub(_to_fahrenheit, sentence)
        sentence = _MACHINE_UNITS.sub(
            lambda found: UNIT_WORDS[found.group()], _STAMP.sub(self._said, sentence)
        )
        return _BARE_UNITS.sub(r"°\1", _PLAIN_UNITS.sub(r" °\1", sentence))

    def _said(self, found: re.Match[str]) -> str:
        return self.moment(clock.to_ns(datetime.fromisoformat(found.group())))

    def away(self, instant: int, span: int) -> int:
        """An instant a span [ns] later (or earlier) by the clock on the wall: a change to summer time adds no hour."""
        there = clock.to_datetime(instant, self.tz) + timedelta(microseconds=span // 1_000)
        return clock.to_ns(there)

    def event(self, event: Event) -> str:
        """One event in a sentence."""
        return event_sentence(event, self.tz, show=self.amount)

    def moment(self, instant: int) -> str:
        """Day, year and minute."""
        return clock.to_datetime(instant, self.tz).strftime("%-d %b %Y, %H:%M")

    def short(self, instant: int) -> str:
        """Day and minute; the year is named elsewhere on the page."""
        return clock.to_datetime(instant, self.tz).strftime("%-d %b, %H:%M")

    def date(self, instant: int) -> str:
        """The day alone."""
        return clock.to_datetime(instant, self.tz).strftime("%-d %b %Y")

    def day_month(self, instant: int) -> str:
        """Day and month."""
        return clock.to_datetime(instant, self.tz).strftime("%-d %b")

    def clock(self, instant: int) -> str:
        """Hour and minute."""
        return clock.to_datetime(instant, self.tz).strftime("%H:%M")

    def wall_ms(self, time: np.ndarray) -> np.ndarray:
        """Instants [ns UTC] as wall-clock milliseconds: what a clock on the plant's wall showed."""
        if time.size <= FEW:  # not worth the start of a column engine
            return np.array([_wall_ms(int(t), self.tz) for t in time], dtype=np.int64)
        wall = pl.col("time").cast(pl.Datetime("ns", "UTC")).dt.convert_time_zone(self.tz.key)
        told = pl.DataFrame({"time": time}).select(wall.dt.replace_time_zone(None).dt.epoch("ms"))
        return cast(np.ndarray, told["time"].to_numpy())

    def wall(self, time: np.ndarray) -> np.ndarray:
        """Instants [ns UTC] as wall-clock datetime64[ms], for an axis."""
        return self.wall_ms(time).astype("datetime64[ms]")


def _wall_ms(instant: int, tz: ZoneInfo) -> int:
    offset = clock.to_datetime(instant, tz).utcoffset()
    return instant // 1_000_000 + (round(offset.total_seconds() * 1000) if offset else 0)


def _to_fahrenheit(found: re.Match[str]) -> str:
    """A figure as °F with the decimals it had; a difference and a rate without the offset of the scale."""
    text, unit = found["figure"].replace("−", "-").replace(",", "."), found["unit"]
    decimals = len(text.partition(".")[2])
    value = float(text) * 1.8 + (32.0 if unit in ("°C", "degC") else 0.0)
    sign = "+" if text.startswith("+") else ""
    shown = f"{value:{sign}.{decimals}f}".replace("-", "−")
    return f"{shown} {'°F/min' if unit == 'K/min' else '°F'}"


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
    if event.size_unit == "degC" and half > 0:
        half = LEAST_DEGREES
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


def counted(count: int, one: str, many: str = "") -> str:
    """``1 point``, ``3 points``, ``no points``."""
    word = one if count == 1 else many or f"{one}s"
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
