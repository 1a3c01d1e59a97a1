"""The ledger: one SQLite file, a checksum over its rows in every transaction, and a copy behind it.

People may read it with their own tools at any time; :data:`SCHEMA` says what every column means.
"""

from __future__ import annotations

import hashlib
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from excursions.site.durable import move_in, remove, sha256_of, sync_folder, write_file

VERSION = 1

SCHEMA = """
-- facts of the site: schema version, generations, checksum of the rows below, what the last conclusion rested on
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL);

-- every run: night counts runs, times are UTC; status is the exit status, empty while it runs or when it was cut off
CREATE TABLE nights (
  night INTEGER PRIMARY KEY, started TEXT NOT NULL, finished TEXT, status INTEGER,
  files INTEGER NOT NULL DEFAULT 0, news INTEGER NOT NULL DEFAULT 0, remarks TEXT NOT NULL DEFAULT '[]');

-- every file taken: arrival counts files in the order they came; state is in, waiting (date order open), refused
CREATE TABLE files (
  file INTEGER PRIMARY KEY, arrival INTEGER NOT NULL, name TEXT NOT NULL, sha256 TEXT NOT NULL,
  bytes INTEGER NOT NULL, kept TEXT NOT NULL, kind TEXT NOT NULL DEFAULT '', state TEXT NOT NULL,
  night INTEGER NOT NULL, rows INTEGER NOT NULL DEFAULT 0, used INTEGER NOT NULL DEFAULT 0,
  refused INTEGER NOT NULL DEFAULT 0, first INTEGER, last INTEGER, facts TEXT NOT NULL DEFAULT '{}',
  UNIQUE (sha256, name));

-- inbox files that could not be removed after they were taken: known by size and time of change
CREATE TABLE left_in_inbox (name TEXT PRIMARY KEY, bytes INTEGER NOT NULL, mtime_ns INTEGER NOT NULL);

-- every tag met: home is the point under which the archive holds it; unit as exported
CREATE TABLE tags (
  tag TEXT PRIMARY KEY, home TEXT NOT NULL, unit TEXT NOT NULL, unit_file INTEGER, description TEXT NOT NULL,
  description_file INTEGER);

-- the live parts of the archive; first and last are ns UTC, spans is JSON {tag: [first, last, rows]}
CREATE TABLE parts (
  path TEXT PRIMARY KEY, home TEXT NOT NULL, month TEXT NOT NULL, sha256 TEXT NOT NULL, bytes INTEGER NOT NULL,
  rows INTEGER NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, spans TEXT NOT NULL, looks BLOB NOT NULL);

-- events with a name that stays: event is the name, current the id in tables/events.csv of the last scan.
-- state: open, over (it ended), verified, not borne out, closed (by a person), withdrawn (later data show none)
CREATE TABLE events (
  event TEXT PRIMARY KEY, current TEXT NOT NULL, point TEXT NOT NULL, probe TEXT NOT NULL, kind TEXT NOT NULL,
  origin TEXT NOT NULL, severity TEXT NOT NULL, start INTEGER NOT NULL, end INTEGER NOT NULL,
  open_end INTEGER NOT NULL, size REAL, size_unit TEXT NOT NULL, confidence REAL NOT NULL, after TEXT NOT NULL,
  state TEXT NOT NULL, first_seen INTEGER NOT NULL, updated INTEGER NOT NULL, ended INTEGER, verified INTEGER,
  closed INTEGER);

-- what changed in which night
CREATE TABLE changes (
  number INTEGER PRIMARY KEY, night INTEGER NOT NULL, what TEXT NOT NULL, point TEXT NOT NULL, event TEXT NOT NULL,
  severity TEXT NOT NULL, before TEXT NOT NULL, after TEXT NOT NULL, sentence TEXT NOT NULL);

-- what people wrote
CREATE TABLE notes (number INTEGER PRIMARY KEY, event TEXT NOT NULL, written TEXT NOT NULL, act TEXT NOT NULL, text TEXT NOT NULL);

-- the verdict on each point, and the calibrations that are overdue, as of the last conclusion
CREATE TABLE verdicts (point TEXT PRIMARY KEY, verdict TEXT NOT NULL, since INTEGER, sentence TEXT NOT NULL);
CREATE TABLE overdue (point TEXT NOT NULL, probe TEXT NOT NULL, planned INTEGER NOT NULL, PRIMARY KEY (point, probe));

-- pages as they were last written: by which content
CREATE TABLE pages (point TEXT PRIMARY KEY, content TEXT NOT NULL);

-- digests: delivered is empty until it was handed over
CREATE TABLE digests (night INTEGER PRIMARY KEY, facts TEXT NOT NULL, delivered TEXT NOT NULL DEFAULT '');
"""

# Tables whose rows the checksum covers, with the order that makes it the same each time.
_COVERED = (
    "nights", "files", "tags", "parts", "events", "changes", "notes", "verdicts", "overdue", "pages", "digests",
)  # fmt: skip

_WRITES = re.compile(r"^\s*(?:INSERT(?: OR \w+)? INTO|UPDATE|DELETE FROM) (\w+)")


class LedgerDamagedError(Exception):
    """The ledger cannot be read, or its rows do not bear out their checksum."""


class Ledger:
    """An open ledger.  Rows are read with :meth:`rows`; they are written inside :meth:`transaction`."""

    def __init__(self, path: Path, *, write: bool = True) -> None:
        mode = "rwc" if write else "ro"
        self.path = path
        self.connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None
        )
        self.connection.row_factory = sqlite3.Row
        self.connection.execute("PRAGMA synchronous = FULL")
        if write:
            # A rollback journal, not a write-ahead log: one file that may be copied, also on network drives.
            self.connection.execute("PRAGMA journal_mode = DELETE")

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def rows(self, sql: str, values: tuple[object, ...] = ()) -> list[sqlite3.Row]:
        """All rows of a question."""
        return self.connection.execute(sql, values).fetchall()

    def meta(self, key: str) -> str:
        """One fact of the site, or an empty text."""
        found = self.rows("SELECT value FROM meta WHERE key = ?", (key,))
        return str(found[0]["value"]) if found else ""

    def set_meta(self, key: str, value: str) -> None:
        """Set one fact (inside a transaction)."""
        self.connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, value))

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing; the checksums of the tables that were written are brought up to date inside."""
        touched: set[str] = set()
        try:
            self.connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            raise OSError(f"{self.path}: {error}") from error
        self.connection.set_trace_callback(lambda sql: touched.update(_WRITES.findall(sql[:80])))
        try:
            yield self.connection
            self.connection.set_trace_callback(None)
            for table in sorted(touched & set(_COVERED)):
                self.set_meta(f"checksum {table}", self._checksum(table))
            self.set_meta("checksum", self._checksum_of_facts())
        except sqlite3.OperationalError as error:
            self.connection.set_trace_callback(None)
            self._roll_back()
            raise OSError(f"{self.path}: {error}") from error
        except BaseException:
            self.connection.set_trace_callback(None)
            self._roll_back()
            raise
        try:
            commit(self.connection)
        except sqlite3.OperationalError as error:
            self._roll_back()
            raise OSError(f"{self.path}: {error}") from error

    def _roll_back(self) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")

    def _checksum(self, table: str) -> str:
        total = hashlib.blake2b(digest_size=16)
        cursor = self.connection.cursor()
        cursor.row_factory = None
        for row in cursor.execute(f"SELECT * FROM {table} ORDER BY 1, 2"):
            total.update(_plain(row))
        return total.hexdigest()

    def _checksum_of_facts(self) -> str:
        """Over all facts of the site, the checksums of the tables among them."""
        rows = self.rows("SELECT * FROM meta WHERE key != 'checksum' ORDER BY key")
        words = repr([tuple(row) for row in rows]).encode("utf-8", errors="surrogatepass")
        return hashlib.blake2b(words, digest_size=16).hexdigest()

    def check(self) -> None:
        """Raise :class:`LedgerDamagedError` unless the file is sound and its rows bear out their checksum."""
        try:
            told = self.rows("PRAGMA quick_check")[0][0]
            if told != "ok":
                raise LedgerDamagedError(str(told))
            if self.meta("schema") != str(VERSION):
                raise LedgerDamagedError(f"schema {self.meta('schema') or 'missing'}, expected {VERSION}")
            if self.meta("checksum") != self._checksum_of_facts():
                raise LedgerDamagedError("its facts do not bear out their checksum")
            for table in _COVERED:
                if self.meta(f"checksum {table}") != self._checksum(table):
                    raise LedgerDamagedError(f"the rows of {table} do not bear out their checksum")
        except (sqlite3.DatabaseError, UnicodeError) as error:
            raise LedgerDamagedError(str(error)) from error

    def copy_to(self, path: Path) -> None:
        """Write a copy behind the ledger, whole or not at all, with its SHA-256 beside it."""
        temporary = path.with_name(f".part-{path.name}")
        remove(temporary)
        target = sqlite3.connect(temporary)
        try:
            self.connection.backup(target)
        finally:
            target.close()
        with temporary.open("rb+") as file:
            flush(file.fileno())
        temporary.chmod(0o640)
        digest = sha256_of(temporary)
        move_in(temporary, path)
        write_file(path.with_suffix(".sha256"), digest.encode())


def _plain(row: tuple[object, ...]) -> bytes:
    """A row as the checksum sees it: values in writing, each with a nul behind it; a blob, which only stands last, as it is."""
    blob = row[-1] if isinstance(row[-1], bytes) else b""
    words = row[:-1] if isinstance(row[-1], bytes) else row
    return "".join([f"{value!r}\0" for value in words]).encode("utf-8", errors="surrogatepass") + blob


def flush(handle: int) -> None:
    """Flush an open file to the disk."""
    import os

    os.fsync(handle)


def commit(connection: sqlite3.Connection) -> None:
    """The moment from which a transaction counts."""
    connection.execute("COMMIT")


def open_ledger(path: Path) -> Ledger:
    """Open the ledger, or begin an empty one where there is none.

    Raises
    ------
    LedgerDamagedError
        If it is there and not sound.
    """
    fresh = not path.exists() or path.stat().st_size == 0
    ledger: Ledger | None = None
    try:
        ledger = Ledger(path)
        if fresh or not ledger.rows("SELECT name FROM sqlite_master LIMIT 1"):
            _begin(ledger)
        ledger.check()
        return ledger
    except sqlite3.DatabaseError as error:
        if ledger is not None:
            ledger.close()
        if isinstance(error, sqlite3.OperationalError) and _is_of_the_disk(error):
            raise OSError(f"{path}: {error}") from error
        raise LedgerDamagedError(str(error)) from error
    except LedgerDamagedError:
        if ledger is not None:
            ledger.close()
        raise


def _is_of_the_disk(error: sqlite3.OperationalError) -> bool:
    """Faults that speak of the disk or of rights, not of the file's content."""
    words = str(error)
    return any(part in words for part in ("disk is full", "readonly", "unable to open", "disk I/O", "locked"))


def _begin(ledger: Ledger) -> None:
    with ledger.transaction() as connection:
        for statement in SCHEMA.split(";\n"):
            if statement.strip():
                connection.execute(statement)
        ledger.set_meta("schema", str(VERSION))
        for table in _COVERED:
            ledger.set_meta(f"checksum {table}", ledger._checksum(table))
    ledger.path.chmod(0o640)
    sync_folder(ledger.path.parent)


def copy_is_sound(path: Path) -> bool:
    """Whether the copy behind the ledger is what was written."""
    told = path.with_suffix(".sha256")
    return path.exists() and told.exists() and sha256_of(path) == told.read_text().strip()
