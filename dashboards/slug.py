"""File names for points: safe on every file system, never the same for two names, the same in every run."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from excursions.records import short_id

LONGEST_STEM = 40


def slug(name: str) -> str:
    """A file stem of lower-case letters, digits and hyphens: a readable part and ten digits of identity.

    The identity depends on the exact name alone, so a link stays good when other points come or go, and
    no name (not even a reserved or an empty one) can leave the folder.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_STEM].strip("-")
    return f"{stem or 'point'}-{short_id('point', name)}"


def slugs(names: Iterable[str]) -> dict[str, str]:
    """A file stem for every name, unique among them."""
    taken: dict[str, str] = {}
    used: set[str] = set()
    for name in sorted(set(names)):
        stem = slug(name)
        number = 2
        while stem in used:
            stem = f"{slug(name)}-{number}"
            number += 1
        used.add(stem)
        taken[name] = stem
    return taken
