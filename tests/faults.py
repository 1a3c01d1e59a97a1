"""Faults on purpose: a process that kills itself, loses power, or runs out of disk at a chosen write boundary.

A boundary lies before and after each call that changes the disk: creating a file, flushing, renaming, deleting,
making a folder, committing to the ledger.  Trials run in forked children of a process that has imported everything
and computed nothing, so that each costs its own work alone.
"""

from __future__ import annotations

import errno
import json
import os
import random
import shutil
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

KILL, POWER, FULL, READ_ONLY, DENIED = "kill", "power", "full", "read-only", "denied"
_ERRORS = {FULL: errno.ENOSPC, READ_ONLY: errno.EROFS, DENIED: errno.EACCES}


@dataclass
class Faults:
    """Counts boundaries; at number `at` the fault strikes (0: never).

    Power that fails takes back what was not flushed: files lose their second half, renames and deletions whose
    folder was not flushed never happened.
    """

    mode: str
    at: int
    count: int = 0
    unflushed: dict[str, str] = field(default_factory=dict)
    renamed: dict[str, bytes | None] = field(default_factory=dict)
    deleted: dict[str, bytes] = field(default_factory=dict)
    trace: list[str] = field(default_factory=list)

    def boundary(self, what: str) -> None:
        """One more boundary."""
        self.count += 1
        self.trace.append(what)
        if not self.at:
            return
        if self.mode in (KILL, POWER) and self.count == self.at:
            if self.mode == POWER:
                self._lose_power()
            os.kill(os.getpid(), signal.SIGKILL)
        if self.mode in _ERRORS and self.count >= self.at and not what.endswith(("unlink", "after")):
            raise OSError(_ERRORS[self.mode], os.strerror(_ERRORS[self.mode]))

    def _lose_power(self) -> None:
        for path in self.unflushed:
            if os.path.exists(path):
                os.truncate(path, os.path.getsize(path) // 2)
        for path, before in self.renamed.items():
            if before is None:
                _REAL["unlink"](path) if os.path.exists(path) else None
            else:
                Path(path).write_bytes(before)
        for path, content in self.deleted.items():
            if os.path.isdir(os.path.dirname(path)) and not os.path.exists(path):
                Path(path).write_bytes(content)


_REAL: dict[str, Any] = {
    name: getattr(os, name) for name in ("open", "fsync", "replace", "unlink", "mkdir", "remove", "rename")
}


@contextmanager
def struck(faults: Faults) -> Iterator[Faults]:
    """Wrap what changes the disk while inside."""
    from excursions.site import ledger

    commit = ledger.commit

    def wrapped(name: str, before: Callable[..., None], after: Callable[..., None]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            if name == "open" and not arguments[1] & os.O_CREAT:
                return _REAL[name](*arguments, **named)
            faults.boundary(f"{name}")
            before(*arguments)
            done = _REAL[name](*arguments, **named)
            after(done, *arguments)
            faults.boundary(f"{name} after")
            return done

        return call

    def opened(handle: int, path: Any, *_: Any) -> None:
        faults.unflushed[os.fspath(path)] = ""

    def flushed(_: Any, handle: int) -> None:
        path = os.readlink(f"/proc/self/fd/{handle}")
        faults.unflushed.pop(path, None)
        if os.path.isdir(path):
            for kept in (faults.renamed, faults.deleted):
                for name in [name for name in kept if os.path.dirname(name) == path]:
                    del kept[name]  # type: ignore[attr-defined]

    def renaming(source: Any, target: Any, *_: Any) -> None:
        name = os.fspath(target)
        faults.renamed.setdefault(name, Path(name).read_bytes() if os.path.exists(name) else None)
        if os.fspath(source) in faults.unflushed:
            faults.unflushed[name] = faults.unflushed.pop(os.fspath(source))

    def deleting(path: Any, *_: Any, **__: Any) -> None:
        name = os.fspath(path)
        if os.path.isfile(name):
            faults.deleted[name] = Path(name).read_bytes()

    def nothing(*_: Any, **__: Any) -> None:
        return None

    def committing(connection: Any) -> None:
        faults.boundary("commit")
        commit(connection)
        faults.boundary("commit after")

    os.open = wrapped("open", nothing, opened)  # type: ignore[assignment]
    os.fsync = wrapped("fsync", nothing, flushed)
    os.replace = wrapped("replace", renaming, nothing)
    os.unlink = wrapped("unlink", deleting, nothing)
    os.mkdir = wrapped("mkdir", nothing, nothing)
    ledger.commit = committing
    try:
        yield faults
    finally:
        ledger.commit = commit
        for name, real in _REAL.items():
            setattr(os, name, real)


@dataclass(frozen=True)
class Ended:
    """How a child ended: killed by a signal, or with an answer."""

    signal: int
    answer: Any = None
    seconds: float = 0.0


def in_child(work: Callable[[], Any], *, kill_after: float | None = None) -> Ended:
    """Run in a forked child; its return value comes back as JSON.  `kill_after` seconds it is killed from outside."""
    reading, writing = os.pipe()
    begun = time.monotonic()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(reading)
            with os.fdopen(writing, "w") as pipe:
                json.dump(work(), pipe)
            status = 0
        except BaseException as error:
            os.write(2, f"child: {type(error).__name__}: {error}\n".encode())
        finally:
            os._exit(status)
    os.close(writing)
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading) as pipe:
        text = pipe.read()
    _, status = os.waitpid(child, 0)
    seconds = time.monotonic() - begun
    if os.WIFSIGNALED(status):
        return Ended(os.WTERMSIG(status), None, seconds)
    if os.WEXITSTATUS(status):
        raise RuntimeError("a trial did not come to its end")
    return Ended(0, json.loads(text), seconds)


# --- a site to try them on -----------------------------------------------------------------------------------------


def prepare(place: Path) -> dict[str, Any]:
    """A site after one night, with a second night's files in the inbox, and what that night must come to."""
    from tests import sites

    whole = sites.readings(12.0)
    site = sites.new_site(place / "base")
    (place / "calibration_log.csv").write_text(sites.LOG)
    sites.drop(site, [sites.write_export(sites.piece(whole, 0, 7), place / "a.csv")])
    _night(site.root)
    event = sites.ledger_rows(site, "SELECT event FROM events ORDER BY event LIMIT 1")[0][0]
    from excursions.site.acts import note

    note(site.root, str(event), "looked at", now_ns=sites.NOW)
    sites.drop(site, [
        sites.write_export(sites.piece(whole, 6, 12), place / "b.csv"), place / "calibration_log.csv",
        sites.write_export(sites.piece(whole, 3, 4), place / "c.csv"),
    ])  # fmt: skip
    shutil.copytree(site.root, place / "clean", symlinks=True)
    _night(place / "clean")
    return fingerprint(place / "clean")


def _night(root: Path, *, later_ns: int = 0) -> int:
    from excursions.report.write import write_whole
    from excursions.site.nightly import nightly
    from tests.sites import NOW

    def pages(result: Any, out: Path, only: frozenset[str]) -> None:
        write_whole(out / "index.html", f"{len(result.points)} points".encode())

    return nightly(root, now_ns=NOW + later_ns, pages=pages).status


def faulted_night(root: Path, mode: str, at: int) -> dict[str, Any]:
    """One night with a fault; in a child."""
    from excursions.errors import ExcursionsError

    with struck(Faults(mode, at)) as faults:
        try:
            _night(root)
            ended = "done"
        except ExcursionsError as error:
            ended = f"refused: {error}"
        except OSError as error:
            ended = f"failed: {error}"
    return {"ended": ended, "boundaries": faults.count, "trace": faults.trace}


# --- faults that no write boundary knows ---------------------------------------------------------------------------

CLOCK, TWICE, GROWING, ARCHIVE, LEDGER = "clock", "twice", "growing", "archive", "ledger"
# A file taken half is a version of its own, so only what is made of all files can be the same as without it.
OF_ALL_FILES = ("tables", "sound", "strangers", "unfinished", "inbox", "notes")


def around_night(root: Path, mode: str, draw: random.Random) -> bool:
    """One night during or before which something happens around it; whether it happened."""
    if mode == CLOCK:
        in_child(lambda: _night(root, later_ns=-round(draw.uniform(1, 400) * 86_400e9)))
        return True
    if mode == TWICE:
        return bool(in_child(lambda: _two_nights(root)).answer)
    if mode == GROWING:
        return bool(in_child(lambda: _night_while_written(root, draw)).answer)
    if mode == ARCHIVE:
        return _damaged(draw.choice(sorted((root / "archive").rglob("*.parquet"))), draw)
    return _damaged(root / "ledger.sqlite", draw)


def _damaged(path: Path, draw: random.Random) -> bool:
    """Delete a file, cut it, empty it, or turn some of its bytes."""
    content = bytearray(path.read_bytes())
    way = draw.randrange(4)
    if way == 0:
        path.unlink()
    elif way == 1:
        path.write_bytes(content[: draw.randrange(1, len(content))])
    elif way == 2:
        path.write_bytes(b"")
    else:
        for at in (draw.randrange(len(content)) for _ in range(4)):
            content[at] ^= 1 + draw.randrange(255)
        path.write_bytes(content)
    return True


def _two_nights(root: Path) -> bool:
    """Two runs at once; whether one of them met the other."""
    from excursions.site.lock import SiteBusyError

    child = os.fork()
    status = 0
    try:
        _night(root)
    except SiteBusyError:
        status = 3
    if child == 0:
        os._exit(status)
    return 3 in (status, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))


def _night_while_written(root: Path, draw: random.Random) -> bool:
    """A night while a file of its inbox is being written; the writer goes on to the file's end."""
    path = root / "inbox" / "b.csv"
    content = path.read_bytes()
    told = path.stat()
    cuts = [0, *sorted(draw.randrange(len(content)) for _ in range(20)), len(content)]
    path.write_bytes(b"")
    child = os.fork()
    if child == 0:
        for start, end in pairwise(cuts):
            with path.open("ab") as file:
                file.write(content[start:end])
            time.sleep(draw.uniform(0.0, 0.05))
        os._exit(0)
    _night(root)
    os.waitpid(child, 0)
    path.write_bytes(
        content
    )  # where the half that was there has been taken away, the writer's next try brings it whole
    os.utime(path, ns=(told.st_atime_ns, told.st_mtime_ns))
    return True


def clean_night(root: Path) -> dict[str, Any]:
    """A night without fault after it, and what the site then holds; in a child."""
    _night(root)
    return fingerprint(root)


def fingerprint(root: Path) -> dict[str, Any]:
    """Everything that must be the same whatever happened on the way: nothing lost, nothing doubled, nothing left."""
    from excursions.site.durable import sha256_of
    from excursions.site.layout import Site
    from tests import sites

    site = Site(root)
    parts = sites.ledger_rows(site, "SELECT path, sha256, rows FROM parts ORDER BY path")
    digests = [
        json.loads(str(row[0])) for row in sites.ledger_rows(site, "SELECT facts FROM digests ORDER BY night")
    ]
    told = sorted(
        json.dumps([heading, row], sort_keys=True)
        for facts in digests
        for heading, rows in facts["news"].items()
        for row in rows
    )
    tables = {p.name: sha256_of(p) for p in sorted((root / "reports" / "tables").iterdir())}
    return {
        "tables": {name: digest for name, digest in tables.items() if not name.startswith("changes.")},
        "lately": {name: digest for name, digest in tables.items() if name.startswith("changes.")},
        "run": sha256_of(root / "reports" / "run.json"),
        "page": sha256_of(root / "reports" / "index.html"),
        "parts": [list(row) for row in parts],
        "sound": all(sha256_of(root / str(row[0])) == row[1] for row in parts),
        "strangers": sorted(
            str(p.relative_to(root)) for p in root.rglob("*.parquet")
            if p.parts[len(root.parts)] == "archive" and str(p.relative_to(root)) not in {row[0] for row in parts}
        ),
        "unfinished": sorted(p.name for p in root.rglob(".*part-*")),
        "inbox": sorted(p.name for p in (root / "inbox").iterdir()),
        "files": [list(r) for r in sites.ledger_rows(site, "SELECT name, sha256, kind, state, rows, used FROM files ORDER BY name, sha256")],
        "kept": sorted(p.name for p in root.glob("kept/*/*") if p.name != "names.json"),
        "events": [list(r) for r in sites.ledger_rows(site, "SELECT event, current, kind, state, severity, after FROM events ORDER BY event")],
        "changes": sorted(list(map(str, r)) for r in sites.ledger_rows(site, "SELECT what, point, event, severity, before, after FROM changes")),
        "told": told,
        "notes": [list(r) for r in sites.ledger_rows(site, "SELECT event, act, text FROM notes")],
    }  # fmt: skip


def difference(
    found: dict[str, Any], expected: dict[str, Any], keys: Iterable[str] | None = None
) -> list[str]:
    """In which ways two fingerprints differ."""
    return [
        f"{key}: {found[key]} instead of {expected[key]}"
        for key in keys or expected
        if found[key] != expected[key]
    ]
