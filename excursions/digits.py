"""Numbers as people write them in a sentence: the digits that count, written out, with a true minus."""

from __future__ import annotations

import math
import re

MOST_DECIMALS = 12
HELD = "\u00a0"  # a blank that is no end of a line
_UNITS = r"%|°[CF]|deg[CF]|K|K/min|pH|mV|mV/pH|[µu]S/cm|mS/cm|[mµu]?g/[Ll]|NTU|FNU|FTU|ppm|ppb|[km]?Pa|hPa|bar|nA|nA/hPa|ms|s|min|h|d|×"
_LOOSE = re.compile(
    rf"(?<=\d) (?=(?:{_UNITS})(?![\w/]))|(?<=\d %) (?=sat\b)|(?<=±) (?=\d)|(?<=\b\d) (?=[A-Z][a-z]{{2}}\b)|(?<=\b\d\d) (?=[A-Z][a-z]{{2}}\b)"
)
DEGREE = 1.0  # [K] to which heat is told: a class B element at 130 degC (IEC 60751: 0.95 K)
JUMP_K = 0.1  # [K] to which a jump of a temperature reading is told below ten kelvins: two samples of one element share its error
MOST_F0 = 10_000  # minutes; about a week at 121.1 degC


def digits_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty to its first digit: 0.04 -> 2, 0.3 -> 1, 0.00098 -> 3, which is written 0.001.

    From ten on two digits stand, so that little is lost to rounding: 12 -> 0, and 272 -> -1, which is written 270.
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 3
    power = int(f"{uncertainty:.0e}".partition("e")[2])
    return min(6, -power) if power < 1 else 1 - power


def written(value: float, digits: int = 3, *, signed: bool = False) -> str:
    """A number rounded to so many digits that count and written out: ``320``, ``0.045``, ``−2020``, ``+0.5``.

    Never a power of ten: 147.2 with two digits is ``150``.  A value that is not finite is ``unknown``.
    """
    if not math.isfinite(value):
        return "unknown"
    rounded = float(f"{value:.{digits - 1}e}")
    if rounded == 0:
        return "0"
    decimals = min(MOST_DECIMALS, max(0, digits - 1 - math.floor(math.log10(abs(rounded)))))
    text = f"{rounded:+.{decimals}f}" if signed else f"{rounded:.{decimals}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def number(value: float, uncertainty: float = math.nan, *, signed: bool = False) -> str:
    """Write a number with as many digits as its uncertainty supports (three significant ones when unknown)."""
    if not math.isfinite(value):
        return "unknown"
    if math.isfinite(uncertainty) and uncertainty > 0:
        text = _to_decimals(value, digits_for(uncertainty), signed=signed)
    else:
        text = _three_digits(value, signed=signed)
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def _to_decimals(value: float, decimals: int, *, signed: bool) -> str:
    """So many decimals; fewer than none are tens and hundreds."""
    rounded, shown = round(value, decimals), max(0, decimals)
    return f"{rounded:+.{shown}f}" if signed else f"{rounded:.{shown}f}"


def _three_digits(value: float, *, signed: bool) -> str:
    """Three digits that count, and all of a whole number: 2765 stays 2765."""
    if value == 0:
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:+.{min(decimals, 6)}f}" if signed else f"{value:.{min(decimals, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def of_a_move(size: float, half: float) -> float:
    """The uncertainty a move is written with: its half band, and never finer than the second digit of its size.

    The band of a step holds only the scatter around it; the process moves too, and more digits than two are no finding.
    """
    if not (math.isfinite(size) and size):
        return half
    second = 10.0 ** (math.floor(math.log10(abs(size))) - 1)
    return max(half, second) if math.isfinite(half) else second


def supported(value: float, uncertainty: float) -> float:
    """The figure that :func:`number` writes, as a number; NaN stays NaN."""
    return float(number(value, uncertainty).replace("−", "-")) if math.isfinite(value) else value


def reckoned(value: float, other: float, uncertainty: float) -> float:
    """The difference of two figures as a reader reckons it from what is written: 0.04 and 0.86 are 0.0 and 0.9, so 0.9."""
    return supported(value, uncertainty) - supported(other, uncertainty)


def of_a_jump(kelvins: float) -> float:
    """To what a jump of a temperature reading is written [K]: to the degree, as the levels beside it, and small ones to a tenth."""
    return JUMP_K if abs(kelvins) < 10 else DEGREE


def band_ends(value: float, half: float) -> tuple[float, float]:
    """Ends of a band as a reader reckons them from the figures that are written: 0.33 and 0.24 are 0.3 ± 0.2, so 0.1 to 0.5."""
    if not (math.isfinite(value) and math.isfinite(half) and half > 0):
        return value - half, value + half
    decimals = digits_for(half)
    return round(value, decimals) - round(half, decimals), round(value, decimals) + round(half, decimals)


def chance_text(expected: float) -> str:
    """How many of something chance alone would show: ``0.02``, and of less than a thousandth no more than that."""
    return "fewer than 0.001" if expected < 0.001 else written(expected, 1)


def percent(probability: float) -> str:
    """A probability as people read it: nothing is certain, and nothing impossible."""
    if not math.isfinite(probability):
        return "not known"
    share = probability * 100
    if share > 99:
        return "over 99 %"
    return "under 1 %" if share < 1 else f"{share:.0f} %"


def f0_text(minutes: float) -> str:
    """Lethality F0 [min]; from a week on its size says no more than that it is beyond any cycle.

    Two digits: with z of 10 K a tenth of a kelvin, which no probe knows better, is 2 % of it.
    """
    if not math.isfinite(minutes):
        return "–"
    if minutes > MOST_F0:
        return f"over {MOST_F0} min"
    if minutes >= 100:
        return f"{written(minutes, 2)} min"
    return f"{number(minutes, 1.0 if minutes >= 10 else 0.1) if minutes else '0'} min"


def unbroken(text: str) -> str:
    """A text in which a number keeps to one line with its unit, its band or its month."""
    return _LOOSE.sub(HELD, text)
