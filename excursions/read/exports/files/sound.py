"""Damage that the reader library finds becomes a sentence, also where the library itself gives up on it.

On some damaged files the library stops with a fault of its own and writes its inner state to standard error.
A user can do nothing with that, so standard error is held back while such a file is opened or read, and let
through again unless that is what happened.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock

import polars as pl

from excursions.errors import InputFileError

_FAULT = "PanicException"
_LOCK = RLock()  # standard error is one for the whole process


def is_fault(error: BaseException) -> bool:
    """Whether the reader library gave up with a fault of its own, which is no `Exception`."""
    return type(error).__name__ == _FAULT


def broken(what: str, error: BaseException) -> InputFileError:
    """The refusal of a file that cannot be read, with the first line of what the library says."""
    said = (str(error).splitlines() or [""])[0][:160]
    return InputFileError(
        found=f"{'an' if what[0] in 'AEIOU' else 'a'} {what} that cannot be read ({said})",
        expected="a sound one",
        mend="copy or export it again",
    )


@contextmanager
def sound(what: str) -> Iterator[None]:
    """Turn the library's errors and faults into :class:`InputFileError`."""
    try:
        with _LOCK, _held_back():
            yield
    except (pl.exceptions.PolarsError, ImportError, OSError, ValueError, MemoryError) as error:
        raise broken(what, error) from error
    except BaseException as error:
        if not is_fault(error):
            raise
        raise broken(what, error) from error


@contextmanager
def _held_back() -> Iterator[None]:
    """Keep what is written to standard error, and write it after all unless the library gave up."""
    try:
        descriptor = os.dup(2)
    except OSError:  # no standard error to hold back
        yield
        return
    let_through = True
    with tempfile.TemporaryFile() as held:
        with contextlib.suppress(ValueError, OSError, AttributeError):
            sys.stderr.flush()
        os.dup2(held.fileno(), 2)
        try:
            yield
        except BaseException as error:
            let_through = not is_fault(error)
            raise
        finally:
            os.dup2(descriptor, 2)
            os.close(descriptor)
            held.seek(0)
            said = held.read()
            if said and let_through:
                os.write(2, said)
