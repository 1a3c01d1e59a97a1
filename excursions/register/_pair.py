"""Which temperature, hold, wash, pressure and status signal belongs to which reading.

Strongest evidence first: the same name but for the word that says the kind of signal; the same loop; the
same loop but for a letter of redundancy; the same words in the description; then the order in the export,
where names carry no loop at all; last, samples at the very same irregular instants, which only one device
gives.  Two tags with different loop numbers are never paired.  Everything is done by look-up, so that an
export of thousands of tags costs no more than its names.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from excursions.register._says import Stem
from excursions.register._tags import Tag

# A wash takes seconds to minutes every few hours; a process valve is open or shut for long (cp).
_WASH_SHARE = 0.1
_SHARED_BY_ONE_EXPORT = 4  # a record of one vessel rarely holds more analysers than this (cp)


@dataclass(frozen=True, slots=True)
class Pair:
    """A tag that serves a reading, and why; `by_name` where their names share a loop."""

    tag: Tag
    why: str
    by_name: bool = False


Pairs = dict[str, Pair]


def pair_up(values: Sequence[Tag], partners: Sequence[Tag], *, by_order: bool) -> Pairs:
    """Find a partner for each reading; what has none is left out of the answer.

    Parameters
    ----------
    values, partners : sequences of Tag
        In the order of the export; partners all play one role.
    by_order : bool
        Whether order and common instants may decide where names do not (temperatures only).
    """
    found: Pairs = {}
    own = [tag for tag in partners if tag.measurand]
    general = [tag for tag in partners if not tag.measurand]
    _by_key(found, values, partners, lambda t: t.fine, "the names differ only in the kind of signal")
    _by_qualified(found, values, own)
    _by_key(found, values, general, lambda t: t.coarse, "same loop")
    _by_redundancy(found, values, general)
    _by_channel(found, values, general)
    if by_order:
        _by_place(found, values, general)
    _by_description(found, values, partners)
    if by_order:
        _by_order(found, values, partners)
        _by_instants(found, values, partners)
    return found


def _by_key(
    found: Pairs, values: Iterable[Tag], partners: Iterable[Tag], key: Callable[[Tag], Stem], why: str
) -> None:
    index: dict[Stem, list[Tag]] = defaultdict(list)
    for tag in partners:
        if key(tag):
            index[key(tag)].append(tag)
    for value in values:
        if value.name not in found and (near := index.get(key(value))):
            found[value.name] = _choose(value, near, why)


def _by_description(found: Pairs, values: Iterable[Tag], partners: Iterable[Tag]) -> None:
    """``pH Neutralisation 1`` goes with ``Temperature Neutralisation 1``; the names themselves say nothing."""
    said: Pairs = {}
    free = [value for value in values if value.name not in found]
    _by_key(said, free, partners, lambda t: t.told, "the descriptions differ only in the kind of signal")
    found |= {name: Pair(pair.tag, pair.why) for name, pair in said.items()}


def _choose(value: Tag, near: Sequence[Tag], why: str) -> Pair:
    """Of several equal candidates the one that a word names, then the next in the order of the export."""
    best = min(near, key=lambda t: (not t.named.strong, abs(t.order - value.order), t.order))
    if len(near) > 1:
        why += f"; {len(near)} tags fit, the nearest in the export was taken"
    return Pair(best, why, by_name=True)


def _by_qualified(found: Pairs, values: Iterable[Tag], partners: Iterable[Tag]) -> None:
    """``R1_pH_temp`` goes with a reading of pH in R1, however that one spells its measurand."""
    index: dict[tuple[Stem, str], list[Tag]] = defaultdict(list)
    for tag in partners:
        index[(tag.coarse, tag.measurand)].append(tag)
    for value in values:
        near = index.get((value.coarse, value.measurand)) if value.measurand else None
        if near and value.name not in found:
            found[value.name] = _choose(value, near, "same place and the partner's name says whose it is")


def _by_redundancy(found: Pairs, values: Iterable[Tag], partners: Iterable[Tag]) -> None:
    """``AT-2103A`` and ``AT-2103B`` may share ``TT-2103``."""
    index: dict[Stem, list[Tag]] = defaultdict(list)
    for tag in partners:
        if tag.coarse:
            index[tag.coarse].append(tag)
    for value in values:
        stem = value.coarse
        if value.name in found or not _of_several(stem):
            continue
        if near := index.get(stem[:-1]):
            found[value.name] = _choose(value, near, f'same loop but for the letter "{stem[-1].upper()}"')


def _by_place(found: Pairs, values: Sequence[Tag], partners: Sequence[Tag]) -> None:
    """``RIVER_WT`` in degC goes with ``RIVER_DO`` and ``RIVER_PH``, ``TIT-7A`` with ``AIT-7B`` as well: the only one there.

    The unit alone says that such a tag is a temperature, so that its last word is its plant's word for one.
    """
    index: dict[Stem, list[Tag]] = defaultdict(list)
    for tag in partners:
        stem = tag.coarse
        if len(stem) > 1 and _of_several(stem):
            index[(*stem[:-1], "")].append(tag)
        elif len(stem) > 1 and not tag.named.role and not stem[-1].isdigit():
            index[stem[:-1]].append(tag)
    here: dict[Stem, int] = defaultdict(int)
    for value in values:
        here[value.coarse] += 1
    for value in values:
        stem = value.coarse
        near = index.get((*stem[:-1], "") if len(stem) > 1 and _of_several(stem) else stem, [])
        if value.name not in found and len(near) == 1 and here[stem] <= _SHARED_BY_ONE_EXPORT:
            found[value.name] = Pair(near[0], "the only temperature of the place", by_name=_of_several(stem))


def _of_several(stem: Stem) -> bool:
    """Whether a stem ends with the letter of one of several in a loop: ``7 A``."""
    return len(stem) > 1 and len(stem[-1]) == 1 and stem[-1].isalpha() and stem[-2].isdigit()


def _by_channel(found: Pairs, values: Sequence[Tag], partners: Sequence[Tag]) -> None:
    """``AIT-100A`` and ``AIT-100B``, ``AI7.1`` and ``AI7.2``: two channels of one transmitter, and no third tag."""
    groups: dict[Stem, tuple[list[Tag], list[Tag]]] = defaultdict(lambda: ([], []))
    for place, tags in enumerate((values, partners)):
        for tag in tags:
            stem = tag.coarse
            if len(stem) > 1 and len(stem[-1]) == 1 and stem[-2].isdigit():
                groups[stem[:-1]][place].append(tag)
    for readings, others in groups.values():
        if len(readings) == len(others) == 1 and readings[0].name not in found:
            found[readings[0].name] = Pair(others[0], "the only two channels of one loop", by_name=True)


def _nameless(tag: Tag) -> bool:
    """Whether the name carries no loop and no place: nothing, or a small ordinal."""
    return not tag.loop and all(word.isdigit() and len(word) <= 2 for word in tag.coarse)


def _by_order(found: Pairs, values: Sequence[Tag], partners: Sequence[Tag]) -> None:
    free = [tag for tag in values if tag.name not in found]
    taken = {pair.tag.name for pair in found.values()}
    spare = [tag for tag in partners if tag.name not in taken]
    if len(values) == 1 and len(partners) == 1 and free and spare and _compatible(free[0], spare[0]):
        found[free[0].name] = Pair(
            spare[0], "the export holds one reading and one temperature, and no name speaks against it"
        )
        return
    free, spare = [t for t in free if _nameless(t)], [t for t in spare if _nameless(t)]
    if len(spare) == 1 and len(partners) == 1 and 0 < len(free) <= _SHARED_BY_ONE_EXPORT:
        for value in free:
            found[value.name] = Pair(
                spare[0], "the only temperature of the export, and no name carries a loop"
            )
    elif len(spare) == len(free) and _alternate(free, spare):
        for value, partner in zip(free, spare, strict=True):
            found[value.name] = Pair(partner, "readings and temperatures alternate in the export")


def _compatible(value: Tag, partner: Tag) -> bool:
    """Whether two tags can be one loop: no words against each other, numbers equal, consecutive or missing."""
    if value.loop and partner.loop and value.loop != partner.loop:
        return False
    words = [{w for w in tag.coarse if not w.isdigit()} for tag in (value, partner)]
    if not (words[0] <= words[1] or words[1] <= words[0]):
        return False
    numbers = [[int(w) for w in tag.coarse if w.isdigit()] for tag in (value, partner)]
    if not numbers[0] or not numbers[1]:
        return True
    return numbers[0][:-1] == numbers[1][:-1] and abs(numbers[0][-1] - numbers[1][-1]) <= 1


def _alternate(values: Sequence[Tag], partners: Sequence[Tag]) -> bool:
    """v t v t or t v t v, nothing between the two of a pair."""
    if not values:
        return False
    steps = {partner.order - value.order for value, partner in zip(values, partners, strict=True)}
    return steps in ({1}, {-1})


def _by_instants(found: Pairs, values: Sequence[Tag], partners: Sequence[Tag]) -> None:
    """One reading and one temperature that alone share irregular instants come from one device."""
    groups: dict[tuple[int, ...], list[Tag]] = defaultdict(list)
    for tag in (*values, *partners):
        if mark := tag.look.instants:
            groups[mark].append(tag)
    roles = {tag.name for tag in values}
    for group in groups.values():
        if len(group) != 2:
            continue
        value, partner = sorted(group, key=lambda t: t.name not in roles)
        if (
            value.name in roles
            and partner.name not in roles
            and value.name not in found
            and _no_loop_against(value, partner)
        ):
            found[value.name] = Pair(
                partner, "both were recorded at the same irregular instants, and no other tag was"
            )


def _no_loop_against(value: Tag, partner: Tag) -> bool:
    return not (value.loop and partner.loop and value.loop != partner.loop)


def pair_flags(values: Sequence[Tag], flags: Sequence[Tag]) -> Pairs:
    """Pair switches; one that belongs to a whole place (``Line3/CIP_active``) serves every reading there."""
    found = pair_up(values, flags, by_order=False)
    index: dict[Stem, list[Tag]] = defaultdict(list)
    for flag in flags:
        if not flag.measurand and any(not word.isdigit() for word in flag.coarse):
            index[flag.coarse].append(flag)
    for value in values:
        if value.name in found:
            continue
        for length in range(len(value.coarse) - 1, 0, -1):
            if near := index.get(value.coarse[:length]):
                found[value.name] = _choose(value, near, "it belongs to the place the point is in")
                break
    nameless = [flag for flag in flags if not flag.coarse and not flag.measurand]
    if len(values) == 1 and len(nameless) == 1 and values[0].name not in found:
        found[values[0].name] = Pair(nameless[0], "the export holds one reading")
    return found


def valves(values: Sequence[Tag], flags: Sequence[Tag]) -> Pairs:
    """A valve of the analyser's own loop that is open for a small part of the time is taken for its wash valve."""
    found: Pairs = {}
    short = [flag for flag in flags if flag.named.valve and 0.0 < flag.traits.share_on < _WASH_SHARE]
    _by_key(found, values, short, lambda tag: tag.coarse, "a valve of the same loop, open only now and then")
    return found


_PARALLEL = 4  # lanes side by side that are fed alike; more are a row of like machines (cp)


def redundant(values: Sequence[Tag]) -> dict[str, list[Tag]]:
    """Readings related to each reading: redundant ones (same loop, another letter), those of the same place, the same
    measurand in lanes side by side (``N1-O2``, ``N2-O2``), and the few of a measurand that an export holds at all; their
    records show whether they go along."""
    loops: dict[Stem, list[Tag]] = defaultdict(list)
    lanes: dict[tuple[Stem, int], list[Tag]] = defaultdict(list)
    alike: dict[str, list[Tag]] = defaultdict(list)
    for tag in values:
        stem = tag.coarse
        if stem:
            loops[stem[:-1] if _of_several(stem) else stem].append(tag)
        for at in _ordinals(tag):
            lanes[((*tag.fine[:at], "", *tag.fine[at + 1 :]), at)].append(tag)
        if tag.measurand:
            alike[tag.measurand].append(tag)
    related: dict[str, list[Tag]] = defaultdict(list)
    for group in loops.values():
        if 1 < len(group) <= 8:
            for tag in group:
                related[tag.name] += [other for other in group if other is not tag]
    for group in (*lanes.values(), *alike.values()):
        if 1 < len(group) <= _PARALLEL:
            for tag in group:
                known = {other.name for other in related[tag.name]}
                related[tag.name] += [o for o in group if o is not tag and o.name not in known]
    return {name: others for name, others in related.items() if others}


def _ordinals(tag: Tag) -> list[int]:
    """Where the name of a reading that says its measurand holds a small number that is no loop's."""
    if not tag.named.measurand:
        return []
    return [at for at, word in enumerate(tag.fine) if word.isdigit() and len(word) < 3 and word != tag.loop]
