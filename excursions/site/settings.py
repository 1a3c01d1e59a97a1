"""The settings of a site: read from ``site.toml`` in its folder, never from the inbox."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from excursions import clock
from excursions.errors import UsageError, did_you_mean
from excursions.kinds import SEVERITIES
from excursions.read.options import ReadOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How exports are understood; empty fields are decided from each file."""

    tz: str = ""
    decimal_mark: str = ""
    separator: str = ""
    date_order: str = ""
    encoding: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """When runs are expected.

    at : local time of day of the timer; every_hours : a run later than 1.5 times this is called missed.
    """

    at: str = "02:30"
    every_hours: float = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Inbox:
    """How the inbox is treated.

    settle_s : a file changed within this time may still be being written and is left for the next night
    keep : leave files in the inbox after they were taken (they are known again and not taken twice)
    """

    settle_s: float = 30.0
    keep: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How the record is searched.

    jobs : processes, 0 chooses
    report_from : least severity of events that the digest tells
    display_units : of temperatures on pages, degC or degF
    """

    jobs: int = 0
    report_from: str = "check"
    display_units: str = "degC"


@dataclass(frozen=True, slots=True, kw_only=True)
class Smtp:
    """Delivery by mail; without a host there is none.  The password stands in a file of its own."""

    host: str = ""
    port: int = 25
    starttls: bool = False
    user: str = ""
    password_file: str = ""
    sender: str = "excursions@localhost"
    to: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """Delivery by a command of the user's: its words (no shell), the text digest on its standard input."""

    words: tuple[str, ...] = ()
    timeout_s: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All of ``site.toml``."""

    reading: Reading = field(default_factory=Reading)
    schedule: Schedule = field(default_factory=Schedule)
    inbox: Inbox = field(default_factory=Inbox)
    search: Search = field(default_factory=Search)
    smtp: Smtp = field(default_factory=Smtp)
    command: Command = field(default_factory=Command)

    def read_options(self) -> ReadOptions:
        """As the reading room wants them."""
        given = {item.name: getattr(self.reading, item.name) for item in fields(self.reading)}
        return ReadOptions(**given)


TEMPLATE = """\
# Settings of this site.  A line that begins with # is not in force; the value shown is the default.

[reading]                     # only where it cannot be told from the files
# tz = "Europe/Vienna"        # zone of times without one (default: the register's)
# decimal_mark = ","
# separator = ";"
# date_order = "day-first"
# encoding = "cp1252"

[schedule]
# at = "02:30"                # local time; run "excursions init" on the site again after a change
# every_hours = 24.0          # a run that is 1.5 times this late is called missed

[inbox]
# settle_s = 30.0             # a file changed more recently may still be being written: next night
# keep = false                # true: files taken stay in the inbox too

[search]
# jobs = 0                    # processes; 0 chooses
# report_from = "check"       # note, check or act: what the digest tells
# display_units = "degC"

[smtp]                        # the digest by mail, when there is something to say
# host = "mail.example.org"
# port = 25
# starttls = false
# user = ""
# password_file = "/etc/excursions/password"
# sender = "excursions@example.org"
# to = ["maintenance@example.org"]

[command]                     # or by a command of yours: the text on its standard input, no shell
# words = ["/usr/local/bin/tell-the-shift"]
# timeout_s = 60.0
"""


def load_settings(path: Path) -> Settings:
    """Read and check ``site.toml``.

    Raises
    ------
    UsageError
        If the file is missing, is no TOML, or states something unknown or of the wrong type.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise UsageError(
            found=f'no site in "{path.parent}"',
            expected="a folder with a site.toml",
            mend=f"make one with: excursions init {path.parent}",
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UsageError(
            found=str(error), expected="settings in TOML", mend="correct that line", file=str(path)
        ) from error
    made = Settings()
    known = {item.name: getattr(made, item.name) for item in fields(made)}
    for name, table in raw.items():
        if not isinstance(table, dict):
            raise _unknown(path, f'"{name}" above all sections', name, list(known))
        if name not in known:
            raise _unknown(path, f"section [{name}]", name, list(known))
        made = replace(made, **{name: _section(path, name, known[name], table)})
    return _checked(path, made)


def _section(path: Path, name: str, default: Any, table: Mapping[str, Any]) -> Any:
    allowed = [item.name for item in fields(default)]
    stated: dict[str, Any] = {}
    for key, value in table.items():
        if key not in allowed:
            raise _unknown(path, f'"{key}" in [{name}]', key, allowed)
        stated[key] = _typed(path, f"{name}.{key}", getattr(default, key), value)
    return replace(default, **stated)


def _typed(path: Path, key: str, default: object, value: object) -> object:
    if isinstance(default, tuple):
        if isinstance(value, list) and all(isinstance(item, str) for item in value):
            return tuple(value)
    elif isinstance(default, bool):
        if isinstance(value, bool):
            return value
    elif isinstance(default, float):
        if isinstance(value, (int, float)) and not isinstance(value, bool) and value >= 0:
            return float(value)
    elif isinstance(value, type(default)) and not isinstance(value, bool):
        return value
    kind = {tuple: "a list of texts", bool: "true or false", float: "a number", int: "a whole number"}
    raise UsageError(
        found=repr(value),
        expected=kind.get(type(default), "a text in quotes"),
        mend="see the comments in the file",
        file=str(path),
        column=key,
    )


def _unknown(path: Path, found: str, word: str, choices: list[str]) -> UsageError:
    homes = [item.name for item in fields(Settings) if word in _keys(item.name)]
    return UsageError(
        found=found,
        expected="one of " + ", ".join(choices),
        mend=f"put it below [{homes[0]}]" if homes else did_you_mean(word, choices, "take it out"),
        file=str(path),
    )


def _keys(section: str) -> list[str]:
    """What a section may state."""
    return [item.name for item in fields(getattr(Settings(), section))]


def _checked(path: Path, made: Settings) -> Settings:
    """What the types cannot say."""
    if made.reading.tz:
        clock.zone(made.reading.tz)
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", made.schedule.at):
        raise UsageError(
            found=f'"{made.schedule.at}"',
            expected='a time of day such as "02:30"',
            mend="two digits each for hour and minute",
            file=str(path),
            column="schedule.at",
        )
    for key, value, allowed in (
        ("search.report_from", made.search.report_from, SEVERITIES),
        ("search.display_units", made.search.display_units, ("degC", "degF")),
    ):
        if value not in allowed:
            raise UsageError(found=f'"{value}"', expected=" or ".join(allowed), file=str(path), column=key)
    if made.command.words and path.stat().st_mode & 0o002:
        raise UsageError(
            found="a delivery command in a file that everybody may write",
            expected="a settings file that only its owner and group may write",
            mend=f"take that right away: chmod o-w {path}",
            file=str(path),
            column="command.words",
        )
    if made.smtp.host and not made.smtp.to:
        raise UsageError(
            found="a mail host and nobody to write to",
            expected='to = ["..."]',
            mend="name at least one address",
            file=str(path),
            column="smtp.to",
        )
    return made
