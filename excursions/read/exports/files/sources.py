"""From paths to items: files, folders, patterns, standard input, Parquet data sets on disk or in object storage."""

from __future__ import annotations

import hashlib
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import BinaryIO, cast

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.exports.files.stems import signal_name
from excursions.records import Decision

# What lies beside exports in a folder and is none.  A file the user names is always tried.
_NO_EXPORT_ENDINGS = (
    ".md .toml .html .htm .yaml .yml .ini .cfg .pdf .png .jpg .jpeg .gif .svg .py .js .css .exe .dll .docx .pptx .doc "
    ".bak .tmp .sha256 .md5 .lock .crc"
)
_NO_EXPORTS = frozenset(_NO_EXPORT_ENDINGS.split())
_REMOTE = re.compile(r"^(s3|s3a|gs|gcs|az|azure|abfss?|adl|https?|hf|file):/+(?=[^/])")
_PARTITION = re.compile(r"^[^=/]+=[^/]*$")


@dataclass(slots=True)
class Item:
    """One thing to read: a file, a partitioned data set (folder) or a remote object.

    name : as the user gave it, or the path found under the folder they gave
    kind : ``file``, ``dataset`` or ``remote``
    """

    path: Path
    name: str
    kind: str = "file"
    size: int = 0
    parts: tuple[Path, ...] = ()
    _known: str = ""
    _future: Future[str] | None = field(default=None, repr=False)

    @property
    def sha256(self) -> str:
        """Digest of the content; of a data set, of its parts' names and digests; empty for remote objects."""
        if not self._known and self.kind != "remote":
            self._known = self._future.result() if self._future else _digest(self.path, self.parts)
        return self._known

    def digest_is(self, sha256: str) -> None:
        """Take over a digest that was worked out on the way."""
        self._known = sha256

    def digest_aside(self) -> None:
        """Work the digest out beside the reading: it takes as long as a good part of it.

        In a thread that ends with the process: one that is waited for would hold up an interrupted command for ever.
        """
        if self._future is None:
            told: Future[str] = Future()
            Thread(target=_settle, args=(told, self.path, self.parts), daemon=True, name="digest").start()
            self._future = told

    def stem(self, name: str) -> str:
        """What a signal of this table is called where nothing in the table names it."""
        return signal_name(name)


def _settle(told: Future[str], path: Path, parts: tuple[Path, ...]) -> None:
    try:
        told.set_result(_digest(path, parts))
    except Exception as error:  # whoever asks for the result gets it
        told.set_exception(error)


def _digest(path: Path, parts: tuple[Path, ...]) -> str:
    if not parts:
        with path.open("rb") as raw:
            return hashlib.file_digest(cast(BinaryIO, raw), "sha256").hexdigest()  # type: ignore[arg-type]
    return digest_of_set(path, [(part, _digest(part, ())) for part in parts])


def digest_of_set(path: Path, parts: Sequence[tuple[Path, str]]) -> str:
    """SHA-256 of a data set from those of its parts, under their names within it."""
    total = hashlib.sha256()
    for part, one in parts:
        total.update(f"{part.relative_to(path).as_posix()} {one}\n".encode())
    return total.hexdigest()


def find_items(
    paths: Sequence[Path], problems: list[ExcursionsError], decisions: list[Decision]
) -> Iterator[Item]:
    """Everything the paths lead to, once, in the order given (folders in the order of names)."""
    seen: set[Path] = set()
    for path in paths:
        try:
            for item in _expand(str(path), decisions):
                key = item.path if item.kind == "remote" else item.path.resolve()
                if key not in seen:
                    seen.add(key)
                    yield item
        except InputFileError as error:
            problems.append(error.at(file=str(path)))


def _expand(text: str, decisions: list[Decision]) -> Iterator[Item]:
    path = Path(text)
    if text == "-":
        yield _standard_input()
    elif match := _REMOTE.match(text):
        url = f"{match[1]}://{'/' if match[1] == 'file' else ''}{text[match.end() :]}"
        yield Item(path=path, name=url, kind="remote")
    elif path.is_dir():
        yield from _folder(path, decisions)
    elif not path.exists() and any(mark in text for mark in "*?["):
        found = sorted(_glob(path))
        if not found:
            raise InputFileError(
                found="no file that fits the pattern",
                expected="at least one",
                mend="check the folder and the pattern",
            )
        for each in found:
            yield from _folder(each, decisions) if each.is_dir() else iter([_file(each)])
    else:
        yield _file(path)


def _file(path: Path) -> Item:
    return Item(path=path, name=str(path))


def _glob(path: Path) -> list[Path]:
    anchor = Path(path.anchor) if path.is_absolute() else Path()
    pattern = str(path.relative_to(path.anchor)) if path.is_absolute() else str(path)
    try:
        return list(anchor.glob(pattern))
    except (ValueError, NotImplementedError, OSError):
        return []


def _folder(path: Path, decisions: list[Decision]) -> Iterator[Item]:
    """Files below a folder; a data set partitioned by folders (``tag=AT-101/...``) is one item."""
    found = sorted(p for p in path.rglob("*") if p.is_file() and not p.name.startswith((".", "_", "~$")))
    parts = [p for p in found if any(_PARTITION.match(step) for step in p.relative_to(path).parts[:-1])]
    if parts and all(p.suffix in (".parquet", ".pq") for p in parts):
        yield Item(
            path=path,
            name=str(path),
            kind="dataset",
            parts=tuple(parts),
            size=sum(p.stat().st_size for p in parts),
        )
        found = [p for p in found if p not in set(parts)]
    left_out = [p for p in found if p.suffix.lower() in _NO_EXPORTS]
    if left_out:
        names = ", ".join(p.name for p in left_out[:8]) + (" and more" if len(left_out) > 8 else "")
        decisions.append(
            Decision(
                subject=str(path),
                what=f"files left out: {names}",
                why="their endings are not those of exports",
                option="name the file itself",
            )
        )
    for each in found:
        if each not in left_out:
            yield _file(each)
    if not found and not parts:
        raise InputFileError(
            found="a folder without files",
            expected="exports",
            mend="check the name of the folder",
            file=str(path),
        )


def _standard_input() -> Item:
    """Standard input, kept in an unnamed file: a table is looked at more than once."""
    spool = tempfile.NamedTemporaryFile(prefix="excursions-stdin-", delete=True)  # noqa: SIM115 - lives as long as the item
    shutil.copyfileobj(sys.stdin.buffer, spool)
    spool.flush()
    item = Item(path=Path(spool.name), name="-")
    _SPOOLS.append(spool)
    return item


_SPOOLS: list[object] = []  # keeps spooled standard input alive until the process ends
