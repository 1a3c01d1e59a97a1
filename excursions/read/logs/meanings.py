"""What all columns of a log mean together: a header alone does not say whether a number counts standards or is one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from excursions.read.logs.headers import LETTERED, TOKEN, Meaning, fold, meaning_of, unit_in
from excursions.read.logs.standards import Standard
from excursions.read.logs.translated import before_and_after
from excursions.read.text import vocabulary as v

_BUFFER = re.compile(r"(?:ph|b) ?([1-3])")
_UNITS_AS_WORDS = v.words("mv na ua pa")
_WARM = v.words("temp temperature temperatur temperatura t")


def meanings_of(headers: Sequence[str]) -> list[Meaning]:
    """Read all headers of a table, and decide whether numbers beside standards count them or are their values.

    ``buffer 1, buffer 2`` count; ``buffer 4, buffer 7`` are values.
    """
    headers = before_and_after(headers)
    found = _with_own_standards([meaning_of(header) for header in headers], headers)
    families: dict[str, set[int]] = {}
    for header, meaning in zip(headers, found, strict=True):
        if meaning.index and not meaning.fixed:
            families.setdefault(_family(header), set()).add(meaning.index)
    valued = {name for name, numbers in families.items() if numbers != set(range(1, len(numbers) + 1))}
    return [
        _as_value(meaning) if meaning.index and not meaning.fixed and _family(header) in valued else meaning
        for header, meaning in zip(headers, found, strict=True)
    ]


def _with_buffers(found: Sequence[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """``pH1`` or ``B1`` beside ``E1 [mV]`` is the buffer that the potential was read in, and no reading in a buffer of pH 1."""
    potentials = {m.index for m in found if m.kind == "raw" and m.unit == "mv" and m.index and not m.fixed}
    counted = [_BUFFER.fullmatch(fold(header)) for header in headers]
    return [
        Meaning(kind="standard", index=int(match[1]), unit="ph")
        if match and int(match[1]) in potentials
        else m
        for m, match in zip(found, counted, strict=True)
    ]


def _with_own_standards(found: Sequence[Meaning], headers: Sequence[str]) -> list[Meaning]:
    """``standard 1 [mV]`` beside ``raw 1 [mV]`` is the standard's value; alone it is what was read in standard 1."""
    said = [set(TOKEN.findall(unit_in(fold(header))[0])) for header in headers]
    numbered = [m.kind in ("raw", "temperature") and m.index > 0 and m.fixed is None for m in found]
    raws = {
        m.index
        for m, words, own in zip(found, said, numbered, strict=True)
        if own and words & v.RAWS and m.kind == "raw"
    }
    found = _with_buffers(found, headers)
    # "Standard (mV)" beside "reading before (mV)" and "reading after (mV)": a redox standard.
    if any(
        m.kind == "raw" and not m.index and not m.fixed and (words & v.RAWS or m.phase)
        for m, words in zip(found, said, strict=True)
    ):
        raws.add(0)
        numbered = [
            own or (m.kind == "raw" and m.fixed is None) for m, own in zip(found, numbered, strict=True)
        ]
    return [
        replace(m, kind="standard")
        if own and m.index in raws and words & v.STANDARDS and not words & (v.RAWS - _UNITS_AS_WORDS | _WARM)
        else m
        for m, words, own in zip(found, said, numbered, strict=True)
    ]


def _family(header: str) -> str:
    rest, _ = unit_in(fold(header).rstrip(" :"))
    return re.sub(r"\d+", "#", LETTERED.sub(r"\1 #", rest))


def _as_value(meaning: Meaning) -> Meaning:
    """The number beside the word is the standard itself, and the column holds what was read in it."""
    if meaning.kind not in ("standard", "raw", "temperature"):
        return meaning
    kind = "temperature" if meaning.kind == "temperature" else "raw"
    fixed = Standard(value=float(meaning.index), label=str(meaning.index))
    return replace(meaning, kind=kind, index=0, fixed=fixed)
