"""How often events leave damage and how big it is: the table's guesses, moved by this plant's own record.

The table of :mod:`excursions.link.priors` is common practice.  A plant with many calibrations tells better: after a
first weighing, every kind of event has been seen to act so often, and damage has been so big.  The factors here are
what was seen over what was expected, drawn to one by pseudo-counts (an expectation-maximisation step with a prior).

References
----------
.. [1] Dempster, Laird, Rubin, "Maximum likelihood from incomplete data via the EM algorithm", J. R. Stat. Soc. B 39
   (1977) 1; with a prior as in Gelman and others, Bayesian Data Analysis, 3rd ed. (2013), 13.4.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from excursions.link.priors import UNRECORDED_PER_MONTH

Key = tuple[str, str, str]  # measurand, parameter, unit
Family = tuple[str, str, bool]  # kind and origin of an event, and whether a change of the reading followed it
Source = tuple[Key, str]  # a parameter, and what damaged it: HEAT, UNSEEN or OTHER
# Heat, what nobody recorded, and other events damage by different amounts: each has a size of its own to learn.
HEAT, UNSEEN, OTHER = "heat", "unrecorded", "event"
_COUNTS = 3.0  # pseudo-counts of a chance
_MONTHS = 100.0  # pseudo-exposure of the unrecorded
_KICKS = 6.0  # pseudo-counts of the size of damage
_LIMITS = (0.02, 20.0)
_KICK_LIMITS = (0.01, 100.0)  # of squared sizes


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """What is believed of events and damage.

    chance : factor by family of events; unrecorded : chance a month; kick : factor on the size of damage by source
    heat : change for an hour of dose and its standard error, by parameter, where the record taught it
    """

    chance: Mapping[Family, float] = field(default_factory=dict)
    unrecorded: float = UNRECORDED_PER_MONTH
    kick: Mapping[Source, float] = field(default_factory=dict)
    heat: Mapping[Key, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one interval says: chances expected and found by family, the unrecorded, and sizes of damage.

    events : family, expected chance by the table, found chance
    months, unrecorded : length, found chance that something unrecorded acted
    kicks : source, weight, found squared size over the squared size believed so far
    """

    events: tuple[tuple[Family, float, float], ...]
    months: float
    unrecorded: float
    kicks: tuple[tuple[Source, float, float], ...]


def updated(seen: Iterable[Seen], before: Beliefs) -> Beliefs:
    """Beliefs after a weighing under the beliefs `before`; what a regression taught of heat stays."""
    expected: dict[Family, float] = {}
    found: dict[Family, float] = {}
    weight: dict[Source, float] = {}
    size: dict[Source, float] = {}
    months = unrecorded = 0.0
    for one in seen:
        months, unrecorded = months + one.months, unrecorded + one.unrecorded
        for kind, table, after in one.events:
            expected[kind] = expected.get(kind, 0.0) + table
            found[kind] = found.get(kind, 0.0) + after
        for key, share, squared in one.kicks:
            weight[key] = weight.get(key, 0.0) + share
            size[key] = size.get(key, 0.0) + share * squared * before.kick.get(key, 1.0) ** 2
    return Beliefs(
        chance={
            kind: _between((found[kind] + _COUNTS) / (expected[kind] + _COUNTS), _LIMITS) for kind in found
        },
        unrecorded=(UNRECORDED_PER_MONTH * _MONTHS + unrecorded) / (_MONTHS + months),
        kick={
            key: _between((size[key] + _KICKS) / (weight[key] + _KICKS), _KICK_LIMITS) ** 0.5 for key in size
        },
        heat=before.heat,
    )


def _between(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, limits[0]), limits[1])
