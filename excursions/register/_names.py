"""Names for points nobody named: short, unique, the same for the same export."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from excursions.register._pair import Pairs
from excursions.register._tags import Tag
from excursions.register._vocabulary import READING
from excursions.register._words import measurand_of, segments

_TAIL = re.compile(r"^(.+?)[\s._\-/:]+([^\W\d_]+)$")
_LAST = re.compile(r"^(.+?)[\s._\-/:]+([^\W_]+)$")  # a figure may belong to the word: O2, CO2
_PATH = re.compile(r"[/\\|>]|::")
_STEP = re.compile(r"\s*[\w.\-:()#+ ]*\w[\w.\-:()#+ ]*\s*")


def point_names(tags: Sequence[Tag], temperatures: Pairs, taken: set[str]) -> dict[str, str]:
    """A name for each value tag: the shortest of its candidates that no other point could claim.

    Candidates: what reading and temperature have in common, the last part of the path, the whole path,
    each without an ending that only says "reading"; at last the tag itself.
    """
    candidates = {tag.name: _candidates(tag, temperatures) for tag in tags}
    claims = Counter(name for names in candidates.values() for name in dict.fromkeys(names))
    chosen: dict[str, str] = {}
    used = set(taken)
    for tag in tags:
        fits = (name for name in candidates[tag.name] if claims[name] == 1 and name not in used)
        chosen[tag.name] = next(fits, None) or _numbered(tag.name, used)
        used.add(chosen[tag.name])
    return chosen


def _candidates(tag: Tag, temperatures: Pairs) -> list[str]:
    parts = _path(tag.name)
    leaf = _bare(parts[-1])
    names = [leaf, _bare(tag.name), tag.name]
    if len(parts) > 1 and not _tells(leaf):
        names.insert(0, tag.name[tag.name.rindex(parts[-2], 0, tag.name.rindex(parts[-1])) :].strip())
    if tag.loop and (match := _LAST.match(leaf)) and measurand_of(match[2]):
        names.insert(0, match[1])  # AT-2103.pH: the loop names the point well enough
    pair = temperatures.get(tag.name)
    if pair and pair.by_name:
        shared = _common(tag.name, pair.tag.name)
        common = _PATH.split(shared)[-1].strip()
        words = Counter(token.casefold() for tokens in segments(shared) for token in tokens)
        whole = Counter(tag.coarse) <= words  # loop 1 of vessel 1 is told by two ones
        names = [common, *names] if _tells(common) and whole else names
    return [name for name in names if name.strip() and name.casefold() not in READING]


def _path(name: str) -> list[str]:
    """The steps of a name that is a path of plain words (``Plant/Unit 2/AT-101``); any other name is one step."""
    steps = [step for step in _PATH.split(name) if step.strip()]
    return [step.strip() for step in steps] if steps and all(map(_STEP.fullmatch, steps)) else [name]


def _tells(name: str) -> bool:
    """Whether a name holds a letter and a number: what a loop, a vessel or a position is called by."""
    return any(char.isdigit() for char in name) and any(char.isalpha() for char in name)


def _bare(name: str) -> str:
    """The name without a last word that only says "reading" (``AT-2103.PV`` -> ``AT-2103``)."""
    match = _TAIL.match(name)
    return match[1] if match and match[2].casefold() in READING else name


def _common(one: str, other: str) -> str:
    """What two names begin with in common, cut back to a whole word."""
    length = 0
    for a, b in zip(one, other, strict=False):
        if a != b:
            break
        length += 1
    common = one[:length]
    cut_inside = (length < len(one) and one[length].isalnum()) and common[-1:].isalnum()
    if cut_inside and not (common[-1:].isdigit() and one[length].isalpha()):
        common = re.sub(r"[^\W_]+$", "", common)
    return common.rstrip(" ._-/:")


def _numbered(name: str, used: set[str]) -> str:
    if name not in used:
        return name
    number = 2
    while f"{name} ({number})" in used:
        number += 1
    return f"{name} ({number})"
