"""Units and quantities as files spell them: what is one, which quantity a unit speaks of, and how the measurand table spells it."""

from __future__ import annotations

import re
from functools import lru_cache

from excursions.measurands import MEASURANDS
from excursions.read.text.fold import plain

# Spellings beyond those of the measurand table; keys are tidied (see `tidy`).
_SPELT = {
    "phunit": "pH",
    "phunits": "pH",
    "phu": "pH",
    "mvolt": "mV",
    "millivolts": "mV",
    "uscm": "uS/cm",
    "mscm": "mS/cm",
    "us": "uS/cm",
    "ms": "mS/cm",
    "scm-1": "S/cm",
    "sm-1": "S/m",
    "uscm-1": "uS/cm",
    "mscm-1": "mS/cm",
    "umho": "uS/cm",
    "umhos": "uS/cm",
    "mmho": "mS/cm",
    "mmhos": "mS/cm",
    "umhos/cm": "uS/cm",
    "mmhos/cm": "mS/cm",
    "siemens/cm": "S/cm",
    "oc": "degC",
    "of": "degF",
    "mgl": "mg/L",
    "mgl-1": "mg/L",
    "mg/lo2": "mg/L",
    "mgo2/l": "mg/L",
    "mg/ltr": "mg/L",
    "ugl-1": "ug/L",
    "%saturation": "%sat",
    "%o2": "%sat",
    "%o2sat": "%sat",
    "%airsat": "%sat",
    "%as": "%sat",
    "percentsat": "%sat",
    "sat%": "%sat",
    "percent": "%",
    "pct": "%",
    "prozent": "%",
    "gradc": "degC",
    "grad": "degC",
    "gradcelsius": "degC",
    "degrees": "degC",
    "degreec": "degC",
    "degreesc": "degC",
    "degcelsius": "degC",
    "degreef": "degF",
    "degreesf": "degF",
    "degfahrenheit": "degF",
    "℃": "degC",
    "℉": "degF",
}
_BY_CAPITAL = {"ms": "S", "us": "S", "of": "F"}  # units with this capital, else milliseconds and a word
PRESSURE = {
    "kpa": "kPa",
    "kpaa": "kPa",
    "bar": "bar",
    "bara": "bar",
    "barabs": "bar",
    "barg": "bar_g",
    "baru": "bar_g",
    "barue": "bar_g",
    "psi": "psi",
    "psia": "psi",
    "psig": "psi_g",
}
_MEANS = (
    (
        re.compile(r"^(l|m3|kg|t|g|ml|gal|gpm|lpm)/(h|min|s|hr|d)|^gpm$|^rpm$|^1/min$|^hz$|^k?w$|^k?wh$"),
        "process",
    ),
    (re.compile(r"^m?bar|^k?pa|^psi|^mmhg|^hpa|^mpa"), "pressure"),
)


@lru_cache(maxsize=4_096)
def tidy(unit: str) -> str:
    """Lower case, plain letters, no blanks, points, quotes and brackets, no reference temperature behind."""
    text = plain(unit.replace("º", "°").replace("·", ".")).strip().casefold()
    text = re.sub(r"@.*$|\(?25.?(?:deg|°).?c\W*$", "", text).replace("°", "deg")
    return re.sub(r"[\s_^.'()\[\]{}]+", "", text)


@lru_cache(maxsize=4_096)
def table_unit(unit: str) -> str:
    """Spelling that the measurand table understands; what is not known comes back as it is."""
    spelt, folded = tidy(unit), " ".join(unit.split()).casefold()
    if _BY_CAPITAL.get(spelt, "") not in unit:
        return unit
    if spelt in _SPELT:
        return _SPELT[spelt]
    for row in MEASURANDS.values():
        if folded in (row.unit.casefold(), *row.aliases):
            return unit
        for known in (row.unit, *row.aliases):
            if known and tidy(known) == spelt:
                return known
    return unit


def is_bare_percent(unit: str) -> bool:
    """Whether a unit is a share of anything: ``%`` without a word of what."""
    return table_unit(unit) == "%"


def pretty(unit: str) -> str:
    """A known unit as a register shows it: plain letters, usual capitals."""
    folded = plain(unit).casefold()
    shown = {row.unit.casefold(): row.unit for row in MEASURANDS.values() if row.unit}
    return (shown | _CAPITALS).get(folded, unit)


_CAPITALS = {
    "ms/cm": "mS/cm",
    "s/m": "S/m",
    "s/cm": "S/cm",
    "degf": "degF",
    "°f": "degF",
    "°c": "degC",
    "ug/l": "ug/L",
    "fnu": "FNU",
    "kpa": "kPa",
    "g/l": "g/L",
}


@lru_cache(maxsize=4_096)
def quantities(unit: str) -> tuple[str, ...]:
    """Measurands that this unit can stand for, ``current``, ``pressure``, ``process``, or nothing."""
    spelt = tidy(unit)
    if not spelt:
        return ()
    if spelt in ("ma", "milliamp", "milliampere"):
        return ("current",)
    known = table_unit(unit).casefold()
    found = [
        row.key
        for row in MEASURANDS.values()
        if row.unit and known in (row.unit.casefold(), *(alias.casefold() for alias in row.aliases))
    ]
    found += [what for pattern, what in _MEANS if pattern.match(spelt)]
    return tuple(found)


# Units of what is measured beside the readings, and of what nobody here asks for: they are no part of a name either.
_OTHER_UNITS = (
    "a ma kpa bar mbar pa mpa hpa %rh l/h l/min m3/h kg/h t/h gpm rpm 1/min hz v mv mm m cm kg g t l m3 - % ‰ °dh na s h d kw "
    "w kwh a.u. au counts w/m2 nm us/cm@25 mmol/l mol/l bool on/off k nl/h sm3/h nm3/h cp cst mpas l/s m/s pphm"
)
_KNOWN = (
    {tidy(unit) for unit in _OTHER_UNITS.split()}
    | {tidy(unit) for row in MEASURANDS.values() for unit in (row.unit, *row.aliases) if unit}
    | _SPELT.keys()
    | PRESSURE.keys()
)


@lru_cache(maxsize=4_096)
def is_unit(text: str, *, letter: bool = False) -> bool:
    """Whether a text is a known unit; a single letter is rather a name, unless `letter` says that it stands in brackets."""
    said = tidy(text)
    named = len(said) == 1 and said.isalpha() and not letter
    return said in _KNOWN and _BY_CAPITAL.get(said, "") in text and not named


_QUANTITIES = frozenset(token for row in MEASURANDS.values() for token in row.tokens)
_BEGINNINGS = ("temp", *(plain(word) for row in MEASURANDS.values() for word in row.beginnings))
_BESIDE_QUANTITIES = frozenset(
    ("dissolved", "lab", "labor", "laboratory", "value", "wert", "valeur", "valor")
)


@lru_cache(maxsize=4_096)
def is_quantity(text: str) -> bool:
    """Whether a text says what is measured and nothing of where: ``pH``, ``Temperature``, ``Leitf.``."""
    words = set(re.findall(r"[^\W_]+", plain(text).casefold())) - _BESIDE_QUANTITIES
    return bool(words) and all(word in _QUANTITIES or word.startswith(_BEGINNINGS) for word in words)
