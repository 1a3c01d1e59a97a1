"""Who looks at the answers, and how a figure is written for them: the plant's clock, the unit asked for or exported.

Inside the house a temperature is degC and a reading is in the unit of its measurand; here, and only here, they become
what is shown.  A figure is written first and converted then, so that one number has the same digits wherever it stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.digits import written
from excursions.measurands import to_canonical
from excursions.plant import Point
from excursions.records import Event, FloatArray
from excursions.report.result import PointFindings
from excursions.report.rounded import to_digits
from excursions.report.wording import UNIT_WORDS, event_sentence, quantity

# unit -> (what is added after multiplying by 1.8, unit shown)
FAHRENHEIT = {"degC": (32.0, "degF"), "K": (0.0, "degF"), "K/min": (0.0, "degF/min")}
# Decimals of a temperature that was converted: what arithmetic adds behind them is no reading.
MOST_DEGREES = 2
MOST_DIGITS = 12  # of a reading that was multiplied back: what binary fractions add behind them is no reading
# The house writes a temperature as a number of degC (or °C) and a difference as a number of K, always; so the unit
# alone says how a figure is converted, and nothing is guessed from the words around it.
_DEGREES = re.compile(r"(?P<figure>[+\-−]?\d+(?:[.,]\d+)?)\s?(?P<unit>°C|degC|K/min|K)(?![\w/])")
_PLAIN_UNITS = re.compile(r"(?<=\d)\s?deg([CF])\b")
_SIGNED_ZERO = re.compile(r"^[−+-](?=0(?:\.0*)?(?:\s|$))")
# An instant as the house writes it for machines; people get it on their own clock.
_STAMP = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_MACHINE_UNITS = re.compile(r"(?<=\d )(?:uS/cm|%sat)(?!\w)")
_BARE_UNITS = re.compile(r"\bdeg([CF])\b")
_FIGURE = r"(?<![\w.,])[+\-−]?\d+(?:\.\d+)?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """The unit in which an export holds a reading: `unit` of the house times `factor` is `shown`."""

    unit: str
    factor: float
    shown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Who looks: the zone of their clock, the unit of their temperatures (``degC`` or ``degF``), and that of the readings
    of the point looked at, where its export has another than the house."""

    tz: ZoneInfo
    temperature: str = "degC"
    exported: Exported | None = None
    beside: tuple[Exported, ...] = ()

    def of(self, findings: PointFindings, beside: Iterable[PointFindings] = ()) -> Reader:
        """The same, looking at one point: its readings in the unit of its export, where that is another than the house's.

        Readings of points `beside` it that measure in other units of the house are told as exported too.
        """
        first = {findings.unit: exported_in(findings.point, findings.exported_unit)}
        for other in beside:
            first.setdefault(other.unit, exported_in(other.point, other.exported_unit))
        own = first.pop(findings.unit)
        return replace(self, exported=own, beside=tuple(one for one in first.values() if one is not None))

    def _exported_in(self, unit: str) -> Exported | None:
        return next(
            (one for one in (self.exported, *self.beside) if one is not None and one.unit == unit), None
        )

    def unit(self, unit: str) -> str:
        """How a unit is written, after conversion."""
        if (given := self._exported_in(unit)) is not None:
            return given.shown
        shown = FAHRENHEIT[unit][1] if self.temperature == "degF" and unit in FAHRENHEIT else unit
        return UNIT_WORDS.get(shown, shown)

    def level(self, value: FloatArray, unit: str) -> FloatArray:
        """Readings (not differences) in the unit shown."""
        if unit == "degC" and self.temperature == "degF":
            return np.round(value * 1.8 + 32.0, MOST_DEGREES)
        return self.apart(value, unit)

    def apart(self, value: FloatArray, unit: str) -> FloatArray:
        """Differences of readings in `unit`, and widths of bands, in the unit shown."""
        if unit == "degC" and self.temperature == "degF":
            return np.round(value * 1.8, MOST_DEGREES)
        if (given := self._exported_in(unit)) is not None:
            return to_digits(np.asarray(value) * given.factor, MOST_DIGITS)
        return value

    def amount(self, value: float, unit: str, uncertainty: float = math.nan, *, signed: bool = False) -> str:
        """A figure with its unit and the digits its uncertainty supports; what degC measures is a level, K a difference."""
        return self._shown(_SIGNED_ZERO.sub("", quantity(value, unit, uncertainty, signed=signed)))

    def figure(self, value: float, unit: str, uncertainty: float = math.nan) -> str:
        """The same without its unit, for a scale that names it elsewhere."""
        return self.amount(value, unit, uncertainty).removesuffix(f" {self.unit(unit)}")

    def half(self, band: float, unit: str) -> str:
        """Half the width of a band, without its unit: it stands behind a figure that has it, or in a column of its own."""
        return self.figure(band, "K" if unit == "degC" else unit, band)

    def difference(
        self, value: float, unit: str, uncertainty: float = math.nan, *, signed: bool = False
    ) -> str:
        """A difference of two readings in `unit`: an error, a step, a deadband."""
        return self.amount(value, "K" if unit == "degC" else unit, uncertainty, signed=signed)

    def text(self, sentence: str) -> str:
        """A sentence made elsewhere, its temperatures and its readings in the unit shown."""
        sentence = self._shown(_STAMP.sub(self._said, sentence))
        sentence = _MACHINE_UNITS.sub(lambda found: UNIT_WORDS[found.group()], sentence)
        return _BARE_UNITS.sub(r"°\1", _PLAIN_UNITS.sub(r" °\1", sentence))

    def _shown(self, text: str) -> str:
        if self.temperature == "degF":
            text = _DEGREES.sub(_to_fahrenheit, text)
        for given in (self.exported, *self.beside):
            text = _to_exported(text, given) if given is not None else text
        return text

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
        at = clock.to_datetime(instant, self.tz)
        return f"{at:%-d %b %Y, %H:%M}{clock.which_pass(at)}"

    def short(self, instant: int) -> str:
        """Day and minute; the year is named elsewhere on the page."""
        at = clock.to_datetime(instant, self.tz)
        return f"{at:%-d %b, %H:%M}{clock.which_pass(at)}"

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
        return np.asarray((time + clock.offsets(time, self.tz)) // 1_000_000)

    def wall(self, time: np.ndarray) -> np.ndarray:
        """Instants [ns UTC] as wall-clock datetime64[ms], for an axis."""
        return self.wall_ms(time).astype("datetime64[ms]")


def _to_fahrenheit(found: re.Match[str]) -> str:
    """A figure as °F with the decimals it had; a difference and a rate without the offset of the scale."""
    text, unit = found["figure"].replace("−", "-").replace(",", "."), found["unit"]
    decimals = len(text.partition(".")[2])
    value = float(text) * 1.8 + (32.0 if unit in ("°C", "degC") else 0.0)
    sign = "+" if text.startswith("+") else ""
    shown = f"{value:{sign}.{decimals}f}".replace("-", "−")
    return f"{shown} {'°F/min' if unit == 'K/min' else '°F'}"


def looking(points: Iterable[PointFindings], reader: Reader) -> Callable[[str], Reader]:
    """The reader who looks at the point of a name; the same as ever for a name that is no point."""
    known = {findings.point.name: reader.of(findings) for findings in points}
    return lambda name: known.get(name, reader)


def exported_in(point: Point, unit: str) -> Exported | None:
    """The `unit` of a point's export; None where it is the house's, where it has but one, and for temperatures.

    Temperatures follow what is asked for, not the export.
    """
    row, given = point.quantity, " ".join(unit.split())
    if not given or row.unit in ("", row.label, "degC"):
        return None
    scale, house = to_canonical(row.key, given), UNIT_WORDS.get(row.unit, row.unit)
    if scale is None or (scale[0] == 1.0 and house.casefold().startswith(spelt(given).casefold())):
        return None
    return Exported(unit=row.unit, factor=1.0 / scale[0], shown=spelt(given))


def spelt(unit: str) -> str:
    """A unit as its export spells it, with a true micro sign."""
    return re.sub(r"^[uμ](?=[gs]/|[gs]\b)", "µ", unit, flags=re.IGNORECASE)


@lru_cache(maxsize=64)
def _readings(unit: str) -> re.Pattern[str]:
    """Figures in a unit, as the house and as people write it: alone, as a band (``1 ± 0.2``) and as a span (``1 to 2``)."""
    units = "|".join(re.escape(word) for word in {unit, UNIT_WORDS.get(unit, unit)})
    return re.compile(
        rf"(?P<figures>{_FIGURE}(?:\s(?:±|to|and)\s{_FIGURE})*)(?P<gap>\s?)(?:{units})(?![\w/])"
        rf"(?P<band>\s±\s{_FIGURE}(?!\S*\d)(?!\s?[\wµ%°]+/))?"
    )


def _to_exported(text: str, exported: Exported) -> str:
    """Every reading in a text as its export gives it."""

    def shown(found: re.Match[str]) -> str:
        parts = [re.sub(_FIGURE, rescaled, found[name] or "") for name in ("figures", "band")]
        return f"{parts[0]}{found['gap']}{exported.shown}{parts[1]}"

    def rescaled(figure: re.Match[str]) -> str:
        return times(figure.group(), exported.factor)

    return _readings(exported.unit).sub(shown, text)


def times(figure: str, factor: float) -> str:
    """A written figure times a factor, with the digits that it had: ``0.045`` times 1000 is ``45``, 150 / 1000 is ``0.15``."""
    plain = figure.replace("−", "-")
    power = round(math.log10(factor))
    if not math.isclose(10.0**power, factor, rel_tol=1e-9):
        digits = len(plain.lstrip("+-0.").replace(".", "")) or 1
        return written(float(plain) * factor, digits, signed=figure.startswith("+"))
    text = f"{Decimal(plain).scaleb(power):f}"
    if "." in text and "." not in plain:
        text = text.rstrip("0").rstrip(".")
    return ("+" if figure.startswith("+") else "") + text.replace("-", "−")
