"""Text as the trade's word lists know it: without case, accents and width variants."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_SPECIAL = str.maketrans(
    {"µ": "μ", "ß": "ss", "’": "'", "‘": "'", "\u00a0": " ", "\u202f": " "}
    | dict.fromkeys("−–‐‑‒", "-")
    | {"ł": "l", "Ł": "L", "ø": "o", "Ø": "O", "đ": "d", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ı": "i"}
    | {"٫": ".", "٬": "'"}  # the decimal and the thousands mark of Arabic numbers
)
_MICRO = re.compile(r"(?<![\u0370-\u03ff])μ(?![\u0370-\u03ff])")  # within a Greek word it is a letter
_FORMULA = re.compile(r'=\s*(?:"([^"]*)"|([^"]*))')


@lru_cache(maxsize=65_536)
def plain(text: str) -> str:
    """Text without accents and invisible marks, micro signs as ``u``, digits of every script, minus and blank the common ones.

    Case is kept.  A degree sign or a micro sign that was read in the wrong encoding is one again.
    """
    if text.isascii():
        return text
    decomposed = unicodedata.normalize(
        "NFKD", text.replace("Â°", "°").replace("Âµ", "µ").translate(_SPECIAL)
    ).translate(_SPECIAL)
    decomposed = _MICRO.sub("u", decomposed)
    return decomposed if decomposed.isascii() else "".join(map(_common, decomposed))


def _common(char: str) -> str:
    """A digit of any script as the common one; nothing for marks that are not seen by themselves."""
    if char.isdecimal():
        return str(unicodedata.decimal(char))
    return "" if unicodedata.combining(char) or unicodedata.category(char) == "Cf" else char


def unwrapped(text: str) -> str:
    """A cell without quotes, and without what makes a spreadsheet take it for text: ``'7.02`` or ``="7.02"``."""
    said = text.strip().strip('"').strip()
    if said.startswith("'"):
        return said.strip("'").strip()
    match = _FORMULA.fullmatch(text.strip().replace('""', '"')) if said.startswith("=") else None
    return (match[1] or match[2] or "").strip() if match else said
