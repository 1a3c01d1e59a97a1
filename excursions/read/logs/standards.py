"""What a calibration stood against, as written: buffers, conductivity and turbidity standards, air, zero solution."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from excursions.read.text.fold import plain
from excursions.read.text.numbers import number_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A standard: true value (NaN where it depends on temperature or pressure), unit, and a label.

    label: ``air``, ``zero``, ``zobell``, ``light``, ``quinhydrone``, ``sample``, or the text as written.
    """

    value: float = math.nan
    unit: str = ""
    label: str = ""


# Word in the text -> label, and the value where the word alone fixes it.  Words are common practice (cp).
_WORDS: tuple[tuple[re.Pattern[str], str, float], ...] = (
    (re.compile(r"\bzobell"), "zobell", math.nan),
    (re.compile(r"\blight'?s?\b"), "light", math.nan),
    (re.compile(r"quinhydron|chinhydron"), "quinhydrone", math.nan),
    (re.compile(r"\bn2\b|nitrogen|stickstoff|azote|nitrogeno|nitrogenio"), "zero", 0.0),
    (
        re.compile(
            r"\bzero\b|\bnull(?!\w*punkt)|\bcero\b|sulfit|sulphit|sodium sulf|oxygen.free|sauerstofffrei"
        ),
        "zero",
        0.0,
    ),
    (re.compile(r"\b(?:di|deion\w*|distilled|demin\w*|reinst)\b.*(?:water|wasser|eau|agua)?"), "zero", 0.0),
    (
        re.compile(r"\b(?:grab|sample|lab|labor|probe|muestra|echantillon|amostra|process|prozess)\b"),
        "sample",
        math.nan,
    ),
    (re.compile(r"\b(?:air|luft|aire|ar|saturated|gesattigt|sature|satured)\b"), "air", math.nan),
)


def standard_of(text: str, *, comma: bool = False, unit: str = "") -> Standard | None:
    """Read a standard such as ``7``, ``pH 4.01``, ``air``, ``ZoBell``, ``1413 uS/cm``, ``zero solution``, ``N2``.

    Parameters
    ----------
    text : str
        The cell.
    comma : bool
        Whether numbers are written with a decimal comma.
    unit : str
        Unit of the column, used when the cell carries none.

    Returns
    -------
    Standard or None
        None when the text names no standard.
    """
    said = " ".join(plain(text).casefold().replace("_", " ").split())
    if not said:
        return None
    label, fixed = next(
        ((word, value) for pattern, word, value in _WORDS if pattern.search(said)), ("", math.nan)
    )
    stripped = re.sub(r"\bn2\b|\bo2\b", "", said)
    found = _number_in(stripped, comma=comma)
    if found is None:
        return Standard(value=fixed, unit=unit, label=label) if label else None
    value, behind = found
    own = "pH" if re.search(r"(^|[^a-z])ph([^a-z]|$)", said) else _unit_of(behind)
    if label == "air" and (own in ("%", "") or value in (20.9, 20.95, 21.0)):
        return Standard(label="air")
    return Standard(value=value, unit=own or unit, label=label or text.strip())


def _number_in(said: str, *, comma: bool) -> tuple[float, str] | None:
    match = re.search(r"[+-]?\d[\d.,]*(?:e[+-]?\d+)?", said)
    if not match:
        return None
    parsed = number_of(match[0].rstrip(".,"), comma=comma or _looks_decimal(match[0]))
    return (parsed[0], said[match.end() :].strip()) if parsed else None


def _looks_decimal(digits: str) -> bool:
    """``4,01`` and ``12,88`` are decimal commas whatever the file does: no standard is called 401 or 1288."""
    return bool(re.fullmatch(r"[+-]?\d{1,2},\d{1,2}", digits))


def _unit_of(behind: str) -> str:
    match = re.match(
        r"(%\s*\w*|[umk]?s\s*/?\s*(?:cm|m)?\b|ntu|fnu|ftu|mv|v\b|mg\s*/\s*l|ppm|ppb|hpa|mbar|deg\s*c|°c)",
        behind,
    )
    if not match:
        return ""
    unit = re.sub(r"\s", "", match[1])
    return {
        "us": "uS/cm",
        "us/cm": "uS/cm",
        "ms": "mS/cm",
        "ms/cm": "mS/cm",
        "ntu": "NTU",
        "fnu": "FNU",
        "mv": "mV",
        "mg/l": "mg/L",
        "s/m": "S/m",
        "ms/m": "mS/m",
    }.get(unit, unit)
