"""Units and serial numbers of logs in the spelling of the records."""

from __future__ import annotations

import re

from excursions.read.text.numbers import is_nothing

_UNITS = {
    "mv": "mV",
    "na": "nA",
    "ua": "uA",
    "pa": "pA",
    "us": "uS",
    "ms": "mS",
    "us/cm": "uS/cm",
    "ms/cm": "mS/cm",
    "ph": "pH",
    "°": "deg",
    "deg": "deg",
    "ntu": "NTU",
    "fnu": "FNU",
    "mg/l": "mg/L",
    "g/l": "g/L",
    "v": "V",
    "ma": "mA",
    "ohm": "Ohm",
    "kohm": "kOhm",
    "mohm": "MOhm",
    "hz": "Hz",
    "khz": "kHz",
    "mhz": "MHz",
}


def spelt(unit: str) -> str:
    """Unit in the spelling of the records."""
    return _UNITS.get(unit.casefold().replace("µ", "u").replace("μ", "u"), unit)


_THING = r"probe|sonde|sensor|[ée]lectrode|elektrode|electrodo|sonda"
_NUMBER = r"s\s?/?\s?n|serial(?: (?:no|number|nr))?|ser\.? ?(?:no|nr)"
# A serial number in running text has a digit; behind the name of the thing alone ("sensor 20 min") a letter too.
SERIAL_SAID = re.compile(
    rf"\b(?:(?:{_THING})\W+)?(?:{_NUMBER})\b\W*(?P<numbered>(?=[\w-]*\d)[A-Za-z0-9][\w-]+)"
    rf"|\b(?:{_THING})\W+(?P<named>(?=[\w-]*\d)[A-Za-z][\w-]+)",
    re.IGNORECASE,
)


def serial_said(text: str) -> str:
    """The serial number that running text names, or empty."""
    match = SERIAL_SAID.search(text)
    return (match["numbered"] or match["named"]) if match else ""


def serial_of(text: str) -> str:
    """A serial number without the ``.0`` that spreadsheets add and the words people put before it."""
    said = "" if is_nothing(text) else text.strip()
    if said.endswith(".0") and said[:-2].isdigit():
        said = said[:-2]
    for word in ("s/n", "sn:", "sn ", "serial", "no.", "#"):
        if said.casefold().startswith(word):
            said = said[len(word) :].strip(" :.#")
    return said
