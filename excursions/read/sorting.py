"""Which file is what: exports, calibration logs, lists of samples, the register; decided by looking inside.

Only the head of a file is read.  A file that is none of these is named with the reason, never dropped in
silence; a folder of our own output (it holds ``run.json``) is left out as a whole.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.bycontent import by_content, of_people
from excursions.read.logs.cells import member_heads, read_cells, read_head
from excursions.read.members import MARK, is_book
from excursions.read.model import ReadOptions
from excursions.read.promises import promises_readings
from excursions.read.text.fold import plain
from excursions.read.text.vocabulary import words

Found = tuple[tuple[Path, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Paths by what they hold, each in the order it was met; ignored: path and reason.

    apart : files inside archives of exports, and sheets of workbooks, that are no exports, as ``archive.zip!member``;
        they are among the calibrations and samples too
    """

    exports: tuple[Path, ...] = ()
    calibrations: tuple[Path, ...] = ()
    samples: tuple[Path, ...] = ()
    register: Path | None = None
    ignored: Found = ()
    apart: frozenset[str] = frozenset()

    def with_stated(
        self,
        calibrations: Sequence[Path | str],
        samples: Sequence[Path | str],
        register: Path | str | None,
    ) -> Inputs:
        """These inputs with those that were stated: on top of what folders hold, a register in place of a found one."""
        return replace(
            self,
            calibrations=self._stated(calibrations, self.calibrations),
            samples=self._stated(samples, self.samples),
            register=Path(register) if register else self.register,
        )

    def _stated(self, stated: Sequence[Path | str], found: tuple[Path, ...]) -> tuple[Path, ...]:
        """Stated files before found ones; of one that was found to hold several things, what is of this kind."""
        chosen: list[Path] = []
        for path in map(Path, stated):
            inside = [at for at in found if str(at) in self.apart and str(at).startswith(f"{path}{MARK}")]
            chosen += inside or [path]
        return tuple(dict.fromkeys([*chosen, *found]))


_NO_DATA = words(
    ".rst .pdf .png .jpg .jpeg .gif .svg .py .pyc .ipynb .cfg .doc .docx .ppt "
    ".pptx .js .css .sh .bat .exe .lock .tmp .bak .sha256 .md5"
)
_TABLES = words(
    ".csv .tsv .parquet .pq .xlsx .xls .xlsm .xlsb .ods .arrow .feather .sqlite .db .dbf .zip .gz .zst .xz"
)
# An export, or what a program or a person says of itself.
_PERHAPS = words(".log .json .jsonl .ndjson .xml .fods .html .htm .yaml .yml .ini .md")
_STRUCTURED = words(".json .xml .yaml .yml")
_LARGEST_STRUCTURED = 2**20  # bytes; people make thousands of entries, not millions
_OUR_OUTPUT = "run.json"
# A folder of the nightly run: only what people gave it is read.
_SITE = {"site.toml", "ledger.sqlite", "inbox"}
_GIVEN_TO_SITE = {"inbox", "kept", "register.toml"}


def sort_out(paths: Sequence[Path]) -> Inputs:
    """Sort files and folders into exports, calibration logs, samples and the register.

    Parameters
    ----------
    paths : sequence of Path
        Files as the user gave them, or folders, which are walked in the order of names.  A file that was
        given by name and is no log, list or register is taken as an export, so that its own fault is told.

    Returns
    -------
    Inputs
        With the first register met; a second one is listed as ignored.
    """
    sorted_: dict[str, list[Path]] = {"export": [], "calibrations": [], "samples": [], "register": []}
    ignored: list[tuple[Path, str]] = []
    apart: list[str] = []
    seen: set[Path] = set()
    for path, named in _walk(paths, ignored):
        if path in seen:
            continue
        seen.add(path)
        kind, reason = classify(path)
        if kind == "ignored" and named:
            kind = "export"
        if kind == "ignored":
            ignored.append((path, reason))
        else:
            sorted_[kind].append(path)
        for inside, held in packed_apart(path) if kind == "export" else ():
            sorted_[held].append(inside)
            apart.append(str(inside))
    registers = sorted_["register"]
    ignored += [(path, f"a second register; {registers[0].name} is used") for path in registers[1:]]
    return Inputs(
        exports=tuple(sorted_["export"]),
        calibrations=tuple(sorted_["calibrations"]),
        samples=tuple(sorted_["samples"]),
        register=registers[0] if registers else None,
        ignored=tuple(ignored),
        apart=frozenset(apart),
    )


def packed_apart(path: Path) -> list[tuple[Path, str]]:
    """The files in an archive of exports, or the sheets of a workbook, that are no exports, as ``archive.zip!member``, and their kinds."""
    if not (path.suffix.casefold() == ".zip" or is_book(path)) or not path.is_file():
        return []
    try:
        held = [
            (n, of_people(s, plain(Path(n).stem).casefold())) for n, s in member_heads(path, ReadOptions())
        ]
    except ExcursionsError:
        return []  # the reader of exports tells what is wrong with it
    return [(Path(f"{path}{MARK}{name}"), kind) for name, kind in held if kind]


def _walk(paths: Sequence[Path], ignored: list[tuple[Path, str]]) -> Iterator[tuple[Path, bool]]:
    """Files in order, and whether the user named them; hidden files and our own output are passed by."""
    for path in paths:
        for each in _expanded(path):
            if each.is_dir():
                yield from ((inside, False) for inside in _inside(each, ignored))
            else:
                yield each, True


def _expanded(path: Path) -> list[Path]:
    """What a pattern with ``*`` fits, in the order of names; anything else as it stands, so that its fault is told."""
    if path.exists() or not any(mark in str(path) for mark in "*?["):
        return [path]
    try:
        found = sorted(Path(path.anchor or ".").glob(str(path.relative_to(path.anchor))))
    except (ValueError, NotImplementedError, OSError):
        return [path]
    return found or [path]


def _inside(folder: Path, ignored: list[tuple[Path, str]]) -> Iterator[Path]:
    if (folder / _OUR_OUTPUT).is_file():
        ignored.append((folder, "a folder of results"))
        return
    if _is_partitioned(folder):
        yield folder
        return
    held = sorted(folder.iterdir(), key=lambda p: p.name)
    if {path.name for path in held} >= _SITE:
        ignored += [(path, "a site's own book-keeping") for path in held if path.name not in _GIVEN_TO_SITE]
        held = [path for path in held if path.name in _GIVEN_TO_SITE]
    for path in held:
        if path.name.startswith((".", "~$", "__")):
            continue
        if path.is_dir() and not path.is_symlink():
            yield from _inside(path, ignored)
        elif path.is_file():
            yield path


def _is_partitioned(folder: Path) -> bool:
    """Whether a folder is a Parquet data set cut by folders named ``key=value``: one export as a whole."""
    steps = [path for path in folder.iterdir() if path.is_dir() and "=" in path.name]
    return any(next(step.rglob("*.parquet"), None) or next(step.rglob("*.pq"), None) for step in steps)


def classify(path: Path) -> tuple[str, str]:
    """What one file holds: ``export``, ``calibrations``, ``samples``, ``register`` or ``ignored``, and why."""
    suffix = path.suffix.casefold()
    if path.is_dir():
        return "export", ""
    if suffix == ".toml":
        return _register(path)
    if suffix in _NO_DATA:
        return "ignored", f"a {suffix} file holds no readings"
    if suffix in _PERHAPS:
        if suffix in _STRUCTURED and (kind := _of_records(path)):
            return kind, ""
        return (
            ("export", "")
            if promises_readings(path)
            else ("ignored", "no table of readings in its first lines")
        )
    try:
        sheets = read_head(path, ReadOptions())
    except ExcursionsError as error:
        told = _is_container(error) or _named_like_a_table(path)
        return ("export", "") if told else ("ignored", error.found)
    if not sheets:
        return ("export", "") if _named_like_a_table(path) else ("ignored", "it is empty")
    return by_content(path, sheets)


def _of_records(path: Path) -> str:
    """``calibrations`` or ``samples`` where a file of nested records, small enough to be seen whole, holds them; else empty."""
    if path.stat().st_size > _LARGEST_STRUCTURED:
        return ""
    try:
        sheets = read_cells(path, ReadOptions()).sheets
    except ExcursionsError:
        return ""  # the reader of exports tells what is wrong with it
    return of_people(sheets, plain(path.stem).casefold())


def _named_like_a_table(path: Path) -> bool:
    """Whether the name promises a table: then what keeps it from being read is the reader's to tell."""
    return bool(_TABLES & {suffix.casefold() for suffix in path.suffixes})


def _is_container(error: ExcursionsError) -> bool:
    """Kinds of file that only the reading of exports can open (archives, data bases)."""
    return isinstance(error, InputFileError) and error.column == "container"


def _register(path: Path) -> tuple[str, str]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig", errors="replace"))
    except (tomllib.TOMLDecodeError, OSError):
        return "register", "a TOML file that does not parse; the reader says where"
    ours = {"plant", "points", "point", "probes", "installations", "quality_words"}
    if ours & set(content):
        return "register", ""
    return "ignored", "a TOML file without points, probes or installations"
