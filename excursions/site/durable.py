"""Writing so that a power cut leaves the old state or the new one, and never something between.

Everything the site room writes goes through here: temporary name, flush, rename, flush of the folder.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

FOLDER_MODE, FILE_MODE = 0o750, 0o640
TEMPORARY = ".part-"  # how names of unfinished files begin
_CHUNK = 4 * 2**20


def make_folder(path: Path) -> None:
    """Make a folder and those above it, and let the disk know of each."""
    if path.is_dir():
        return
    make_folder(path.parent)
    path.mkdir(mode=FOLDER_MODE, exist_ok=True)
    sync_folder(path.parent)


def sync_folder(path: Path) -> None:
    """Flush the names in a folder to the disk (where the system can)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_file(path: Path, content: bytes) -> None:
    """Write one file whole or not at all."""
    write_files([(path, content)])


def write_files(files: Iterable[tuple[Path, bytes]]) -> None:
    """Write several files, each whole or not at all; folders are flushed once, at the end."""
    waiting: list[tuple[Path, Path]] = []
    try:
        for path, content in files:
            make_folder(path.parent)
            waiting.append((_written(path, content), path))
        for temporary, path in waiting:
            os.replace(temporary, path)
        for folder in sorted({path.parent for _, path in waiting}):
            sync_folder(folder)
    except BaseException:
        for temporary, _ in waiting:
            temporary.unlink(missing_ok=True)
        raise


def _written(path: Path, content: bytes) -> Path:
    """The flushed temporary file that will become `path`."""
    temporary = path.with_name(f"{TEMPORARY}{path.name}")
    temporary.unlink(missing_ok=True)
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def copy_in(source: BinaryIO, folder: Path) -> tuple[Path, str, int]:
    """Copy an open file into a flushed temporary file of `folder`; returns it, its SHA-256 and its size."""
    make_folder(folder)
    temporary = folder / f"{TEMPORARY}intake"
    temporary.unlink(missing_ok=True)
    digest, size = hashlib.sha256(), 0
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE)
    try:
        with os.fdopen(handle, "wb") as file:
            while chunk := source.read(_CHUNK):
                digest.update(chunk)
                file.write(chunk)
                size += len(chunk)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary, digest.hexdigest(), size


def move_in(temporary: Path, path: Path) -> None:
    """Give a flushed temporary file its name."""
    make_folder(path.parent)
    os.replace(temporary, path)
    sync_folder(path.parent)


def remove(path: Path) -> None:
    """Delete a file; that it is gone already is no fault."""
    path.unlink(missing_ok=True)


def sweep(folder: Path) -> int:
    """Delete what an interrupted run left under temporary names; returns how many there were."""
    found = [path for path in folder.rglob(f"{TEMPORARY}*") if path.is_file() and not path.is_symlink()]
    for path in found:
        remove(path)
    return len(found)


def sha256_of(path: Path) -> str:
    """SHA-256 of a file as it lies on the disk."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def begins_with(path: Path, size: int, sha256: str) -> bool:
    """Whether the first `size` bytes of a file, which has more, have this SHA-256."""
    if not path.is_file() or path.stat().st_size <= size:
        return False
    total = hashlib.sha256()
    with path.open("rb") as file:
        while size > 0 and (block := file.read(min(size, 2**20))):
            total.update(block)
            size -= len(block)
    return total.hexdigest() == sha256
