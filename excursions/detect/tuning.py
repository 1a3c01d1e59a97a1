"""Settings of detectors as a register or a command states them, in place of the defaults.

A plant states them by detector and name, ``{"step": {"faults_per_year": 2.0}}``; the names, their units (the end of
the name: ``_s``, ``_k``, ``_degc``, ``_min``, ``_h``) and their defaults are those of the settings classes.
"""

from __future__ import annotations

import inspect
import io
import math
import tokenize
from collections.abc import Iterable, Mapping
from dataclasses import fields

from excursions.detect.catalogue import DETECTORS
from excursions.errors import UsageError, did_you_mean
from excursions.records import Decision

Tuning = Mapping[str, Mapping[str, float]]

# What can be set: detector -> setting -> default.
TUNABLE: dict[str, dict[str, float]] = {
    one.name: {field.name: getattr(one.settings(), field.name) for field in fields(one.settings)}
    for one in DETECTORS
}


def tunable() -> Mapping[str, Mapping[str, float]]:
    """What can be set, for whoever reads a register."""
    return TUNABLE


def words_of_settings(detector: str) -> dict[str, str]:
    """What each setting of a detector means: the comment beside its default, which is where its reason stands."""
    kind = next(one.settings for one in DETECTORS if one.name == detector)
    words: dict[str, list[str]] = {field.name: [] for field in fields(kind)}
    last: list[str] = []
    for token in tokenize.generate_tokens(io.StringIO(inspect.getsource(kind)).readline):
        if token.type == tokenize.NAME and token.string in words:
            last = words[token.string]
        elif token.type == tokenize.COMMENT:
            last.append(token.string.removeprefix("#").strip())
    return {
        name: " ".join(said).replace("(cp)", "(common practice, no source)") for name, said in words.items()
    }


def settings_of(tuning: Tuning) -> dict[str, object]:
    """Settings of each detector that something is stated of, for :func:`excursions.detect.catalogue.detect`."""
    kinds = {one.name: one.settings for one in DETECTORS}
    return {name: kinds[name](**stated) for name, stated in tuning.items() if stated}


def read_tuning(items: Iterable[str]) -> dict[str, dict[str, float]]:
    """Read settings written as ``step.faults_per_year=2``; the last one of a name holds.

    Raises
    ------
    UsageError
        If a detector or a setting is not known (it names the nearest), or the value is no number it can have.
    """
    found: dict[str, dict[str, float]] = {}
    for item in items:
        written, equals, value = (part.strip() for part in item.partition("="))
        detector, _, name = written.partition(".")
        if not equals or not name:
            raise UsageError(
                f'--tune "{item}"',
                expected="DETECTOR.SETTING=NUMBER",
                mend="write for example --tune step.faults_per_year=2",
            )
        known = TUNABLE.get(detector)
        if known is None:
            raise UsageError(
                f'no detector "{detector}"', expected=_one_of(TUNABLE), mend=did_you_mean(detector, TUNABLE)
            )
        if name not in known:
            raise UsageError(
                f'no setting "{name}" of {detector}', expected=_one_of(known), mend=did_you_mean(name, known)
            )
        found.setdefault(detector, {})[name] = _number(item, value, known[name])
    return found


def _number(item: str, value: str, default: float) -> float:
    whole = isinstance(default, int)
    try:
        number = int(value) if whole else float(value)
    except ValueError:
        number = math.nan
    if not math.isfinite(number) or (number < 0 <= default):
        raise UsageError(
            f'--tune "{item}"', expected=f"a {'whole ' if whole else ''}number such as {default:g}"
        )
    return number


def _one_of(known: Mapping[str, object]) -> str:
    return "one of " + ", ".join(known)


def merged(first: Tuning, over: Tuning) -> dict[str, dict[str, float]]:
    """Both together; what `over` states holds."""
    return {
        name: {**first.get(name, {}), **over.get(name, {})}
        for name in (*first, *(n for n in over if n not in first))
    }


def tuned(tuning: Tuning) -> tuple[Decision, ...]:
    """What is searched with settings that differ from their defaults, for the list of decisions."""
    return tuple(
        Decision(
            subject=f"detector {detector}",
            what=f"{name} = {value:g} in place of {TUNABLE[detector][name]:g}",
            why="stated in the register or on the command line",
            option=f"[detectors.{detector}] in the register, or --tune",
        )
        for detector, stated in tuning.items()
        for name, value in stated.items()
        if value != TUNABLE[detector][name]
    )
