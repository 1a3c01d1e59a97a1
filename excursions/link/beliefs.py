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
_COUNTS = 3.0  # pseudo-counts of a chance
_MONTHS = 100.0  # pseudo-exposure of the unrecorded
_KICKS = 6.0  # pseudo-counts of the size of damage
_LIMITS = (0.02, 20.0)
_KICK_LIMITS = (0.2, 5.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """What is believed of events and damage.

    chance : factor by (kind, origin); unrecorded : chance a month; kick : factor on the size of damage by parameter
    heat : change for an hour of dose and its standard error, by parameter, where the record taught it
    """

    chance: Mapping[tuple[str, str], float] = field(default_factory=dict)
    unrecorded: float = UNRECORDED_PER_MONTH
    kick: Mapping[Key, float] = field(default_factory=dict)
    heat: Mapping[Key, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one interval says: chances expected and found by (kind, origin), the unrecorded, and sizes of damage.

    events : (kind, origin), expected chance, found chance
    months, unrecorded : length, found chance that something unrecorded acted
    kicks : parameter key, weight, found squared size over the table's squared kick
    """

    events: tuple[tuple[tuple[str, str], float, float], ...]
    months: float
    unrecorded: float
    kicks: tuple[tuple[Key, float, float], ...]


def updated(seen: Iterable[Seen], heat: Mapping[Key, tuple[float, float]]) -> Beliefs:
    """Beliefs after a weighing, and what a regression taught of heat; expected chances must be those of the table, not of earlier beliefs."""
    expected: dict[tuple[str, str], float] = {}
    found: dict[tuple[str, str], float] = {}
    weight: dict[Key, float] = {}
    size: dict[Key, float] = {}
    months = unrecorded = 0.0
    for one in seen:
        months, unrecorded = months + one.months, unrecorded + one.unrecorded
        for kind, before, after in one.events:
            expected[kind] = expected.get(kind, 0.0) + before
            found[kind] = found.get(kind, 0.0) + after
        for key, share, squared in one.kicks:
            weight[key] = weight.get(key, 0.0) + share
            size[key] = size.get(key, 0.0) + share * squared
    return Beliefs(
        chance={
            kind: _between((found[kind] + _COUNTS) / (expected[kind] + _COUNTS), _LIMITS) for kind in found
        },
        unrecorded=(UNRECORDED_PER_MONTH * _MONTHS + unrecorded) / (_MONTHS + months),
        kick={
            key: _between((size[key] + _KICKS) / (weight[key] + _KICKS), _KICK_LIMITS) ** 0.5 for key in size
        },
        heat=heat,
    )


def _between(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, limits[0]), limits[1])
