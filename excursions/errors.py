"""The one family of errors a user can mend.

    ExcursionsError              root: one ``except`` catches all of them
    |- InputFileError            an export, calibration log or sample file
    |- RegisterError             the plant register (TOML)
    |- UsageError                a command or an argument that does not fit
    `- WorkerLostError           processes that end before they answer

Each error keeps its facts as fields and makes its sentence from them: which file, which line, which
column, what was found, what was expected and how to mend it.  Low code raises what it knows; the edge
that knows the file adds it with :meth:`ExcursionsError.at`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import SequenceMatcher, get_close_matches

_NAMED = 12  # of the names there are, in an error


@dataclass
class ExcursionsError(Exception):
    """Something the user can mend, with the six answers every message owes.

    Parameters
    ----------
    found, expected, mend : str
        What stood there, what should stand there, and the one thing to do about it.
    file : str
        Path as the user gave it; empty when no file is involved.
    line : int or None
        One-based line (or row) number in that file.
    column : str
        Column name or key.
    """

    found: str
    expected: str = ""
    mend: str = ""
    file: str = ""
    line: int | None = None
    column: str = ""

    def at(self, *, file: str = "", line: int | None = None, column: str = "") -> ExcursionsError:
        """Return a copy that also knows where it happened; what is already known stays."""
        return replace(
            self,
            file=self.file or file,
            line=self.line if self.line is not None else line,
            column=self.column or column,
        )

    def __str__(self) -> str:
        """One sentence: place, found, expected, mend."""
        place = ", ".join(
            part
            for part in (
                self.file,
                f"line {self.line}" if self.line is not None else "",
                f'column "{self.column}"' if self.column else "",
            )
            if part
        )
        text = f"{place}: " if place else ""
        text += f"found {self.found}"
        if self.expected:
            text += f", expected {self.expected}"
        text += "."
        if self.mend:
            text += f" {self.mend[0].upper()}{self.mend[1:]}"
            text += "" if text.endswith((".", "?")) else "."
        return text

    def __reduce__(self) -> tuple[object, ...]:
        """Keep every field when the error crosses a process border."""
        return (
            type(self),
            (self.found, self.expected, self.mend, self.file, self.line, self.column),
        )


class InputFileError(ExcursionsError):
    """An export, calibration log or sample file that cannot be used as it stands."""


class RegisterError(ExcursionsError):
    """A statement in the plant register that cannot be used as it stands."""


class UsageError(ExcursionsError):
    """A command, option or name that does not fit."""


class WorkerLostError(ExcursionsError):
    """Processes that ended before they answered, again and again."""


def nearest(word: str, choices: Iterable[str], *, least: float = 0.6) -> str:
    """The choice that `word` was probably meant to be, blind to case; empty when none is near.

    `least` is how alike they must be, from 0 to 1.
    Ties go to the first in alphabetical order, so that the same input gives the same sentence.
    """
    spelt: dict[str, str] = {}
    for choice in sorted(choices):
        spelt.setdefault(choice.casefold(), choice)
    asked = word.casefold()
    near = get_close_matches(asked, spelt, n=5, cutoff=least)
    ranked = sorted((-SequenceMatcher(None, choice, asked).ratio(), choice) for choice in near)
    return spelt[ranked[0][1]] if ranked else ""


def did_you_mean(word: str, choices: Iterable[str], otherwise: str = "") -> str:
    """How to mend a word that is none of the choices: the nearest of them, or what else to do."""
    near = nearest(word, choices)
    return f'did you mean "{near}"?' if near else otherwise


def unknown(what: str, asked: str, names: Iterable[str], *, otherwise: str) -> UsageError:
    """A name that nothing is called by, with some of those there are and how to mend it (`otherwise` where none is near)."""
    every = sorted(set(names))
    some = ", ".join(every[:_NAMED]) + (" ..." if len(every) > _NAMED else "")
    return UsageError(
        found=f'{what} "{asked}"',
        expected=f"one of {some}" if every else f"none: there is no {what} to choose from",
        mend=did_you_mean(asked, every, otherwise),
    )
