"""A register file as checked values with lines: decoding, parsing and the collector of faults."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from excursions.errors import RegisterError, did_you_mean
from excursions.register._fields import Field, Wrong
from excursions.register._lines import Path as KeyPath
from excursions.register._lines import line_of
from excursions.register._problems import RegisterProblems, collect

_MAX_SYNTAX_FAULTS = 20


@dataclass
class Reader:
    """Values of one register with the line each stands on, and the faults found so far."""

    file: str
    lines: dict[KeyPath, int]
    faults: list[RegisterError] = field(default_factory=list)
    remarks: list[RegisterError] = field(default_factory=list)
    rows: dict[str, list[tuple[KeyPath, dict[str, Any]]]] = field(default_factory=dict)

    def fault(self, at: KeyPath, found: str, expected: str = "", mend: str = "") -> None:
        """Note something that cannot be used as it stands."""
        self.faults.append(self.error(at, found, expected, mend))

    def remark(self, at: KeyPath, found: str, expected: str = "", mend: str = "") -> None:
        """Note something that a scan survives."""
        self.remarks.append(self.error(at, found, expected, mend))

    def keep(self, section: str, at: KeyPath, checked: dict[str, Any]) -> None:
        """Remember the checked values of one row, and where it stands, for checks between rows."""
        self.rows.setdefault(section, []).append((at, checked))

    def installations(self) -> list[KeyPath]:
        """Where each kept installation stands."""
        return [at for at, _ in self.rows.get("installations", [])]

    def stated(self, section: str, key: str) -> list[tuple[str, KeyPath]]:
        """Each value stated under `key`, with its place."""
        return [(row[key], (*at, key)) for at, row in self.rows.get(section, []) if key in row]

    def error(self, at: KeyPath, found: str, expected: str = "", mend: str = "") -> RegisterError:
        column = next((str(part) for part in reversed(at) if isinstance(part, str)), "")
        return RegisterError(
            found=found,
            expected=expected,
            mend=mend,
            file=self.file,
            line=line_of(self.lines, at),
            column=column,
        )

    def read(self, row: Mapping[str, Any], fields: Mapping[str, Field], at: KeyPath) -> dict[str, Any]:
        """Checked values of one table by attribute name; faults are noted and left out."""
        spelt = {also: key for key, known in fields.items() for also in (key, *known.also)}
        given: dict[str, Any] = {}
        for key, value in row.items():
            known = spelt.get(key)
            if known is None:
                self._unknown((*at, key), key, spelt)
                continue
            try:
                given[known] = fields[known].check(value)
            except Wrong as wrong:
                self.fault((*at, key), shown(value), wrong.expected, wrong.mend)
        return given

    def _unknown(self, at: KeyPath, key: str, known: Mapping[str, str]) -> None:
        mend = did_you_mean(key, known, "take it out, or put a # before it")
        self.fault(at, f'the key "{key}"', "one of " + ", ".join(dict.fromkeys(known.values())), mend)


def shown(value: Any) -> str:
    """A value as the user wrote it, kept short."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def decode(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _single(
            path, f"no readable file ({error.strerror})", "a register in TOML", "check the path"
        ) from error
    try:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return data.decode("utf-16")
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _single(
            path, "bytes that are not UTF-8 text", "a register in UTF-8", "save it as UTF-8", line
        ) from error


def _single(path: Path, found: str, expected: str, mend: str, line: int | None = None) -> RegisterProblems:
    return collect(
        str(path), [RegisterError(found=found, expected=expected, mend=mend, file=str(path), line=line)]
    )


def parse(text: str, file: str) -> tuple[dict[str, Any], list[RegisterError]]:
    """Parse TOML; a line that breaks the syntax is noted, blanked and the rest is read on."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    faults: list[RegisterError] = []
    while len(faults) < _MAX_SYNTAX_FAULTS:
        try:
            return tomllib.loads("\n".join(lines)), faults
        except tomllib.TOMLDecodeError as error:
            number = _line_of_syntax_fault(str(error), len(lines))
            faults.append(_syntax_fault(lines[number - 1], str(error), file, number))
            if len(faults) > 1 and faults[-1].line == faults[-2].line:
                break
            lines[number - 1] = ""
    return {}, faults[:1]


def _line_of_syntax_fault(message: str, count: int) -> int:
    match = re.search(r"at line (\d+)", message)
    return min(int(match[1]), count) if match else count


def _syntax_fault(line: str, message: str, file: str, number: int) -> RegisterError:
    if re.search(r"=\s*-?\d+,\d+\s*(#.*)?$", line):
        mend = "write a decimal point instead of the comma"
    elif re.search(r"=\s*[A-Za-z][^\"'#=]*$", line):
        mend = "put text in quotes"
    else:
        mend = "see what the parser says: " + re.sub(r"\s*\(at .*\)$", "", message)
    return RegisterError(
        found=shown(line.strip()),
        expected="a line like key = value, with text in quotes",
        mend=mend,
        file=file,
        line=number,
    )
