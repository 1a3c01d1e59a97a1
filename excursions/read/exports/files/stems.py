"""What the name of a file, a sheet or a folder calls a signal: without the time it covers."""

from __future__ import annotations

import re
from pathlib import Path

ENDINGS = (
    ".gz", ".zst", ".xz", ".bz2", ".zip", ".tar", ".tgz", ".csv", ".txt", ".tsv", ".parquet", ".json", ".jsonl", ".ndjson", ".log", ".xlsx", ".arrow",
    ".feather", ".dat", ".prn", ".asc", ".ipc", ".xls", ".ods", ".xlsm", ".xlsb", ".db", ".sqlite", ".sqlite3", ".zstd", ".xml", ".yaml", ".yml", ".html",
    ".htm", ".ini", ".md", ".dbf", ".lst",
)  # fmt: skip
_DAY, _MONTH = r"(?:0[1-9]|[12]\d|3[01])", r"(?:0[1-9]|1[0-2])"
_CLOCK = r"(?:[T _\-.](?:[01]\d|2[0-4])[-_.:h]?[0-5]\d(?:[-_.:m]?[0-5]\d)?Z?)?"
_SPAN = (
    rf"(?:20\d\d([-_.]?){_MONTH}\1{_DAY}{_CLOCK}|20\d\d[-_.]{_MONTH}|{_DAY}[-_.]{_MONTH}[-_.]20\d\d{_CLOCK}|{_DAY}{_MONTH}20\d\d"
    r"|20\d\d[-_. ]?(?:W|KW|CW|Q)\d{1,2})"
)
# A date stands at an end of the name or between marks; "AI_2024" is the number of an instrument, and no year.
_DATED = re.compile(rf"(?i)(?:(?<=^)|(?<=[ _\-.(\[])){_SPAN}(?=$|[ _\-.)\]])")
_ONLY_TIME = re.compile(r"(?i)(?:20\d\d|20\d\d(?:0[1-9]|1[0-2])|\d{1,2})?")
_JOINED = re.compile(
    r"(?i)[ _\-.]*(?:(?<![^\W_])(?:from|to|bis|von|until|till|au|du|al|del|dal|a|tot|van|ab|seit|since|through|thru)(?![^\W_])[ _\-.]*)*"
)
_MARKS = " _-.()[]"
_FOLDER = re.compile(r"(?i)(?:tag|tag_?name|tag_?id|point|signal|series|name|channel|messstelle)=(.+)")


def without_endings(name: str) -> str:
    """A name of a file without its endings, packed ones too."""
    stem = name
    for ending in ENDINGS:
        if stem.lower().endswith(ending):
            stem = stem[: -len(ending)]
    return stem or name


def signal_of(stem: str) -> str:
    """A stem without dates and spans of time; empty where nothing else is in it."""
    if _ONLY_TIME.fullmatch(stem.strip(_MARKS)):
        return ""
    if folder := _FOLDER.fullmatch(stem):
        return folder[1]
    parts = _DATED.split(stem)[::2]  # every second part is the mark that the pattern remembers
    if len(parts) == 1:
        return stem
    kept = []
    for number, part in enumerate(parts):
        begin = _JOINED.match(part) if number else None
        text = part[begin.end() :] if begin else part
        if number < len(parts) - 1:
            text = re.sub(_JOINED.pattern + "$", "", text.rstrip(_MARKS)) if text.strip(_MARKS) else ""
        kept.append(text.strip(" _-."))
    name = " ".join(filter(None, kept)).strip(_MARKS)
    return "" if _ONLY_TIME.fullmatch(name) else name


def signal_name(path: str) -> str:
    """What a signal without a name is called: after its file or sheet, or what holds it where that is but a date.

    path : ``folder/export.zip!line 1/AT-101/2025-03.csv``
    """
    if folder := next(filter(None, (_FOLDER.fullmatch(step) for step in Path(path).parts[:-1])), None):
        return folder[1]
    outer, *inner = path.split("!")
    steps = [*reversed([step for part in inner for step in Path(part).parts]), *reversed(Path(outer).parts)]
    stems = [without_endings(step) for step in steps]
    return next((name for stem in stems[:_HIGHEST] if (name := signal_of(stem))), stems[0] if stems else path)


_HIGHEST = 4
