"""How a tag name or description is taken apart, and what each part says.

A name is cut into segments (``Site/Area/QT101_pH`` has three) and each segment into tokens (``QT``, ``101``,
``pH``).  Words are compared without case and accents.  Loop letters follow ANSI/ISA-5.1 (first letter A
analysis, T temperature, P pressure) and EN 62424 (Q quality); both from memory.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from excursions.read.text.fold import plain
from excursions.register._vocabulary import NAMES, PROCESS, ROLES, SHORTENED

_SEGMENT = re.compile(r"[/\\|>]|::|(?<=\D)\.(?=\D)|(?<=\d)\.(?=[^\W\d])|(?<=[^\W\d])\.(?=\d)")
_TOKEN = re.compile(
    r"pH|(?i:pt1000?(?!\d)|[pd]?co2(?!\d)|[pd]?o2(?!\d))|degC|degF"
    r"|[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+|[^\W\d_a-zA-Z]+"
)
_GLUED = re.compile(
    r"^(ph|orp|redox|cond|do|ldo|turb|co2|o2|oxy)(temp|temperature|value|val|wert|pv|hold|mv)$"
)

_LETTERED = re.compile(r"^(PH|ORP|DO|COND|TURB|REDOX)(?:[ETI]|I[TCR]|IRC|TT)$")
_ISA_ANALYSIS = re.compile(r"^[AQ][ITERCSAHLZQDY]{1,5}$|^Q$")
_ISA_TEMPERATURE = re.compile(r"^T(?:[TERIC]|I[TCRASEQ]{1,4}|RC|IRC[A]?|[ISX])$")
_ISA_PRESSURE = re.compile(r"^P(?:[TEI]|I[TCRASE]{1,4}|IRC)$")
_ISA_OTHER = re.compile(r"^(?:[FLSWHXVZEJK])(?:[TEICVYSZ]|I[TCRASEQ]{1,4}|CV)$")
_ISA_CONDUCTIVITY = re.compile(r"^C(?:[TE]|I[TCRASE]{1,3})$")


def segments(name: str) -> tuple[tuple[str, ...], ...]:
    """Tokens of a name, segment by segment, case kept; numbers without leading zeros."""
    return tuple(cut for part in _SEGMENT.split(plain(name)) if (cut := _tokens(part)))


def _tokens(part: str) -> tuple[str, ...]:
    found: list[str] = []
    for token in _TOKEN.findall(part):
        if token.isdigit():
            found.append(token.lstrip("0") or "0")
        elif match := _GLUED.match(token.casefold()):
            found += match.groups()
        else:
            found.append(token)
    return _joined(found)


_PAIRS = {
    ("set", "point"): "setpoint",
    ("hi", "hi"): "hihi",
    ("lo", "lo"): "lolo",
    ("carbon", "dioxide"): "co2",
}


def _joined(tokens: list[str]) -> tuple[str, ...]:
    """Put together what camel case or a separator took apart."""
    found: list[str] = []
    for token in tokens:
        pair = _PAIRS.get((found[-1].casefold(), token.casefold())) if found else None
        if pair:
            found[-1] = pair
        else:
            found.append(token)
    return tuple(found)


def _is(word: str, table: tuple[frozenset[str], tuple[str, ...]]) -> bool:
    whole, starts = table
    return word in whole or any(word.startswith(start) for start in starts)


def _shortened(word: str) -> str:
    """Role or measurand of a word written without its vowels: at least three letters, all consonants."""
    if len(word) < 3 or not word.isalpha() or re.search(r"[aeiou]", word):
        return ""
    return next((said for skeleton, said in _SKELETONS if skeleton.startswith(word)), "")


_SKELETONS = tuple((word[0] + re.sub(r"[aeiou]", "", word[1:]), said) for word, said in SHORTENED)


@lru_cache(maxsize=65_536)
def role_of(token: str) -> str:
    """Role that this token gives a signal, or empty."""
    word = token.casefold()
    said = "temperature" if word.endswith("temp") else _shortened(word)  # ``WTEMP``, ``PTEMP``
    return next((role for role, table in ROLES.items() if said == role or _is(word, table)), "")


@lru_cache(maxsize=65_536)
def measurand_of(token: str) -> str:
    """Measurand that this token names, or empty; ``PHIT`` and ``DOT`` name theirs before their loop letters."""
    match = _LETTERED.match(token)
    word = (match[1] if match else token).casefold()
    said = _shortened(word)
    return next((key for key, table in NAMES.items() if said == key or _is(word, table)), "")


@lru_cache(maxsize=65_536)
def is_process(token: str) -> bool:
    """Whether the token names a quantity that is no analytical probe's."""
    return _is(token.casefold(), PROCESS)


@lru_cache(maxsize=65_536)
def loop_letters(token: str) -> str:
    """What a loop's letters say when a number follows: ``analysis``, ``temperature``, ``pressure``, ``process`` or empty."""
    if not token.isupper():
        return ""
    if _ISA_TEMPERATURE.match(token):
        return "temperature"
    if _ISA_ANALYSIS.match(token):
        return "analysis"
    if _ISA_PRESSURE.match(token):
        return "pressure"
    if _ISA_CONDUCTIVITY.match(token):
        return "conductivity"
    return "process" if _ISA_OTHER.match(token) else ""


_KKS = re.compile(r"^(\d*[A-Z]{3}\d{1,2})C([A-Z])(\d{1,3})")
_KKS_ROLES = {
    "T": "temperature",
    "Q": "value",
    "P": "pressure",
    "F": "process",
    "L": "process",
    "S": "process",
}


def kks_role(tokens: Sequence[str]) -> str:
    """Role by a plant identification code such as ``10LCA10CQ001`` (VGB KKS: CT temperature, CQ analysis; from memory)."""
    match = _KKS.match("".join(tokens))
    return _KKS_ROLES.get(match[2], "") if match else ""


def is_valve(token: str) -> bool:
    """Whether loop letters are those of an on/off valve."""
    return token in ("XV", "SV", "HV", "EV", "WV", "UV", "KV", "YV")
