"""What the columns of a list of laboratory samples hold: when, where, what was found; or a column of values a point."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from excursions.read.logs import samplewords as w
from excursions.read.logs.headers import Meaning, fold, meaning_of, unit_in
from excursions.read.text.vocabulary import POINTS, VESSELS

_SAMPLED = re.compile(
    r"sampl|probe?nahme|entnahme|gezogen|prelev|muestre|amostrag|drawn|taken|provtag|provetag|monstername|campionament|pobor"
)


def sample_meanings(headers: Sequence[str]) -> list[Meaning]:
    """Read the headers of a list of samples; what no word explains is a column of values for a point of that name."""
    found = _means([_meaning(header) for header in headers], headers)
    pure = [m.kind == "value" and _only_value(header) for header, m in zip(headers, found, strict=True)]
    if sum(pure) > 1:  # "Analysis" beside "Result" says which, not how much
        asked = [only and _is_analysis(header) for header, only in zip(headers, pure, strict=True)]
        if sum(asked) < sum(pure):
            found = [Meaning(kind="measurand") if here else m for m, here in zip(found, asked, strict=True)]
            pure = [only and not here for only, here in zip(pure, asked, strict=True)]
    found = _of_the_sampling(found, headers)
    several = sum(m.kind == "value" or (m.kind == "wide" and bool(m.unit)) for m in found)
    if not any(pure) and several > 1:
        return [replace(m, kind="wide") if m.kind == "value" else m for m in found]
    if any(pure):
        found = [
            Meaning() if m.kind == "value" and not only else m for m, only in zip(found, pure, strict=True)
        ]
    if any(meaning.kind == "value" for meaning in found):
        return [Meaning() if m.kind == "wide" else m for m in found]
    return found if any(m.kind == "wide" for m in found) else _of_samples(found, headers)


def _of_samples(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """The one column called "sample" of a list without any other value: what was found in it, not which it was."""
    read = [unit_in(fold(header)) for header in headers]
    words = [set(re.findall(r"[a-z]+", rest)) for rest, _ in read]
    called = [at for at, of in enumerate(words) if of and of <= w.SAMPLES]
    if len(called) != 1:
        return found
    return [Meaning(kind="value", unit=read[at][1]) if at == called[0] else m for at, m in enumerate(found)]


def _of_the_sampling(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """Of several dates, and of several clocks, the one that the sample was drawn at; the others are of its way through the laboratory."""
    kept = list(found)
    for kind in ("time", "clock"):
        places = [at for at, meaning in enumerate(found) if meaning.kind == kind]
        drawn = [at for at in places if _SAMPLED.search(fold(headers[at]))]
        if (
            kind == "time"
            and len(drawn) > 1
            and _DAY.search(fold(headers[drawn[0]]))
            and not _DAY.search(fold(headers[drawn[1]]))
        ):
            kept[drawn[1]] = Meaning(kind="clock")  # "Provtagningsdatum", "Provtagningstid"
            places.remove(drawn[1])
        if drawn and len(places) > 1:
            kept = [
                Meaning(kind="ignored") if at in places and at != drawn[0] else m for at, m in enumerate(kept)
            ]
    return kept


_DAY = re.compile(r"dat(?:um|e|o|a)|fecha|\bjour|dag\b|tag\b")
_SINGLE = re.compile(
    r"\b(?:rep|repl|replicate|run|det|determination|single|messung|bestimmung|einzelwert|wdh|wiederholung|essai|prueba|prova|meting)\w* ?[.#-]? ?(?:\d+|[a-d])$|^(?:[a-d]|[1-9])$"
)


def _means(found: list[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """A mean beside the single determinations it is of is the value; those are none."""
    folded = [unit_in(fold(header))[0] for header in headers]
    single = {at: _SINGLE.sub("", text).strip() for at, text in enumerate(folded) if _SINGLE.search(text)}
    mean = {
        at: text.rpartition(" ")[0] for at, text in enumerate(folded) if text.rpartition(" ")[2] in w.MEANS
    }
    changed = list(found)
    for at, of in mean.items():
        own = [other for other, name in single.items() if name == of]
        if not own or list(mean.values()).count(of) > 1:
            continue
        changed[at] = replace(found[at], kind="wide" if of else "value")
        for other in own:
            changed[other] = Meaning(kind="ignored")
    return changed


def _only_value(header: str) -> bool:
    """Whether a header says "value" and nothing of what is measured."""
    return not set(re.findall(r"[a-z]+", unit_in(fold(header))[0])) - w.VALUES - w.MEANS - {"the", "of", "in"}


_ANALYSES = frozenset(["analysis", "analyse", "analisi", "analisis", "analiza"])


def _is_analysis(header: str) -> bool:
    return set(re.findall(r"[a-z]+", unit_in(fold(header))[0])) <= _ANALYSES


_NOT_THE_LABORATORY = frozenset(
    ["online", "inline", "on", "display", "anzeige", "transmitter", "process", "prozess", "dcs", "sensor"]
)
_NUMBERS = frozenset(["no", "nr", "id", "number", "nummer", "num"])
_COUNTS = re.compile(rf"(?:^|[\s_./-])(?:{'|'.join(sorted(_NUMBERS))})\.?$")  # "LIMS-Nr"; "NO3" is none


def _meaning(header: str) -> Meaning:
    rest, unit = unit_in(fold(header))
    words = set(re.findall(r"[a-z]+", rest))
    if not words:
        return Meaning()
    counted = words & (_NUMBERS | {"code", "lfd"}) and words & (w.VALUES | {"sample", "probe", "proben"})
    if (counted or _COUNTS.search(rest)) and not words & POINTS:
        return Meaning(kind="ignored")
    if words & w.VALUES and words & _NOT_THE_LABORATORY:
        return Meaning(kind="ignored")
    if rest.replace(" ", "") == "u.m.":
        return Meaning(kind="value_unit")
    if words == {"um"}:
        return Meaning(kind="clock")
    if words <= VESSELS:
        return Meaning(kind="point", unit=unit)
    if words <= w.TESTS:
        return Meaning(kind="measurand")
    if words & w.UNITS:
        return Meaning(kind="value_unit")
    read = meaning_of(header)
    if _SAMPLED.search(rest) and read.kind in ("", "time", "clock", "point", "probe"):
        return _of_sampling(words, read)
    if read.kind in (
        "time",
        "clock",
        "point",
        "comment",
        "ignored",
        "result",
        "temperature",
        "measurand",
    ) and not (read.kind == "result" and words & w.VALUES):
        return read
    if words & w.VALUES:
        return Meaning(kind="value", unit=unit)
    return Meaning(kind="wide", unit=unit)


def _of_sampling(words: set[str], read: Meaning) -> Meaning:
    """``sample time`` and ``sampled at`` are times, ``sample point`` is a point, ``sample no`` is neither."""
    if read.kind in ("time", "clock", "point"):
        return read
    if words & (_NUMBERS | {"type"}):
        return Meaning(kind="ignored")
    if any(word.endswith("zeit") for word in words):
        return Meaning(kind="clock")  # "Probenahmezeit"
    alone = not words - {
        "sampled",
        "entnahme",
        "probenahme",
        "probennahme",
        "gezogen",
        "muestreo",
        "amostragem",
        "prelevement",
    }
    timed = alone or words & {"at", "am", "taken", "drawn", "gezogen", "on", "le"}
    return Meaning(kind="time") if timed else Meaning(kind="ignored")
