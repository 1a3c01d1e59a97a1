"""What a name or description says of a signal: role, measurand, unit, and the stem that names its loop."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from excursions.read.text.units import quantities
from excursions.register import _words
from excursions.register._vocabulary import FLAG_WORDS, GASES, MACHINES, READING

Stem = tuple[str, ...]
Cut = tuple[tuple[str, ...], ...]

ATTACHED = ("temperature", "hold", "wash", "pressure", "status")
_FLAGS = ("hold", "wash", "status", "flag")


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a name or description says.

    role: ``value``, one of ATTACHED, ``setting``, ``limit``, ``process`` or empty (nothing said);
    measurand: key or empty; strong: whether words said it rather than loop letters; flag: ``hold``,
    ``wash`` or ``status`` when such a word stands anywhere; gas: whether it speaks of a gas; valve:
    whether its loop letters are those of a valve.
    """

    role: str = ""
    measurand: str = ""
    strong: bool = False
    flag: str = ""
    gas: bool = False
    valve: bool = False


def says(cut: Cut) -> Named:
    """Read a name segment by segment, the last one first: what stands last qualifies what stands before."""
    said = Named()
    for tokens in reversed(cut):
        here = _segment_says(tokens)
        if here.role and not said.role:
            said = here
        elif here.measurand and said.role in ATTACHED and not said.measurand:
            said = replace(said, measurand=here.measurand)
        elif _names_a_loose_value(said, here):
            said = here
    every = [token for tokens in cut for token in tokens]
    flags = [role for token in every if (role := _words.role_of(token)) in ("hold", "wash", "status")]
    gas = any(token.casefold() in GASES for token in every)
    valve = any(
        _words.is_valve(token) and _numbered(tokens, at) for tokens in cut for at, token in enumerate(tokens)
    )
    return replace(said, flag=flags[-1] if flags else "", gas=gas, valve=valve)


def _names_a_loose_value(said: Named, here: Named) -> bool:
    """Whether a word further in front names what the last segment only called a reading."""
    loose = said.role == "value" and not said.strong
    return loose and here.strong and here.role in ("value", "temperature")


def _segment_says(tokens: Sequence[str]) -> Named:
    """Role and measurand of one segment.

    Temperature, set point and limit win wherever they stand, because a measurand beside them only says
    whose they are; of the other words the last one wins.  Words go before loop letters.
    """
    measurand = _segment_measurand(tokens)
    roles = [_word_role(tokens, at) for at in range(len(tokens))]
    for role in ("setting", "limit", "temperature"):
        if role in roles:
            return Named(role=role, measurand=measurand, strong=True)
    beside = any(_letters_before_measurand(tokens, at) == "temperature" for at in range(len(tokens)))
    if (measurand and tokens[-1] in ("T", "t")) or beside or _ends_in_letters_of(tokens, "temperature"):
        return Named(role="temperature", measurand=measurand, strong=True)
    if _ends_in_letters_of(tokens, "pressure"):
        return Named(role="pressure", measurand=measurand, strong=True)
    found = next((role for role in reversed(roles) if role), "")
    return Named(role=found, measurand=measurand, strong=True) if found else _letters_say(tokens)


def _ends_in_letters_of(tokens: Sequence[str], role: str) -> bool:
    """``F1-PH.TT``, ``F1_PH_TT``: loop letters without a number at the end say what the signal is."""
    last = len(tokens) - 1
    return _words.loop_letters(tokens[last]) == role and not _numbered(tokens, last)


def _letters_before_measurand(tokens: Sequence[str], at: int) -> str:
    """``SCR1_TI_PH``, ``SCR1_AI_PH``: loop letters in front of the measurand say what the signal is; else empty."""
    named = at + 1 < len(tokens) and bool(_words.measurand_of(tokens[at + 1]))
    return _words.loop_letters(tokens[at]) if named else ""


def _segment_measurand(tokens: Sequence[str]) -> str:
    found = next((m for token in reversed(tokens) if (m := _words.measurand_of(token))), "")
    if found == "oxygen" and any(token.casefold().startswith(("sat", "satt")) for token in tokens):
        return "oxygen_saturation"
    return found


def _word_role(tokens: Sequence[str], at: int) -> str:
    """Role by one token, with the words that take it back: ``temp comp``, ``SpCond``, ``OP valve``."""
    role = _words.role_of(tokens[at])
    word = tokens[at].casefold()
    after = tokens[at + 1] if at + 1 < len(tokens) else ""
    if role == "temperature" and after.casefold().startswith(("comp", "komp")):
        return ""
    if role == "setting" and (
        (word in ("op", "cv") and after) or (word == "sp" and _words.measurand_of(after) == "conductivity")
    ):
        return ""
    if not role and _words.measurand_of(tokens[at]):
        return "value"
    if (
        word in MACHINES
        and after.isalpha()
        and after.casefold() not in FLAG_WORDS
        and _segment_measurand(tokens)
    ):
        return role
    return "process" if not role and _words.is_process(tokens[at]) else role


def _letters_say(tokens: Sequence[str]) -> Named:
    """Role by loop letters beside a number, or by a single T or P at an end."""
    if kks := _words.kks_role(tokens):
        return Named(role=kks)
    for at, token in enumerate(tokens):
        letters = _words.loop_letters(token) if _numbered(tokens, at) else ""
        if letters == "conductivity":
            return Named(role="value", measurand="conductivity")
        if letters:
            return Named(role="value" if letters == "analysis" else letters)
    single = _single_letter(tokens)
    return Named(role={"t": "temperature", "p": "pressure"}.get(single, ""))


def _single_letter(tokens: Sequence[str]) -> str:
    """``t`` or ``p`` where such a letter stands alone at an end: ``QT101_T``, ``N1-T-PV``, ``T_R1``, ``T1``; not ``T101_x``
    (a tank)."""
    words = [token for token in tokens if not token.isdigit() and token.casefold() not in READING]
    if not words:
        return ""
    if words[-1].casefold() in ("t", "p") and (len(words) > 1 or (len(tokens) <= 2 and words[-1] in "Tt")):
        return words[-1].casefold()
    leads = len(tokens) > 1 and tokens[0] in ("T", "P") and not tokens[1].isdigit()
    return tokens[0].casefold() if leads else ""


def _numbered(tokens: Sequence[str], at: int) -> bool:
    """Whether a number stands right behind or right before: ``AT-2103``, ``2103-AT``."""
    after = at + 1 < len(tokens) and tokens[at + 1].isdigit()
    return after or (
        at == len(tokens) - 1 and at > 0 and tokens[at - 1].isdigit() and len(tokens[at - 1]) > 1
    )


def stems(cut: Cut, role: str) -> tuple[Stem, Stem, str]:
    """Fine stem, coarse stem and loop (the number at loop letters) of a tag that plays `role`."""
    fine: list[str] = []
    coarse: list[str] = []
    loop = ""
    spoken = [bool(_segment_says(tokens).role) and not _single_letter(tokens) for tokens in cut]
    for place, tokens in enumerate(cut):
        kks = bool(_words.kks_role(tokens))
        vessel = any(
            spoken[place + 1 :]
        )  # ``T7/TIT-7``: what follows says the role, so that the letter is a name
        for at, token in enumerate(tokens):
            word = token.casefold()
            letters = "" if kks or not _numbered(tokens, at) else _words.loop_letters(token)
            if letters and not _words.measurand_of(token):
                loop = loop or (tokens[at + 1] if at + 1 < len(tokens) else tokens[at - 1])
                if letters != role:
                    fine.append(word)
            elif not _carries_no_identity(tokens, at, role, vessel=vessel):
                fine.append(word)
                if not _words.measurand_of(token):
                    coarse.append(word)
    return tuple(fine), tuple(coarse), loop


def _carries_no_identity(tokens: Sequence[str], at: int, role: str, *, vessel: bool) -> bool:
    word = tokens[at].casefold()
    if word in READING or _words.role_of(tokens[at]) == role:
        return True
    if role in _FLAGS and word in FLAG_WORDS:
        return True
    if (
        word in ("sp", "spec", "specific")
        and _words.measurand_of("".join(tokens[at + 1 : at + 2])) == "conductivity"
    ):
        return True
    ending = "analysis" if role == "value" else role
    if _letters_before_measurand(tokens, at) == ending:
        return True
    if at == len(tokens) - 1 and _ends_in_letters_of(tokens, ending):
        return True
    single = "" if vessel else {"temperature": "t", "pressure": "p"}.get(role, "")
    said = (i for i, token in enumerate(tokens) if not token.isdigit() and token.casefold() not in READING)
    last = max(said, default=-1)
    return bool(single) and word == single and at in (0, last) and _single_letter(tokens) == single


_BRACKET = re.compile(r"^(.*\S)\s*[\[(]\s*([^\[\]()]{1,16})\s*[\])]\s*$")
_SUFFIXES = {
    "mgl": "mg/L",
    "gl": "g/L",
    "ugl": "ug/L",
    "uscm": "uS/cm",
    "mscm": "mS/cm",
    "ntu": "NTU",
    "fnu": "FNU",
    "degc": "degC",
    "degf": "degF",
    "c": "degC",
    "f": "degF",
    "mv": "mV",
    "v": "V",
    "volt": "V",
    "volts": "V",
    "ma": "mA",
    "ppm": "ppm",
    "ppb": "ppb",
    "mbar": "mbar",
    "kpa": "kPa",
    "bar": "bar",
    "barg": "barg",
    "psi": "psi",
    "psig": "psig",
}
_OF_TEMPERATURE = ("degC", "degF")


def split_unit(name: str) -> tuple[str, str]:
    """Take a unit in brackets off a name: ``Temp (°C)`` -> ``Temp``, ``°C``."""
    match = _BRACKET.match(name)
    return (match[1], match[2]) if match and quantities(match[2]) else (name, "")


def take_unit(cut: Cut) -> tuple[Cut, str]:
    """Take a unit off the end of a name, where a word before it says what it is the unit of: ``DO_mgL``, ``Temp_F``."""
    if not cut:
        return cut, ""
    tokens = cut[-1]
    whole = _SUFFIXES.get("".join(tokens).casefold(), "")
    if whole and len(cut) > 1 and _speaks_of(cut[-2], whole):
        return cut[:-1], whole
    for count in (3, 2, 1):
        unit = _SUFFIXES.get("".join(tokens[-count:]).casefold(), "") if len(tokens) > count else ""
        if unit and _speaks_of(tokens[:-count], unit):
            return (*cut[:-1], tokens[:-count]), unit
    return cut, ""


def _speaks_of(tokens: Sequence[str], unit: str) -> bool:
    said = _segment_says(tokens)
    if unit in _OF_TEMPERATURE:
        return said.role == "temperature"
    if unit == "mA":  # a current says nothing of what is measured
        return said.role in ("value", "temperature", "pressure")
    if "pressure" in quantities(unit) and said.role == "pressure":
        return True
    if unit == "V":  # a letter that may stand for a valve or a vessel elsewhere
        return said.role == "value" and said.measurand in quantities(unit)
    return said.role == "value" and bool(said.measurand)
