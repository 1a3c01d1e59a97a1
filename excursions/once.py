"""What several rooms need of one record and none needs always: worked out at the first asking."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

T = TypeVar("T")


class Once:
    """Results by name, kept as long as what they belong to; nothing is shared, and a changed copy begins anew."""

    def __init__(self) -> None:
        self._kept: dict[str, Any] = {}  # Any: each name has its own type, which the caller's function states

    def __call__(self, name: str, work_out: Callable[[], T]) -> T:
        """The result under this name; `work_out` is called at the first asking only."""
        if name not in self._kept:
            self._kept[name] = work_out()
        return cast(T, self._kept[name])
