"""From the untrusted inbox to kept copies: only plain files, only whole ones, nothing followed and nothing run."""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from excursions.records import short_id
from excursions.site.durable import copy_in, make_folder, move_in, remove, write_file
from excursions.site.layout import Site
from excursions.site.mending import NAMES, kept_names

DEEPEST = 8  # folders within folders; deeper ones are refused and said
_HIDDEN = (
    ".",
    "~$",
    "__",
    "_SUCCESS",
    "_metadata",
    "_common_metadata",
    "_committed",
    "_started",
    "_temporary",
)
PIECE = "piece-"  # how the folder of a kept piece of a data set begins, in which folders say what its rows belong to


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One plain file in the inbox: its path, its name relative to the inbox, and what the system says of it."""

    path: Path
    name: str
    size: int
    mtime_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One kept file under one of its names; arrival counts files in the order they came."""

    name: str
    sha256: str
    size: int
    arrival: int
    copy: Path

    @property
    def key(self) -> tuple[tuple[str, ...], int]:
        """Where it stands in the order of reading: by name as a scan of a folder would, then by arrival."""
        return reading_order(self.name, self.arrival)


def reading_order(name: str, arrival: int) -> tuple[tuple[str, ...], int]:
    """The order in which files are read: folder by folder, by name; a later file of a name after the earlier."""
    return tuple(name.split("/")), arrival


def look_through(site: Site, now_ns: int, settle_s: float, remarks: list[str]) -> list[Found]:
    """Files that may be taken now, in the order of names; what is left or refused is remarked on.

    Parameters
    ----------
    now_ns : int
        Wall clock.  A file changed within `settle_s` of it (before or after) may still be being written.
    """
    taken = []
    for found in _walk(site.inbox, "", remarks, 0):
        if abs(now_ns - found.mtime_ns) < settle_s * 1e9:
            remarks.append(
                f"{found.name}: changed a moment ago, may still be being written; left for the next run"
            )
        else:
            taken.append(found)
    return taken


def _walk(folder: Path, prefix: str, remarks: list[str], depth: int) -> Iterator[Found]:
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        remarks.append(
            f"{prefix or 'inbox'}: cannot be looked into ({error.strerror}); left for the next run"
        )
        return
    for entry in entries:
        name = f"{prefix}{entry.name}"
        if entry.name.startswith(_HIDDEN):
            continue
        shown = printable(name)
        if entry.is_symlink():
            remarks.append(f"{shown}: a link, refused; put the file itself there")
        elif entry.is_dir(follow_symlinks=False):
            if depth >= DEEPEST:
                remarks.append(f"{shown}: a folder, refused (too deep); put it nearer to the inbox")
            else:
                yield from _walk(folder / entry.name, f"{name}/", remarks, depth + 1)
        elif not entry.is_file(follow_symlinks=False):
            remarks.append(f"{shown}: no plain file, refused")
        elif not _is_text(name):
            remarks.append(f"{shown}: its name is no text, refused; rename it")
        else:
            told = entry.stat(follow_symlinks=False)
            yield Found(path=folder / entry.name, name=name, size=told.st_size, mtime_ns=told.st_mtime_ns)


def _is_text(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return not re.search(r"[\x00-\x1f\x7f]", name)


def printable(name: str) -> str:
    """A name that cannot garble a terminal or a log."""
    return re.sub(r"[\x00-\x1f\x7f\ud800-\udfff]", "?", name)


def keep(site: Site, found: Found, arrival: int, remarks: list[str]) -> Kept | None:
    """Copy one file to ``kept/``; None when it changed meanwhile or cannot be read (remarked on).

    The copy is what everything later is read from, so what was hashed is what is used.
    """
    try:
        source = _opened(found.path)
    except (PermissionError, FileNotFoundError) as error:
        remarks.append(f"{printable(found.name)}: cannot be read ({error.strerror}); left for the next run")
        return None
    with source:
        before = os.fstat(source.fileno())
        temporary, digest, size = copy_in(source, site.kept)
        after = os.fstat(source.fileno())
    if _marks(before) != _marks(after) or size != after.st_size or not stat.S_ISREG(after.st_mode):
        remove(temporary)
        remarks.append(f"{printable(found.name)}: changed while it was read; left for the next run")
        return None
    folder = site.kept / digest
    make_folder(folder)
    copy = folder / copy_name(found.name)
    if copy.exists() and copy.stat().st_size == size:
        remove(temporary)
    else:
        move_in(temporary, copy)
    return Kept(name=found.name, sha256=digest, size=size, arrival=arrival, copy=copy)


def _opened(path: Path) -> BinaryIO:
    """Open for reading without following a link that was put there since the look, and without waiting on a pipe."""
    flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK
    try:
        return os.fdopen(os.open(path, flags), "rb")
    except OSError as error:
        if isinstance(error, (PermissionError, FileNotFoundError)):
            raise
        raise PermissionError(error.errno, error.strerror) from error


def _marks(told: os.stat_result) -> tuple[int, int, int]:
    return told.st_size, told.st_mtime_ns, told.st_ino


def copy_name(name: str) -> str:
    """Path of the copy within its folder: a plain name, or for a piece of a data set its folders (``tag=.../``) too."""
    steps = name.split("/")
    first = next((number for number, step in enumerate(steps[:-1]) if "=" in step[1:]), None)
    if first is None or not name.lower().endswith((".parquet", ".pq")):
        return safe_name(name)
    return "/".join([PIECE + short_id(name), *steps[first:-1], safe_name(name)])


def piece_root(path: Path) -> Path | None:
    """The folder from which a kept piece of a data set is read; None for a plain file."""
    if not any("=" in step for step in path.parts[-DEEPEST:-1]):
        return None
    return next((above for above in path.parents if above.name.startswith(PIECE)), None)


def safe_name(name: str) -> str:
    """The last part of an inbox name as the name of its copy; the ending stays, for it says what the file is."""
    last = name.rsplit("/", 1)[-1]
    plain = re.sub(r"[^\w .()+,=@-]", "_", last).lstrip(".")
    return plain[-120:] or "file"


def note_name(site: Site, kept: Kept) -> None:
    """Write beside the copy under which name it came and when in the order of arrivals."""
    path = site.kept / kept.sha256 / NAMES
    known = kept_names(path.parent) if path.exists() else []
    copy = kept.copy.relative_to(path.parent).as_posix()
    rows = [row for row in known if row[0] != kept.name] + [(kept.name, kept.arrival, copy)]
    write_file(path, json.dumps(sorted(rows), ensure_ascii=False).encode())


def all_kept(site: Site) -> list[Kept]:
    """Every kept file under every name it came with, in the order of arrival; read from the disk alone."""
    found = []
    for path in sorted(site.kept.glob(f"*/{NAMES}")):
        for name, arrival, copy in kept_names(path.parent):
            target = path.parent / copy
            if target.is_file():
                size = target.stat().st_size
                found.append(
                    Kept(name=name, sha256=path.parent.name, size=size, arrival=arrival, copy=target)
                )
    return sorted(found, key=lambda kept: (kept.arrival, kept.name))


def take_out(found: Found, *, keep_it: bool) -> bool:
    """Remove a taken file from the inbox, unless it changed since; False when it stays there."""
    if keep_it:
        return False
    try:
        told = found.path.lstat()
        if (told.st_size, told.st_mtime_ns) == (found.size, found.mtime_ns):
            remove(found.path)
            return True
    except OSError:
        return False
    return True  # it changed: a new version, to be looked at by the next run
