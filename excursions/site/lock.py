"""One run at a time: a lock that the system takes away when its holder dies, so that none is ever stale."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from excursions.errors import ExcursionsError, UsageError
from excursions.site.durable import FILE_MODE


class SiteBusyError(ExcursionsError):
    """Another run holds the lock of the site."""


@contextmanager
def site_lock(path: Path, words: str) -> Iterator[str]:
    """Hold the lock; gives what a run wrote that died holding it, or an empty text.

    Parameters
    ----------
    path : Path
        The lock file; it stays, only the lock on it comes and goes.
    words : str
        Who holds it, for people: process id and time.

    Raises
    ------
    SiteBusyError
        If a living process holds it.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, FILE_MODE)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise _busy(path, _read(handle)) from error
        left = _read(handle)
        _write(handle, words)
        try:
            yield left
        except UsageError:  # refused before anything was done: no run has died
            _write(handle, "")
            raise
        _write(handle, "")
    finally:
        os.close(handle)


def _busy(path: Path, holder: str) -> SiteBusyError:
    return SiteBusyError(
        found=f"the site in use by another run ({holder or 'just starting'})",
        expected="one run at a time",
        mend="wait until it is done; nothing was changed by this one",
        file=str(path.parent),
    )


def _read(handle: int) -> str:
    return os.pread(handle, 200, 0).decode("utf-8", errors="replace").strip()


def _write(handle: int, words: str) -> None:
    os.ftruncate(handle, 0)
    os.pwrite(handle, words.encode(), 0)
