"""One step ahead: the next item of an iterator is worked out while the last one is used."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


def one_ahead(items: Iterator[T]) -> Iterator[T]:
    """The same items in the same order, each fetched by a second thread while the one before is in use.

    What the iterator raises comes out where the item would have.
    """
    with ThreadPoolExecutor(max_workers=1) as pool:
        following = pool.submit(next, items, None)
        while (item := following.result()) is not None:
            following = pool.submit(next, items, None)
            yield item
