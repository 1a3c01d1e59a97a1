"""What the columns of a calibration log mean, by the words of the trade in five languages.

Words are common practice, no source (cp).  A header is folded (no case, no accents), its unit taken off, and
the rest read as words: ``As found mV in buffer 7.00`` is a raw value, as found, of a standard of pH 7.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from excursions.measurands import MEASURANDS
from excursions.read.logs.actions import CLEANED
from excursions.read.logs.figures import PRESSURE_UNITS
from excursions.read.logs.standards import Standard, standard_of
from excursions.read.logs.translated import english
from excursions.read.text import vocabulary as v
from excursions.read.text.fold import plain

FOUND, LEFT = "as_found", "as_left"
_CLEANED = re.compile(
    r"(after|nach|apres|despues|depois|post)\b.*\b(clean|reinig|nettoy|limp|wasch|spul)|\bcleaned\b|gereinigt"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What a column holds.

    kind: ``time``, ``clock``, ``point``, ``probe``, ``old_probe``, ``model``, ``measurand``, ``action``, ``phase``,
    ``comment``, ``result``, ``standard``, ``raw``, ``temperature``, ``value``, ``air_pressure``, ``altitude``, ``salinity``, ``figure``, ``figure_unit``,
    ``ignored`` or empty (not understood).
    figure: name of the calibration parameter; index: number of the standard, 0 when there is none;
    fixed: the standard that the header itself names; unit: folded unit of the header.
    """

    kind: str = ""
    phase: str = ""
    figure: str = ""
    index: int = 0
    fixed: Standard | None = None
    unit: str = ""


_PHASE_OF = dict.fromkeys(v.FOUND_WORDS, FOUND) | dict.fromkeys(v.LEFT_WORDS, LEFT)


def phase_word(word: str) -> str:
    """``as_found`` or ``as_left`` by one folded word of a header, else empty."""
    return _PHASE_OF.get(word, "")


_DATE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")
TOKEN = re.compile(r"(?:co2|o2|n2|t90)(?![a-z0-9])|\d+[.,]\d+|\d+|[a-z°]+|%")
_BRACKETS = re.compile(r"[\[(]\s*([^\])]*?)\s*[\])]")
_UNIT_BEHIND = re.compile(
    r"(?:[,;/]|\bin|\s)\s*(mv\s*/\s*ph|mv|na|ua|pa|us/cm|ms/cm|us|ms|k?ohms?|mohms?|ma|k?hz|counts?|rad|ntu|fnu|mg/l|%\s?sat|%|pct|deg ?c|°c|1/cm|cm-1|/cm|hpa|mbar|kpa|bar|mmhg)\s*$"
)
_UNIT = re.compile(
    r"^(mv/ph.*|mv/dec\w*|m?v|[npum]a(/\S+)?|[km]?(?:ohms?|ω)|[km]?hz|counts?|cts|digits?|rad|radians?|[um]?s/?(cm|m)?|ntu|fnu|ftu|mg/l|ppm|ppb|%.*|ph|deg ?c|°?[cfk]|deg ?f|°|deg|1/cm|cm-1|cm\^-1|/cm|hpa|mbar|kpa|bar|mmhg|-)$"
)


_JOINED = re.compile(r"(?<=[a-z]{2})(?=[A-Z][a-z])|(?<=[a-z]{2})\.(?=[a-z]{2})")  # "asFound.buffer"

_COMPOUND = re.compile(r"(?<=[a-z]{3})(?=(?:puffer|losung|loesung|standard|gas)\b)")  # "Redoxpuffer"


def fold(header: str) -> str:
    """A header without case, accents and underscores, in words that the house reads."""
    said = _JOINED.sub(" ", plain(header).replace("_", " "))
    return " ".join(_COMPOUND.sub(" ", english(said.casefold())).split())


_MEASURED = {fold(unit) for row in MEASURANDS.values() for unit in (row.unit, *row.aliases) if unit}


def unit_in(header: str) -> tuple[str, str]:
    """Take the unit off a folded header: the rest, and the unit (empty when there is none)."""
    for match in _BRACKETS.finditer(header):
        inside = match[1].strip()
        if _UNIT.match(inside) or inside in _MEASURED:
            return (header[: match.start()] + " " + header[match.end() :]).strip(), inside.replace(" ", "")
    if behind := _UNIT_BEHIND.search(header):
        unit = re.sub(r"\s", "", behind[1])
        return header[: behind.start()].strip() or header, "%" if unit == "pct" else unit
    if named := re.search(r"\b(?:zero|point|nullpunkt|zp|cero|nul)\s+(ph)$", header):
        return header[: named.start(1)].strip(), "ph"
    return header, ""


def is_unit(text: str) -> bool:
    """Whether a cell under a header is nothing but a unit."""
    said = fold(text).strip("[]() ")
    return bool(_UNIT.match(said)) or said in _MEASURED


# How well an electrode conducts, told beside its calibration: neither a reading nor the standard it was in.
_IMPEDANCE = re.compile(
    r"\bimp(?:ed[ae]n|\.)|(?:glass?|membran\w*|refer\w*|bezugs?\w*|diaphragma?)[ -]?(?:resistan\w*|widerstand)"
)


def meaning_of(header: str) -> Meaning:
    """Read one header; numbers beside a standard are sorted into indices and values by :func:`excursions.read.logs.meanings.meanings_of`."""
    rest, unit = unit_in(fold(header).rstrip(" :"))
    if _DATE.match(rest):
        return Meaning()
    if rest.endswith("?"):  # "Within 0.1?" is answered by yes or no
        return Meaning(kind="ignored")
    words = [token for token in TOKEN.findall(rest) if not token[0].isdigit()]
    phase = CLEANED if _CLEANED.search(rest) else next((_PHASE_OF[w] for w in words if w in _PHASE_OF), "")
    said = frozenset(words) - _PHASE_OF.keys() - v.FILLERS - v.VALUES - v.CLEANING
    if len(words) > 1:
        said -= {"a", "b", "c", "d"}  # standard A, standard B
    about = _Header(rest=rest, unit=unit, said=said, words=tuple(words), number=_numbered(rest))
    if _IMPEDANCE.search(rest):
        return Meaning()
    if words and words[-1] in v.UNIT_WORDS:
        return _unit_column(_kind(replace(about, said=said - v.UNIT_WORDS)))
    meaning = _kind(about)
    if not meaning.kind:
        return _only_phase(about, phase)
    phase = "" if meaning.kind in ("probe", "old_probe", "time", "clock", "point") else phase
    return replace(meaning, phase=phase, unit=unit or _unit_by_word(meaning, words))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """A folded header without its unit, its words, and those that are neither phase nor filler."""

    rest: str
    unit: str
    said: frozenset[str]
    words: tuple[str, ...]
    number: int


def _unit_by_word(meaning: Meaning, words: Sequence[str]) -> str:
    """Unit that a word of the header gives: ``mV pH7`` is in mV, ``Reading pH`` in pH, a phase in degrees."""
    if meaning.kind == "altitude":
        return "ft" if {"ft", "feet"} & set(words) else ""
    if meaning.kind not in ("raw", "standard"):
        return ""
    if "phase" in words:
        return "deg"
    return next(
        (
            word
            for word in ("mv", "na", "ua", "pa", "ph")
            if word in words and not (word == "ph" and meaning.fixed)
        ),
        "",
    )


def _unit_column(of: Meaning) -> Meaning:
    """``slope unit`` holds the unit of the slopes, ``unit`` alone that of whatever the row speaks of."""
    if of.kind == "figure":
        return Meaning(kind="figure_unit", figure=of.figure)
    return Meaning(kind=f"{of.kind}_unit" if of.kind in ("standard", "raw") else "value_unit")


_STANDARD_UNITS = {"ntu": "NTU", "fnu": "FNU", "us/cm": "uS/cm", "ms/cm": "mS/cm", "mg/l": "mg/L"}


def _whole_number(rest: str) -> float | None:
    """The one number of a header such as ``before 20 [NTU]``, which is the standard."""
    found = re.findall(r"(?<![\w.,])\d+(?:[.,]\d+)?(?![\w.,])", rest)
    return float(found[0].replace(",", ".")) if len(found) == 1 else None


def _only_phase(about: _Header, phase: str) -> Meaning:
    """``As found`` alone holds a value of whatever the row speaks of; ``found 1`` a raw value in standard 1."""
    if about.words in (("cleaned",), ("gereinigt",)):
        return Meaning(kind="ignored")  # yes or no, not a reading
    if (
        phase
        and not about.said
        and about.unit in _STANDARD_UNITS
        and (at := _whole_number(about.rest)) is not None
    ):
        fixed = Standard(value=at, unit=_STANDARD_UNITS[about.unit], label="zero" if at == 0 else f"{at:g}")
        return Meaning(kind="raw", phase=phase, fixed=fixed, unit=about.unit)
    if phase and not about.said:
        return Meaning(
            kind="raw" if about.number else "value", phase=phase, unit=about.unit, index=about.number
        )
    if phase and about.said == {"ph"} and not about.number:
        return Meaning(kind="raw", phase=phase, unit="ph")
    if not about.said and about.words and about.words[0] in v.VALUES:
        return Meaning(kind="value", unit=about.unit)
    return Meaning()


def _kind(about: _Header) -> Meaning:
    """The first rule that fits: plain columns, single letters, places of measurement, figures, readings."""
    return _plain(about) or _short(about) or _described(about) or _reading_or_place(about)


def _plain(about: _Header) -> Meaning | None:
    for kind, table in v.PLAIN_KINDS:
        angle = kind == "phase" and _is_angle(about)
        if (
            about.said & table
            and not angle
            and not _measures(kind, about.said)
            and not _names(kind, about.said)
        ):
            return Meaning(kind=kind)
    return None


def _names(kind: str, said: frozenset[str]) -> bool:
    """``Sensor ID`` and ``Tag ID`` name a probe or a point, whatever ``ID`` says alone."""
    return (
        kind == "ignored"
        and bool(said & {"id", "name"})
        and bool(said & (v.PROBES | v.POINTS))
        and not said & v.NOT_THIS_ONE
    )


def _is_angle(about: _Header) -> bool:
    """Whether "phase" is the angle of an optical probe rather than as found or as left."""
    named = bool(about.said & {"angle", "air", "luft", "zero", "null"})
    return named or about.unit in ("°", "deg") or bool(re.search(r"\d", about.rest))


def _measures(kind: str, said: frozenset[str]) -> bool:
    """``index`` and the like beside a measuring word are no columns to leave out."""
    return (
        kind == "ignored"
        and bool(said & (v.RAWS | v.STANDARDS) - {"response", "lab", "laboratory"})
        and not said & v.NOT_THIS_ONE
    )


_SHORT: tuple[tuple[re.Pattern[str], str, Meaning], ...] = (
    (re.compile(r"s\s?[/.]?\s?n\W*"), "", Meaning(kind="probe")),
    (re.compile(r"ser\W*(?:n(?:r|o|um)?)?\W*"), "", Meaning(kind="probe")),
    (re.compile(r"k"), "", Meaning(kind="figure", figure="cell_constant")),
    (re.compile(r"s"), "%", Meaning(kind="figure", figure="slope")),
    (re.compile(r"ph\s?0"), "", Meaning(kind="figure", figure="zero_point", unit="ph")),
)


def _short(about: _Header) -> Meaning | None:
    """Abbreviations that are the whole header."""
    bare = " ".join(word for word in about.rest.split() if word not in _PHASE_OF)  # "k before"
    for pattern, unit, meaning in _SHORT:
        if pattern.fullmatch(bare) and unit in ("", about.unit):
            return meaning
    return None


def _described(about: _Header) -> Meaning | None:
    said, unit = about.said, about.unit
    pressed = said & v.PRESSURES or (unit in PRESSURE_UNITS and said & {"air", "luft", "ambient", "atm"})
    if pressed and not said & {"zero", "slope", "span"}:
        return Meaning(kind="air_pressure")
    if said & v.ALTITUDES:
        return Meaning(kind="altitude")
    if said & v.SALINITIES:
        return Meaning(kind="salinity")
    degrees = unit in ("degc", "°c", "c", "degf", "°f")
    called = r"t\s?\d?$|t\b" if degrees else r"t\s?\d?$"  # "T 2", "T air [degC]"
    warm = any(word.startswith("temp") for word in said) or bool(re.match(called, about.rest))
    reading = said & v.RAWS and not warm  # of a thermometer that is itself calibrated
    if warm or (degrees and about.number and not reading):
        fixed = _fixed(about) if re.search(r"\bph\s*\d", about.rest) else None  # "pH 7.00 temp"
        return Meaning(kind="temperature", index=0 if fixed else about.number, fixed=fixed)
    if said & v.SERIALS:
        return _probe(about)
    figure = _figure(said, unit)
    if figure == "cell_constant" and not unit and set(about.words) & {"nr", "no", "number", "nummer", "id"}:
        return _probe(about)
    if figure in ("zero_point", "offset") and unit in ("na", "pa", "ua"):
        return Meaning(kind="raw", fixed=Standard(value=0.0, label="zero"))
    return Meaning(kind="figure", figure=figure, index=about.number) if figure else None


def _figure(said: frozenset[str], unit: str) -> str:
    figure = next((name for name, table in v.FIGURES if said & table), "")
    asymmetric = any(word.startswith("asymmetr") for word in said)
    measured = said & (v.STANDARDS | v.RAWS - {"potential", "potenzial"}) - {"reference"}
    if figure == "zero_point" and measured:
        return ""  # "zero solution", "zero signal": a standard of value zero
    return "offset" if asymmetric and unit == "mv" else figure


def _probe(about: _Header) -> Meaning:
    return Meaning(kind="old_probe" if set(about.words) & v.OLD else "probe")


_PLACES = (
    ("measurand", v.MEASURANDS),
    ("point", v.POINTS),
    ("time", v.TIMES),
    ("clock", v.CLOCKS),
    ("model", v.MODELS),
)


def _reading_or_place(about: _Header) -> Meaning:
    said = about.said
    if said & {"point", "punkt", "punto"} and said & {"test", "check", "pruf", "prueba"} and about.number:
        return Meaning(kind="standard", index=about.number)
    if said & {"punto", "point", "ponto"} and said & {"mesure", "medida"}:
        return Meaning(kind="point")
    potential = bool(re.match(r"^[eu]\s?\d$", about.rest))
    raw = bool(said & v.RAWS) or about.unit in v.RAW_UNITS or potential
    if said & v.PROBES and said & v.POINTS and not (said & v.MODELS or raw or _fixed(about)):
        return Meaning(kind="point")  # "probe tag", "sensor location"
    if said & v.PROBES and not (raw and about.unit):
        return Meaning(kind="model") if said & v.MODELS else _probe(about)
    fixed = _fixed(about)
    if raw or fixed:
        return Meaning(kind="raw", index=0 if fixed else about.number, fixed=fixed)
    if said & v.STANDARDS or ("gas" in said and about.unit and not said & v.POINTS):
        return Meaning(kind="standard", index=about.number)
    named = next((kind for kind, table in _PLACES if said & table), "")
    return Meaning(kind=named or _by_ending(said))


_ENDINGS = (
    ("datum", "time"),
    ("zeitpunkt", "time"),
    ("uhrzeit", "clock"),
    ("stelle", "point"),
    ("messpunkt", "point"),
)


def _by_ending(said: frozenset[str]) -> str:
    """Kind by the end of a German compound: ``Kalibrierdatum``, ``Probenahmestelle``."""
    return next((kind for ending, kind in _ENDINGS for word in said if word.endswith(ending)), "")


LETTERED = re.compile(
    r"\b(mv|potential|potenzial|std|standard|buffer|puffer|tampon|solution|losung|rdg|reading|messwert|value|lu|lectura)[\s.#-]+([a-d])$"
)


def _numbered(rest: str) -> int:
    """A whole number in the header, 0 when there is none (``buffer 2``, ``mV1``, ``T 2``)."""
    found = re.findall(r"(?<![\d.,])(\d{1,2})(?![\d.,]\d|\d)", re.sub(r"\b(?:c?o|n|ph)\s?[02]\b", "", rest))
    if not found and (letter := LETTERED.search(rest)):
        return ord(letter[2]) - ord("a") + 1
    return int(found[-1]) if found else 0


_NUMBERED_STANDARD = re.compile(
    r"\d[.,]\d|\bph\s*\d|\d\s*(us|ms|ntu|fnu|mv)\b|\b(ntu|fnu)\s*\d|\bin\s+\d|\d{3,}"
)


def _fixed(about: _Header) -> Standard | None:
    """The standard a header names: a number with a decimal mark or behind "pH", or a word such as air or zero."""
    rest, said, unit = about.rest, about.said, about.unit
    if "phase" in said and (match := re.search(r"\b(0|100)\b", rest)):
        return Standard(value=0.0, label="zero") if match[1] == "0" else Standard(label="air")
    if _NUMBERED_STANDARD.search(rest):
        found = standard_of(re.sub(r"^.*\b(?:in|at)\b", "", rest), comma="," in rest)
        own = unit if unit not in ("mv", "na", "pa", "ua") else ""
        own = own or next((word.upper() for word in ("ntu", "fnu") if word in said), "")
        return replace(found, unit=found.unit or own, label=f"{found.value:g}") if found else None
    if said & v.FIXED:
        return standard_of(rest if "n2" in said else re.sub(r"\d+", "", rest))
    return None
