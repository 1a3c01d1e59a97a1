"""What a user says of a column: ``--columns slope=Q1``, in the words a good header would have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import SequenceMatcher

from excursions.errors import UsageError, nearest
from excursions.read.logs.headers import Meaning, fold, meaning_of, unit_in

ROLES: dict[str, Meaning] = {
    "time": Meaning(kind="time"),
    "clock": Meaning(kind="clock"),
    "point": Meaning(kind="point"),
    "probe": Meaning(kind="probe"),
    "old probe": Meaning(kind="old_probe"),
    "model": Meaning(kind="model"),
    "measurand": Meaning(kind="measurand"),
    "action": Meaning(kind="action"),
    "phase": Meaning(kind="phase"),
    "comment": Meaning(kind="comment"),
    "result": Meaning(kind="result"),
    "standard": Meaning(kind="standard"),
    "raw": Meaning(kind="raw"),
    "temperature": Meaning(kind="temperature"),
    "air pressure": Meaning(kind="air_pressure"),
    "altitude": Meaning(kind="altitude"),
    "salinity": Meaning(kind="salinity"),
    "value": Meaning(kind="value"),
    "unit": Meaning(kind="value_unit"),
    "standard unit": Meaning(kind="standard_unit"),
    "raw unit": Meaning(kind="raw_unit"),
    "slope": Meaning(kind="figure", figure="slope"),
    "zero point": Meaning(kind="figure", figure="zero_point"),
    "offset": Meaning(kind="figure", figure="offset"),
    "cell constant": Meaning(kind="figure", figure="cell_constant"),
    "gain": Meaning(kind="figure", figure="gain"),
    "span": Meaning(kind="figure", figure="span"),
    "ignored": Meaning(kind="ignored"),
}


def role_of(text: str) -> Meaning:
    """What a stated role means: one of :data:`ROLES`, or words of the trade that a good header would have.

    Raises
    ------
    UsageError
        If it is neither; the roles are listed, nearest first.
    """
    said = fold(text)
    if said in ROLES:
        return ROLES[said]
    read = meaning_of(text)
    if read.kind and read.kind != "ignored":
        return read
    near = sorted(ROLES, key=lambda role: (-SequenceMatcher(None, role, said).ratio(), role))
    raise UsageError(
        found=f'the role "{text}" of a column',
        expected="one of "
        + ", ".join(near)
        + ' (with "as found" or "as left" before, a number or a unit behind)',
        mend=f'did you mean "{near[0]}"?'
        if nearest(said, ROLES)
        else "write --columns ROLE=NAME, for example probe=Serial",
    )


def with_stated(
    headers: Sequence[str], meanings: Sequence[Meaning], columns: Mapping[str, str]
) -> list[Meaning]:
    """Put what the user states over what was guessed.

    The meaning is written as a good header would be: ``time``, ``point``, ``probe``, ``slope``, ``as found
    zero point [pH]``, ``buffer 1``, ``mV 2``; ``ignored`` leaves a column out.

    Raises
    ------
    UsageError
        If a meaning is not one of the words the house knows.
    """
    found = list(meanings)
    roles = {meaning: role_of(meaning) for meaning in columns}
    places = {fold(header): at for at, header in enumerate(headers)}
    for meaning, header in columns.items():
        at = places.get(fold(header))
        if at is None:
            continue
        read = roles[meaning]
        found = [
            Meaning() if i != at and m.kind == read.kind and m == read else m for i, m in enumerate(found)
        ]
        found[at] = replace(read, unit=read.unit or unit_in(fold(header))[1])
    return found
