"""Spells: stretches where the value stays within a narrow band, from blocks to samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.detect.live import Live
from excursions.records import FloatArray, IndexArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """Spells in time order: sample ranges [first, last], value (middle of the band), hours they held."""

    first: IndexArray
    last: IndexArray
    level: FloatArray
    held_s: FloatArray

    def __len__(self) -> int:
        return int(self.first.size)

    def take(self, index: IndexArray) -> Spells:
        """These spells only."""
        return Spells(
            first=self.first[index], last=self.last[index], level=self.level[index], held_s=self.held_s[index]
        )


def unchanged(live: Live, *, held_between: bool) -> Spells:
    """Runs of exactly the same value, over states and gaps in between that do not break them.

    Parameters
    ----------
    live : Live
    held_between : bool
        True for records on exception: a value holds until the next sample; else until its last sample.
    """
    value, time = live.value, live.time
    first = np.flatnonzero(np.concatenate([[True], value[1:] != value[:-1]]))
    last = np.append(first[1:] - 1, len(live) - 1)
    until = time[last]
    if held_between:
        following = np.minimum(last + 1, len(live) - 1)
        until = np.where(live.fresh[following], until, time[following])
    return Spells(first=first, last=last, level=value[first], held_s=(until - time[first]) / 1e9)
