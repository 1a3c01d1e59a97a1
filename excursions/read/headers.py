"""What the columns of a calibration log mean, by the words of the trade in five languages.

Words are common practice, no source (cp).  A header is folded (no case, no accents), its unit taken off, and
the rest read as words: ``As found mV in buffer 7.00`` is a raw value, as found, of a standard of pH 7.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from excursions.read.fold import plain
from excursions.read.standards import Standard, standard_of

FOUND, LEFT = "as_found", "as_left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What a column holds.

    kind: ``time``, ``clock``, ``point``, ``probe``, ``old_probe``, ``model``, ``measurand``, ``action``, ``phase``,
    ``comment``, ``result``, ``standard``, ``raw``, ``temperature``, ``value``, ``air_pressure``, ``figure``,
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


_PHASES = (
    (FOUND, "found before vor vorher vorgefunden antes avant initial pre af angetroffen encontrado trouve"),
    (
        LEFT,
        "left after nach nachher apres despues depois final post al hinterlassen adjusted justiert new neu nueva nouveau",
    ),
)
_PHASE_OF = {word: phase for phase, words in _PHASES for word in words.split()}

# In order: the first row one of whose words stands in the header decides.
_PLAIN_KINDS: tuple[tuple[str, frozenset[str]], ...] = tuple(
    (kind, frozenset(words.split()))
    for kind, words in (
        (
            "ignored",
            "next due fallig prochaine proxima proximo faellig previous prev last letzte letzter derniere ultimo ultima "
            "signature unterschrift initials lot charge batch expiry expiration certificate zertifikat approved reviewed "
            "deviation abweichung desvio ecart difference differenz error fehler no. nr lfd row index id interval intervall stability stabilitat",
        ),
        (
            "comment",
            "comment comments remark remarks note notes bemerkung bemerkungen kommentar anmerkung observation "
            "observations observaciones observacoes remarque remarques comentario comentarios commentaire text notiz",
        ),
        (
            "ignored",
            "technician operator tech prufer pruefer performed bearbeiter durchgefuhrt technicien tecnico user "
            "benutzer inspector analyst responsable durch response t90 ansprechzeit settling",
        ),
        ("result", "result ergebnis resultat resultado pass passed verdict befund"),
        (
            "action",
            "action activity aktion aktivitat tatigkeit taetigkeit vorgang accion acao event work operation procedure "
            "massnahme arbeit intervention art maintenance ereignis actividad operacion",
        ),
        ("phase", "phase stage zustand state condition step schritt etape"),
    )
)
_TIMES = frozenset(
    [
        "date",
        "datum",
        "fecha",
        "data",
        "dato",
        "timestamp",
        "datetime",
        "zeitpunkt",
        "zeitstempel",
        "when",
        "day",
        "performed",
    ]
)
_CLOCKS = frozenset(["time", "zeit", "uhrzeit", "heure", "hora"])
_POINTS = frozenset(
    [
        "point",
        "tag",
        "loop",
        "position",
        "location",
        "messstelle",
        "mst",
        "stelle",
        "repere",
        "punto",
        "ponto",
        "instrument",
        "equipment",
        "analyser",
        "analyzer",
        "kks",
        "asset",
        "place",
        "ort",
        "standort",
        "lieu",
        "emplacement",
        "ubicacion",
        "local",
        "messpunkt",
        "tagname",
    ]
)
_PROBES = frozenset(
    [
        "serial",
        "sn",
        "seriennummer",
        "seriennr",
        "probe",
        "sensor",
        "sonde",
        "sonda",
        "electrode",
        "elektrode",
        "electrodo",
        "eletrodo",
        "fuhler",
        "fuehler",
        "serie",
        "fabriknummer",
        "capteur",
    ]
)
_OLD = frozenset(
    [
        "old",
        "removed",
        "alt",
        "alte",
        "alter",
        "ausgebaut",
        "ausgebaute",
        "retirado",
        "retirada",
        "removido",
        "depose",
        "ancien",
        "anterior",
    ]
)
_NEW = frozenset(
    [
        "new",
        "installed",
        "neu",
        "neue",
        "neuer",
        "eingebaut",
        "eingebaute",
        "instalado",
        "instalada",
        "monte",
        "nouveau",
        "nouvelle",
        "nuevo",
        "nueva",
        "novo",
    ]
)
_MODELS = frozenset(["model", "type", "typ", "modell", "modele", "modelo", "part", "artikel"])
_MEASURANDS = frozenset(
    [
        "parameter",
        "measurand",
        "messgrosse",
        "messgroesse",
        "analyte",
        "parametro",
        "parametre",
        "quantity",
        "grandeur",
        "kind",
        "medium",
    ]
)
_TEMPERATURES = ("temp",)
_STANDARDS = frozenset(
    [
        "buffer",
        "buf",
        "standard",
        "std",
        "puffer",
        "pufferlosung",
        "tampon",
        "tampao",
        "solution",
        "solucion",
        "solucao",
        "losung",
        "loesung",
        "reference",
        "ref",
        "referenz",
        "referencia",
        "nominal",
        "sollwert",
        "target",
        "certified",
        "known",
        "patron",
        "etalon",
        "padrao",
        "kalibrierlosung",
        "bezugswert",
    ]
)
_RAWS = frozenset(
    [
        "signal",
        "raw",
        "roh",
        "rohwert",
        "reading",
        "readings",
        "messwert",
        "measured",
        "indicated",
        "display",
        "anzeige",
        "lectura",
        "lecture",
        "leitura",
        "potential",
        "potenzial",
        "spannung",
        "current",
        "strom",
        "phase",
        "angle",
        "winkel",
        "mv",
        "na",
        "ua",
        "pa",
        "voltage",
        "istwert",
        "ist",
        "response",
        "measurement",
        "indication",
        "mesure",
        "medida",
        "lue",
        "leido",
        "lida",
    ]
)
_RAW_UNITS = frozenset(["mv", "v", "na", "pa", "ua", "us", "ms", "deg", "°", "ohm", "kohm", "mohm"])
_FIGURES: tuple[tuple[str, frozenset[str]], ...] = (
    (
        "cell_constant",
        frozenset(
            [
                "cell",
                "zellkonstante",
                "zellenkonstante",
                "zelle",
                "cellule",
                "celda",
                "celula",
                "kcell",
                "zellfaktor",
            ]
        ),
    ),
    (
        "slope",
        frozenset(
            [
                "slope",
                "steilheit",
                "pente",
                "pendiente",
                "inclinacao",
                "declive",
                "sensitivity",
                "empfindlichkeit",
                "sensibilite",
                "sensibilidad",
                "sensibilidade",
                "efficiency",
                "effizienz",
                "slp",
            ]
        ),
    ),
    (
        "gain",
        frozenset(
            [
                "gain",
                "verstarkung",
                "verstaerkung",
                "factor",
                "faktor",
                "facteur",
                "ganancia",
                "ganho",
                "coefficient",
            ]
        ),
    ),
    ("span", frozenset(["span", "spanne", "messspanne", "etendue", "endpunkt"])),
    (
        "zero_point",
        frozenset(
            [
                "zero",
                "nullpunkt",
                "null",
                "cero",
                "asymmetry",
                "asymmetrie",
                "isopotential",
                "zp",
                "nullpunktverschiebung",
            ]
        ),
    ),
    ("offset", frozenset(["offset", "offs", "ofs", "versatz", "decalage", "desplazamiento"])),
)
_TOKEN = re.compile(r"(?:co2|o2|n2|t90)(?![a-z0-9])|\d+[.,]\d+|\d+|[a-z°]+|%")
_BRACKETS = re.compile(r"[\[(]\s*([^\])]*?)\s*[\])]")
_UNIT_BEHIND = re.compile(
    r"(?:[,;/]|\bin|\s)\s*(mv\s*/\s*ph|mv|na|ua|pa|us/cm|ms/cm|us|ms|ntu|fnu|mg/l|%\s?sat|%|pct|deg ?c|°c|1/cm|cm-1|/cm|hpa|mbar|kpa|bar|mmhg)\s*$"
)
_UNIT = re.compile(
    r"^(mv/ph.*|mv/dec\w*|m?v|[npu]a(/\S+)?|[um]?s/?(cm|m)?|ntu|fnu|ftu|mg/l|ppm|ppb|%.*|ph|deg ?c|°?[cfk]|deg ?f|°|deg|1/cm|cm-1|cm\^-1|/cm|hpa|mbar|kpa|bar|mmhg|-)$"
)


def fold(header: str) -> str:
    """A header without case, accents and underscores."""
    return " ".join(plain(header).replace("_", " ").casefold().split())


def unit_in(header: str) -> tuple[str, str]:
    """Take the unit off a folded header: the rest, and the unit (empty when there is none)."""
    for match in _BRACKETS.finditer(header):
        inside = match[1].strip()
        if _UNIT.match(inside):
            return (header[: match.start()] + " " + header[match.end() :]).strip(), inside.replace(" ", "")
    if behind := _UNIT_BEHIND.search(header):
        unit = re.sub(r"\s", "", behind[1])
        return header[: behind.start()].strip() or header, "%" if unit == "pct" else unit
    if named := re.search(r"\b(?:zero|point|nullpunkt|zp|cero|nul)\s+(ph)$", header):
        return header[: named.start(1)].strip(), "ph"
    return header, ""


def is_unit(text: str) -> bool:
    """Whether a cell under a header is nothing but a unit."""
    return bool(_UNIT.match(fold(text).strip("[]() ")))


def meaning_of(header: str) -> Meaning:
    """Read one header; numbers beside a standard are sorted into indices and values by :func:`meanings_of`."""
    rest, unit = unit_in(fold(header))
    tokens = _TOKEN.findall(rest)
    words = [token for token in tokens if not token[0].isdigit()]
    phase = next((_PHASE_OF[word] for word in words if word in _PHASE_OF), "")
    left = [
        word
        for word in words
        if word not in _PHASE_OF
        and word not in ("as", "in", "at", "of", "the", "value", "wert", "valeur", "valor")
    ]
    if words and words[-1] in ("unit", "einheit", "unite", "unidad", "unidade"):
        return _unit_column(_kind(left[:-1], words, unit, rest).kind)
    meaning = _kind(left, words, unit, rest)
    if meaning.kind in ("probe", "old_probe", "time", "clock", "point"):
        phase = ""
    if meaning.kind == "raw" and not unit:
        unit = (
            "deg"
            if "phase" in words
            else next((word for word in words if word in ("mv", "na", "ua", "pa")), "")
        )
    return replace(meaning, phase=phase, unit=unit) if meaning.kind else _only_phase(left, phase, unit, words)


def _unit_column(kind: str) -> Meaning:
    return Meaning(kind=f"{kind}_unit" if kind in ("standard", "raw") else "value_unit")


def _only_phase(left: Sequence[str], phase: str, unit: str, words: Sequence[str]) -> Meaning:
    if phase and not left:
        return Meaning(kind="value", phase=phase, unit=unit)
    if not left and words and words[0] in ("value", "wert", "valeur", "valor"):
        return Meaning(kind="value", unit=unit)
    return Meaning()


def _kind(left: Sequence[str], words: Sequence[str], unit: str, rest: str) -> Meaning:
    said = set(left)
    for kind, table in _PLAIN_KINDS:
        if (
            said & table
            and not (kind == "phase" and _is_angle(said, unit, rest))
            and not _measures(kind, said)
        ):
            return Meaning(kind=kind)
    if _is_pressure(said):
        return Meaning(kind="air_pressure")
    numbered = _numbered(rest)
    if re.fullmatch(r"s\s?[/.]?\s?n\W*", rest):
        return Meaning(kind="probe")
    if rest == "k":
        return Meaning(kind="figure", figure="cell_constant")
    if (
        any(word.startswith("temp") for word in left)
        or re.fullmatch(r"t\s?\d?", rest)
        or (unit in ("degc", "°c", "c", "degf", "°f") and numbered)
    ):
        return Meaning(kind="temperature", index=numbered)
    if said & {"serial", "sn", "seriennummer", "seriennr", "fabriknummer"}:
        return _probe(words)
    figure = _figure(said, unit)
    if figure in ("zero_point", "offset") and unit in ("na", "pa", "ua"):
        return Meaning(kind="raw", fixed=Standard(value=0.0, label="zero"))
    if figure:
        return Meaning(kind="figure", figure=figure, index=numbered)
    return _reading_or_place(left, words, unit, rest, numbered)


def _is_angle(said: set[str], unit: str, rest: str) -> bool:
    """Whether "phase" is the angle of an optical probe rather than as found or as left."""
    return (
        bool(said & {"angle", "air", "luft", "zero", "null"})
        or unit in ("°", "deg")
        or bool(re.search(r"\d", rest))
    )


def _measures(kind: str, said: set[str]) -> bool:
    """``index`` and the like beside a measuring word are no columns to leave out."""
    return (
        kind == "ignored"
        and bool(said & (_RAWS | _STANDARDS) - {"response"})
        and not said & {"last", "previous", "lot", "charge", "next", "expiry"}
    )


def _is_pressure(said: set[str]) -> bool:
    words = {
        "pressure",
        "druck",
        "luftdruck",
        "presion",
        "pression",
        "pressao",
        "barometer",
        "baro",
        "barometric",
    }
    return bool(said & words) and not said & {"zero", "slope", "span"}


def _figure(said: set[str], unit: str) -> str:
    figure = next((name for name, table in _FIGURES if said & table), "")
    if not figure:
        return ""
    if figure == "zero_point" and (said & (_STANDARDS | _RAWS - {"potential", "potenzial"}) - {"reference"}):
        return ""  # "zero solution", "zero signal": a standard of value zero
    if figure in ("zero_point", "offset") and "asymmetry" in said | {"asymmetrie"} and unit == "mv":
        return "offset"
    if figure == "gain" and said & {"calibration"} and not unit:
        return "gain"
    return figure


def _probe(words: Sequence[str]) -> Meaning:
    return Meaning(kind="old_probe" if set(words) & _OLD else "probe")


def _reading_or_place(
    left: Sequence[str], words: Sequence[str], unit: str, rest: str, numbered: int
) -> Meaning:
    said = set(left)
    if said & {"punto", "point", "ponto"} and said & {"mesure", "medida"}:
        return Meaning(kind="point")
    raw = bool(said & _RAWS) or "phase" in said or unit in _RAW_UNITS or bool(re.match(r"^e\s?\d$", rest))
    if said & _PROBES and not (raw and unit):
        if said & _MODELS:
            return Meaning(kind="model")
        return _probe(words)
    fixed = _fixed(rest, said, unit)
    if raw or fixed:
        return Meaning(kind="raw", index=0 if fixed else numbered, fixed=fixed)
    if said & _STANDARDS:
        return Meaning(kind="standard", index=numbered)
    for kind, table in (
        ("measurand", _MEASURANDS),
        ("point", _POINTS),
        ("time", _TIMES),
        ("clock", _CLOCKS),
        ("model", _MODELS),
    ):
        if said & table:
            return Meaning(kind=kind)
    return Meaning()


def _numbered(rest: str) -> int:
    """A whole number in the header, 0 when there is none (``buffer 2``, ``mV1``, ``T 2``)."""
    found = re.findall(r"(?<![\d.,])(\d{1,2})(?![\d.,]\d|\d)", re.sub(r"\b[onch]+[0-9]\b", "", rest))
    return int(found[-1]) if found else 0


_FIXED_WORDS = frozenset(
    [
        "air",
        "luft",
        "aire",
        "zero",
        "null",
        "cero",
        "n2",
        "nitrogen",
        "stickstoff",
        "zobell",
        "light",
        "quinhydrone",
    ]
)


def _fixed(rest: str, said: set[str], unit: str) -> Standard | None:
    """The standard a header names: a number with a decimal mark or behind "pH", or a word such as air or zero."""
    number = r"\d[.,]\d|\bph\s*\d|\d\s*(us|ms|ntu|fnu|mv)\b|\b(ntu|fnu)\s*\d|\bin\s+\d|\d{3,}"
    if re.search(number, rest):
        found = standard_of(re.sub(r"^.*\b(?:in|at)\b", "", rest), comma="," in rest)
        own = unit if unit not in ("mv", "na", "pa", "ua") else ""
        own = own or next((word.upper() for word in ("ntu", "fnu") if word in said), "")
        return replace(found, unit=found.unit or own, label=f"{found.value:g}") if found else None
    if said & _FIXED_WORDS:
        return standard_of(rest if "n2" in said else re.sub(r"\d+", "", rest))
    if "phase" in said and (match := re.search(r"\b(0|100)\b", rest)):
        return Standard(value=0.0, label="zero") if match[1] == "0" else Standard(label="air")
    return None


def meanings_of(headers: Sequence[str]) -> list[Meaning]:
    """Read all headers of a table, and decide whether numbers beside standards count them or are their values.

    ``buffer 1, buffer 2`` count; ``buffer 4, buffer 7`` are values.
    """
    found = [meaning_of(header) for header in headers]
    families: dict[str, set[int]] = {}
    for header, meaning in zip(headers, found, strict=True):
        if meaning.index and not meaning.fixed:
            families.setdefault(_family(header), set()).add(meaning.index)
    valued = {name for name, numbers in families.items() if numbers != set(range(1, len(numbers) + 1))}
    return [
        _as_value(meaning) if meaning.index and not meaning.fixed and _family(header) in valued else meaning
        for header, meaning in zip(headers, found, strict=True)
    ]


def _family(header: str) -> str:
    return re.sub(r"\d+", "#", fold(header))


def _as_value(meaning: Meaning) -> Meaning:
    """The number beside the word is the standard itself, and the column holds what was read in it."""
    if meaning.kind not in ("standard", "raw", "temperature"):
        return meaning
    kind = "temperature" if meaning.kind == "temperature" else "raw"
    fixed = Standard(value=float(meaning.index), label=str(meaning.index))
    return replace(meaning, kind=kind, index=0, fixed=fixed)
