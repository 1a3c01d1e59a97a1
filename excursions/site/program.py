"""The program as a hash of its own text: another program may find other things, so its answers are not remembered ones."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

import excursions


@lru_cache(maxsize=1)
def program() -> str:
    """A hash of the program's own text: another program may find other things."""
    return text_of(Path(excursions.__file__).parent)


def text_of(home: Path) -> str:
    """A hash of all source files of a package."""
    total = hashlib.blake2b(digest_size=16)
    for path in sorted(p for p in home.rglob("*") if p.suffix in (".py", ".html", ".css", ".js")):
        total.update(path.relative_to(home).as_posix().encode())
        total.update(path.read_bytes())
    return total.hexdigest()
