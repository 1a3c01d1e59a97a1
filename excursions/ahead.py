"""Work on several pieces of a table at once, results in the order of the pieces."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

# More threads than this gain nothing: the fast reader has threads of its own.
WORKERS = max(2, min(4, os.cpu_count() or 2))


def in_order(items: Iterator[T], work: Callable[[T], R], workers: int = WORKERS) -> Iterator[R]:
    """`work` of each item, in the order of the items; at most `workers` + 1 are held at a time.

    What `work` raises comes out where its result would have.  Results do not depend on the number of workers.
    """
    with ThreadPoolExecutor(max_workers=workers) as pool:
        waiting: deque[Future[R]] = deque()
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) > workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()
