"""Text as the trade's word lists know it: without case, accents and width variants."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

_SPECIAL = str.maketrans(
    {"µ": "u", "μ": "u", "ß": "ss", "−": "-", "’": "'", "‘": "'", "–": "-", "\u00a0": " ", "\u202f": " "}
)


@lru_cache(maxsize=65_536)
def plain(text: str) -> str:
    """Text without accents, micro signs as ``u``, every minus and blank the common one; case kept."""
    if text.isascii():
        return text
    decomposed = unicodedata.normalize("NFKD", text.translate(_SPECIAL)).translate(_SPECIAL)
    return "".join(char for char in decomposed if not unicodedata.combining(char))
