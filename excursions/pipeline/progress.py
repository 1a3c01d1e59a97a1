"""How long work tells of itself; apart from the work, so that asking for it costs nothing."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int], None]


def quiet(what: str, done: int, total: int) -> None:
    """Show no progress."""
