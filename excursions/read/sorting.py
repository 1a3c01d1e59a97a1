"""Which file is what: exports, calibration logs, lists of samples, the register; decided by looking inside.

Only the head of a file is read.  A file that is none of these is named with the reason, never dropped in
silence; a folder of our own output (it holds ``run.json``) is left out as a whole.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE
from excursions.errors import ExcursionsError, InputFileError
from excursions.read.logs.actions import action_of, is_of_test
from excursions.read.logs.cells import Row, Sheet, member_heads, read_cells, read_head
from excursions.read.logs.forms import find_log
from excursions.read.logs.headers import fold
from excursions.read.logs.samples import sample_table
from excursions.read.logs.shaping import by_points, with_deviations
from excursions.read.logs.table import LogTable, row_times
from excursions.read.members import MARK
from excursions.read.model import ReadOptions
from excursions.read.promises import promises_readings
from excursions.read.text.fold import plain
from excursions.read.text.vocabulary import words
from excursions.read.text.words import roles_of

Found = tuple[tuple[Path, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Paths by what they hold, each in the order it was met; ignored: path and reason.

    apart : files inside archives of exports that are no exports, as ``archive.zip!member``; they are among the
        calibrations and samples too
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
            calibrations=tuple(dict.fromkeys([*map(Path, calibrations), *self.calibrations])),
            samples=tuple(dict.fromkeys([*map(Path, samples), *self.samples])),
            register=Path(register) if register else self.register,
        )


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
_LOG_NAME = re.compile(r"calib|kalib|kalibr|etalon|calibra|justier|cal[_\- ]?log|logbook|logbuch")
_SAMPLE_NAME = re.compile(
    r"sampl|preliev|\bpobor|monstername|provtagn|labor|grab|(?:^|[_\- .])lab(?:$|[_\- .])|muestra|echantillon|amostra|probenahme|handprobe"
)
_MEASURING = ("figure", "standard", "old_probe")
_MANY_STEPS = 8
# Nobody writes thirty lines by hand within minutes of one another (cp).
_QUICK, _MANY_QUICK = 10 * NS_PER_MINUTE, 30
_OUR_OUTPUT = "run.json"
_SITE = {
    "site.toml",
    "ledger.sqlite",
    "inbox",
}  # a folder of the nightly run: only what people gave it is read
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
    """The files in an archive of exports that are no exports, as ``archive.zip!member``, and their kinds."""
    if path.suffix.casefold() != ".zip" or not path.is_file():
        return []
    found = []
    for name, sheets in member_heads(path, ReadOptions()):
        stem = plain(Path(name).stem).casefold()
        kind = next(
            (
                k
                for k, fits in (("calibrations", _is_log), ("samples", _is_samples))
                if any(fits(s, stem) for s in sheets)
            ),
            "",
        )
        if kind:
            found.append((Path(f"{path}{MARK}{name}"), kind))
    return found


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
    return _by_content(path, sheets)


def _of_records(path: Path) -> str:
    """``calibrations`` or ``samples`` where a file of nested records, small enough to be seen whole, holds them; else empty."""
    if path.stat().st_size > _LARGEST_STRUCTURED:
        return ""
    try:
        sheets = read_cells(path, ReadOptions()).sheets
    except ExcursionsError:
        return ""  # the reader of exports tells what is wrong with it
    return _of_people(sheets, plain(path.stem).casefold())


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


def _by_content(path: Path, sheets: Sequence[Sheet]) -> tuple[str, str]:
    """By the headers of the first sheet that has one; the file's name decides only between two that fit."""
    name = plain(path.stem).casefold()
    if path.suffix.casefold() == ".zip" and not all(_is_log(s, name) or _is_samples(s, name) for s in sheets):
        return "export", ""  # packed with at least one export: the reader of exports tells what it is
    kind = _of_people(sheets, name)
    return (kind, "") if kind else _export_or_nothing(sheets)


def _of_people(sheets: Sequence[Sheet], name: str) -> str:
    """``calibrations``, else ``samples``, where one of the tables is such a list; else empty."""
    best = ""
    for sheet in sheets:
        samples = _is_samples(sheet, name)
        if _is_log(sheet, name) and not (samples and _tells_no_work(sheet)):
            return "calibrations"
        if samples:
            best = "samples"
    return best


def _is_log(sheet: Sheet, name: str) -> bool:
    """A log has a date and columns that only calibrations have: figures, standards, phases, actions with serials."""
    table = find_log(sheet, {})
    if table is None or _on_a_grid(table):
        return False
    table = with_deviations(by_points(table))
    kinds = [meaning.kind for meaning in table.meanings]
    measuring = sum(kind in _MEASURING for kind in kinds) + sum(
        bool(m.fixed) or (m.kind == "raw" and m.index > 0) for m in table.meanings
    )
    described = sum(kind in ("action", "phase", "probe", "comment", "point") for kind in kinds)
    phased = any(meaning.phase for meaning in table.meanings)
    found_and_left = {m.phase for m in table.meanings if m.kind in ("value", "raw", "deviation") and m.phase}
    if len(found_and_left) > 1 and described:
        return True
    described += sum(kind in ("point", "probe") for kind in table.above)
    if measuring >= 2 and (described or phased):
        return True
    if measuring and (described >= 2 or (described and any(map(is_of_test, table.headers)))):
        return True
    if "action" in kinds and ("probe" in kinds or _says_work(table)):
        return True
    return bool(_LOG_NAME.search(name)) and described >= 2


def _tells_no_work(sheet: Sheet) -> bool:
    """Whether a table names no probe, no parameter, no step and no work: samples beside what the probe read then."""
    table = find_log(sheet, {})
    done = {"figure", "probe", "old_probe", "action", "phase"}
    return table is not None and not any(m.kind in done or m.phase for m in table.meanings)


def _says_work(table: LogTable) -> bool:
    """Whether every cell of the column of actions is a word for work on a probe, beside the points it was done at."""
    if not table.columns("point"):
        return False
    said = [table.cell(row, "action") for row in table.rows]
    return any(said) and all(action_of(text) for text in said if text)


def _on_a_grid(table: LogTable) -> bool:
    """Whether many times follow one another at one small step, or nearly all within minutes: no person's log does."""
    times = row_times(table, ReadOptions(tz="UTC"), "", comma=False).time
    known = sorted({time for time in times if time is not None})
    steps = [later - earlier for earlier, later in pairwise(known)]
    if len(steps) < _MANY_STEPS:
        return False
    usual, count = Counter(steps).most_common(1)[0]
    quick = sum(step <= _QUICK for step in steps) if len(steps) >= _MANY_QUICK else 0
    return (usual <= NS_PER_HOUR and count > 0.8 * len(steps)) or quick > 0.8 * len(steps)


# Words that only people who draw or analyse samples write over a column.
_SAMPLED = re.compile(
    r"sampl|preliev|\bpobor|monstername|monsterpunt|provtagn|provpunkt|provetag|provested|provepunkt|analyte|determinand|naytteenott|\blab\b|labor|\blims\b|grab|entnahme|proben?nahme|prelev|echantillon|muestr|amostr|analyst|analist|analytik|"
    r"titrat|photomet|handmess|vergleichsmess|referenzmess|reference (?:value|meter|method)|bench"
)
_SLOW = NS_PER_HOUR  # nobody draws samples of one point more often than this for weeks (cp)
_FEWEST_TIMES, _FEW_TIMES = 6, 3
_HALF_A_SHIFT = (
    4 * NS_PER_HOUR
)  # a recorder on exception that waits so long each time records next to nothing (cp)


def _is_samples(sheet: Sheet, name: str) -> bool:
    """A list of samples has time, point and value like an export; its words, its name or its rhythm give it away."""
    table = sample_table(sheet, {})
    if (
        table is None
        or _on_a_grid(table)
        or not {"time", "clock"} & {meaning.kind for meaning in table.meanings}
    ):
        return False
    folded = " ".join(fold(header) for header in table.headers)
    titles = [
        fold(cell) for row in sheet.rows[:8] if sum(map(bool, row.cells)) == 1 for cell in row.cells if cell
    ]
    said = bool(_SAMPLED.search(" ".join([folded, *titles])))
    kinds = {meaning.kind for meaning in table.meanings}
    named = bool(_SAMPLE_NAME.search(name))
    values = "value" in kinds or ("wide" in kinds and (named or said))
    return values and (said or named or (_by_hand(table) and "value" in kinds))


def _by_hand(table: LogTable) -> bool:
    """Whether a table of points and values has the rhythm of people: hours apart, at no fixed time, no quality column."""
    kinds = {meaning.kind for meaning in table.meanings}
    judged = any("quality" in roles_of(header) for header in table.headers)
    if "point" not in kinds or not kinds & {"value_unit", "comment"} or judged:
        return False
    times = row_times(table, ReadOptions(tz="UTC"), "", comma=False).time
    by_point: dict[str, list[int]] = {}
    for row, time in zip(table.rows, times, strict=True):
        if time is not None:
            by_point.setdefault(table.cell(row, "point"), []).append(time)
    steps = [b - a for moments in by_point.values() for a, b in pairwise(sorted(moments))]
    if (
        len(steps) < _FEWEST_TIMES
    ):  # a few rows: hours between all, at no fixed distance, and no seconds as recorders have
        waits = len(steps) >= _FEW_TIMES and min(steps) > _HALF_A_SHIFT
        return waits and len(set(steps)) > 1 and not any(step % NS_PER_MINUTE for step in steps)
    if sum(step < _SLOW for step in steps) > 0.1 * len(steps):
        return False
    return Counter(steps).most_common(1)[0][1] <= 0.5 * len(steps)


def _export_or_nothing(sheets: Sequence[Sheet]) -> tuple[str, str]:
    """An export has at least two columns and a number or a time below its first row."""
    rows = [row for sheet in sheets for row in sheet.rows]
    if not any(_has_number(row) for row in rows):
        return "ignored", "no numbers in its first rows"
    if _is_table_of_events(rows):
        return "ignored", "a table of events, not of readings"
    return "export", ""


def _has_number(row: Row) -> bool:
    return any(re.search(r"\d", cell) for cell in row.cells)


def _is_table_of_events(rows: Sequence[Row]) -> bool:
    """Start and end in one row, and no column of values: truth tables, alarm lists, shift plans."""
    headers = {fold(cell) for cell in rows[0].cells}
    starts = headers & {"start", "begin", "from", "beginn", "von", "debut", "inicio"}
    ends = headers & {"end", "stop", "to", "ende", "bis", "fin", "fim"}
    values = headers & {"value", "pv", "reading", "wert", "valeur", "valor"}
    return bool(starts and ends) and not values and not _follow_one_another(rows, starts, ends)


def _follow_one_another(rows: Sequence[Row], starts: set[str], ends: set[str]) -> bool:
    """Whether each row begins where the one before it ended: the spans of averages, and no events."""
    names = [fold(cell) for cell in rows[0].cells]
    begin, end = names.index(min(starts)), names.index(min(ends))
    spans = [(row.cells[begin], row.cells[end]) for row in rows[1:] if len(row.cells) > max(begin, end)]
    joined = sum(later[0] == earlier[1] for earlier, later in pairwise(spans))
    return len(spans) > _FEWEST_TIMES and joined >= 0.8 * (len(spans) - 1)
