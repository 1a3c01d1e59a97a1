"""Average, least and greatest of one signal, each a tag of its own: one signal, of which one tag is read.

A probe reads once, however many figures the export gives of it.  Of a temperature the greatest of each interval is read,
because a peak shows in it at its full height; of any other signal the average.  The other tags are left out with a word.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from excursions.read.text.aggregates import aggregate_of
from excursions.register._tags import Tag

AGGREGATE = "aggregate"
_SIGNAL_FIRST = ("average", "", "sample", "greatest", "least", "total", "spread", "count")
_HEAT_FIRST = ("greatest", "average", "", "sample", "least", "total", "spread", "count")
_SAID = {
    "average": "the average", "least": "the least", "greatest": "the greatest", "spread": "the spread", "count": "the number of samples",
    "total": "the sum", "sample": "a sample", "": "the value",
}  # fmt: skip


def split_names(names: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Name of the signal and kind of figure of each tag that stands beside another figure of the same signal.

    Only where two of average, least and greatest are there: a lone ``max`` beside a value may be an alarm limit.
    """
    groups: dict[str, dict[str, tuple[str, str]]] = {}
    for name in names:
        base, kind = aggregate_of(name)
        groups.setdefault(base.casefold(), {})[name] = (base, kind)
    found: dict[str, tuple[str, str]] = {}
    for group in groups.values():
        kinds = [kind for _, kind in group.values()]
        if len(set(kinds) & {"average", "least", "greatest"}) >= 2 and len(set(kinds)) == len(kinds):
            found |= group
    return found


def set_apart(
    tags: Mapping[str, Tag], named: Mapping[str, tuple[str, str]], stated: Collection[str]
) -> dict[str, Tag]:
    """The tags of each signal but the one that is read, with the role AGGREGATE; what the register names stays as it is."""
    groups: dict[str, list[str]] = {}
    for name, (base, _) in named.items():
        groups.setdefault(base.casefold(), []).append(name)
    changed: dict[str, Tag] = {}
    for group in groups.values():
        first = _HEAT_FIRST if all(tags[name].role == "temperature" for name in group) else _SIGNAL_FIRST
        read = min(group, key=lambda name: (name not in stated, first.index(named[name][1])))
        for name in group:
            if name != read and name not in stated:
                why = (
                    f"it is {_SAID[named[name][1]]} of each interval of a signal of which {_SAID[named[read][1]]} is read, "
                    f"{read}: no probe of its own"
                )
                changed[name] = replace(tags[name], role=AGGREGATE, why=why)
        if first is _HEAT_FIRST and named[read][1] == "greatest":
            changed[read] = replace(
                tags[read], why=f"{tags[read].why}; the greatest of each interval shows heat whole"
            )
    return changed
