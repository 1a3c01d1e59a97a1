"""What may stand in a register: every key, what it means, and how its value is checked.

One table a section.  To add a key: add the field to ``excursions.plant`` and a row here; the checks, the
messages, the writer's explanations and the tests follow from the row.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cache
from typing import Any

from excursions.errors import did_you_mean, nearest
from excursions.measurands import MEASURANDS

# A tag stated as "" in the register: the point has no such signal, and none is to be looked for.
STATED_NONE = "stated as none"
NOT_STATED = "not stated"


class Wrong(Exception):
    """A value that does not fit its key: what was expected, and how to mend it."""

    def __init__(self, expected: str, mend: str = "") -> None:
        super().__init__(expected)
        self.expected, self.mend = expected, mend


Check = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One key: its check and the words that explain it in a written register."""

    check: Check
    says: str = ""
    also: tuple[str, ...] = ()


def text(value: Any) -> str:
    """Any text; a bare number is taken as text, because serial numbers are often written so."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise Wrong("text in quotes", 'put it in quotes, for example "AT-2103.PV"')
    return str(value).strip()


def tag(value: Any) -> str:
    """A tag name exactly as the export spells it."""
    if not isinstance(value, str):
        raise Wrong("a tag name in quotes", 'put it in quotes, for example "AT-2103.PV"')
    return value


def name(value: Any) -> str:
    """A text that is not empty."""
    if not text(value):
        raise Wrong("a name that is not empty", "give it a name of its own")
    return text(value)


def number(value: Any) -> float:
    """A finite number; a number in quotes with a decimal comma is read too."""
    if isinstance(value, str):
        try:
            value = float(value.replace(",", "."))
        except ValueError:
            raise Wrong("a number", "write it without quotes and unit, for example 0.1") from None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Wrong("a number", "write it without quotes and unit, for example 0.1")
    return float(value)


def positive(value: Any) -> float:
    """A number above zero."""
    if number(value) <= 0:
        raise Wrong("a number above 0")
    return number(value)


def like(default: float) -> Check:
    """A number such as the default of a setting: whole where that is whole, not below zero where that is not."""

    def check(value: Any) -> float:
        said = number(value)
        if isinstance(default, int) and said != int(said):
            raise Wrong("a whole number", f"the default is {default:g}")
        if said < 0 <= default:
            raise Wrong("a number not below 0", f"the default is {default:g}")
        return int(said) if isinstance(default, int) else said

    return check


def degc(value: Any) -> float:
    """A temperature rating in degC that a probe can have."""
    if not 0 < number(value) <= 400:
        raise Wrong("a temperature in degC between 0 and 400", "write the rating of the probe in degC")
    return number(value)


def air_pressure(value: Any) -> float:
    """Air pressure in kPa between high mountains and the deepest mine."""
    if not 40 <= number(value) <= 130:
        raise Wrong("an air pressure in kPa between 40 and 130", "1013 hPa (mbar) are 101.3 kPa")
    return number(value)


def span(value: Any) -> tuple[float, float]:
    """Two numbers, low before high."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise Wrong("two numbers, low and high", "write for example [0, 14]")
    low, high = number(value[0]), number(value[1])
    if not low < high:
        raise Wrong("the low end before the high end", f"write [{high:g}, {low:g}]")
    return low, high


def texts(value: Any) -> tuple[str, ...]:
    """A list of texts; a single text is a list of one."""
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise Wrong("a list of texts", 'write for example ["AT-2103", "AT-2104"]')
    return tuple(value)


def choice(*words: str) -> Check:
    """One of a few words, blind to case."""
    spelt = {word.casefold(): word for word in words}

    def check(value: Any) -> str:
        if isinstance(value, str) and value.casefold() in spelt:
            return spelt[value.casefold()]
        raise Wrong("one of " + ", ".join(words), did_you_mean(str(value), words))

    return check


def measurand(value: Any) -> str:
    """A key of the measurand table; its label and a few everyday words are understood."""
    said, known = str(value).strip().casefold(), _everyday()
    if said in MEASURANDS:
        return said
    if said in known:
        return known[said]
    near = nearest_measurand(said)
    raise Wrong("one of " + ", ".join(MEASURANDS), f'did you mean "{near}"?' if near else "")


def nearest_measurand(said: str) -> str:
    """The key that a word was probably meant for; empty when none is near."""
    near = nearest(said.strip(), [*MEASURANDS, *_everyday()])
    return _everyday().get(near, near)


@cache  # asked of every point
def _everyday() -> dict[str, str]:
    """Labels and everyday words to keys."""
    return {word.casefold(): key for key, row in MEASURANDS.items() for word in (row.label, *row.said)}


def moment(value: Any) -> datetime:
    """A date, or a date and time; without a zone it is the plant's local time."""
    if isinstance(value, datetime):
        return value
    if isinstance(value, date):
        return datetime.combine(value, time())
    for form in ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d.%m.%Y"):
        try:
            return datetime.strptime(str(value).strip(), form)
        except ValueError:
            continue
    try:
        return datetime.fromisoformat(str(value).strip())
    except ValueError:
        raise Wrong("a date", "write for example 2024-03-31 or 2024-03-31T08:00:00") from None


PRESSURE_UNITS = ("kPa", "bar", "bar_g", "psi", "psi_g")

_RATINGS = {
    "rating_continuous_degc": Field(degc, "highest temperature the probe may see all day, degC"),
    "rating_sterilisation_degc": Field(degc, "highest temperature in a sterilisation, degC"),
    "rating_sterilisation_min": Field(positive, "how long it may see that, minutes"),
}

PLANT: dict[str, Field] = {
    "name": Field(text, "name of the plant"),
    "zone": Field(text, "time zone of times without one", ("timezone", "time_zone", "tz")),
    "air_pressure_kpa": Field(air_pressure, "mean air pressure, kPa"),
    "ignore": Field(texts, "tags that become no point of their own (* and ? stand for anything)"),
}

POINT: dict[str, Field] = {
    "name": Field(name, "name of the measuring point", ("point",)),
    "description": Field(text, "what it is, in words"),
    "measurand": Field(measurand, "one of " + ", ".join(MEASURANDS), ("kind",)),
    "value": Field(tag, "tag of the reading", ("tag",)),
    "temperature": Field(tag, "tag of its temperature"),
    "hold": Field(tag, "tag that is 1 while the output is held"),
    "wash": Field(tag, "tag that is 1 while a wash valve is open"),
    "pressure": Field(tag, "tag of the line pressure"),
    "pressure_unit": Field(choice(*PRESSURE_UNITS), "one of " + ", ".join(PRESSURE_UNITS)),
    "status": Field(tag, "tag of the status word"),
    "unit": Field(text, "unit of the reading in the export; range and tolerance are in it"),
    "temperature_unit": Field(text, "degC or degF"),
    "range": Field(span, "what the output is scaled to, in unit"),
    "tolerance": Field(positive, "reading error that matters, in unit"),
    "neighbours": Field(texts, "names of redundant or related points", ("neighbors",)),
    "plan_days": Field(positive, "days between planned calibrations"),
    **_RATINGS,
}

PROBE: dict[str, Field] = {
    "serial": Field(name, "serial number", ("serial_number",)),
    "measurand": Field(measurand, "one of " + ", ".join(MEASURANDS), ("kind",)),
    "model": Field(text, "model or type"),
    "part_number": Field(text, "what to order"),
    **_RATINGS,
    "in_service_since": Field(moment, "date it first came into use"),
}

INSTALLATION: dict[str, Field] = {
    "probe": Field(name, "serial number", ("serial",)),
    "point": Field(name, "name of the point"),
    "start": Field(moment, "since when", ("from",)),
    "end": Field(moment, "until when", ("to", "until")),
}

QUALITY = choice("good", "uncertain", "bad")
