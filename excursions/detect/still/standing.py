"""How one record stands still: its spells, on its own clock, and what must move in it to be seen; each worked out once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.detect.series.spells import (
    Spells,
    covered_s,
    drawn_line,
    least_move,
    nearly_still,
    on_clock,
    own_clock,
    unchanged,
)
from excursions.detect.series.stillness import Bins, bins_of
from excursions.detect.series.survey import Survey
from excursions.records import FloatArray, Record, Sampling

SINGLES = 50  # where a signal hardly ever repeats, this many single samples make up the bulk
HEARTBEATS = 3.5  # a recorder that repeats itself says nothing before its fourth repetition


@dataclass(frozen=True, slots=True)
class Standing:
    """A record with a reading, its survey, and how the reading was recorded."""

    record: Record
    survey: Survey
    sampling: Sampling

    @property
    def thinned(self) -> bool:
        """Whether the recorder leaves samples out."""
        return self.sampling.on_change

    @property
    def covered(self) -> FloatArray:
        """Seconds of record up to each sample (n,)."""
        return self.survey.once("covered", self._covered)

    def _covered(self) -> FloatArray:
        temperature = self.record.temperature
        beside = temperature.time if temperature is not None else None
        return covered_s(self.survey.live, thinned=self.thinned, beside=beside)

    @property
    def speed(self) -> FloatArray | None:
        """Speed of the signal's own clock in each block; None where it has none."""
        return self.survey.once("own clock", lambda: own_clock(self.survey.blocks))

    @property
    def bins(self) -> Bins:
        """Lowest and highest reading in short, equal parts of the record."""
        return self.survey.once(
            "bins", lambda: bins_of(self.survey.live, self.survey.blocks, thinned=self.thinned)
        )

    @property
    def count(self) -> float:
        """Size of a converter's count: what nearly all changes from sample to sample reach, though the export writes more digits."""
        written_to = self.sampling.resolution
        if self.thinned:
            return written_to
        return self.survey.once("count", lambda: max(written_to, least_move(self.survey.live)))

    @property
    def step(self) -> float:
        """What a move must reach to be seen in this record."""
        return max(self.count, self.sampling.deadband if self.thinned else 0.0)

    def band(self, counts: float, noise: float) -> float:
        """Within how much a reading counts as nearly still: so many counts, or that share of the noise."""
        count, written_to = self.count, self.sampling.resolution
        # Counts that the export rounds: half a digit at either end.
        rounding = written_to if count > 1.5 * written_to else 0.0
        return max(counts * count + rounding, noise * self.survey.sigma)

    def still(self, *, held_between: bool = False) -> Spells:
        """Runs of one value."""
        name = "still, held between" if held_between else "still"
        return self.survey.once(
            name, lambda: unchanged(self.survey.live, self.covered, held_between=held_between)
        )

    def nearly_still(self, band: float) -> Spells:
        """Spells within a band."""
        return self.survey.once(
            f"nearly still {band}", lambda: nearly_still(self.bins, self.covered, band=band)
        )

    def lengths(self, spells: Spells) -> FloatArray:
        """Lengths of the spells on the signal's clock [s], then of single samples where spells are few."""
        survey, speed = self.survey, self.speed
        size = spells.held_s if speed is None else on_clock(spells, survey.blocks, survey.live, speed)
        lone = max(0, min(SINGLES, len(survey.live)) - len(spells))
        return np.concatenate([size, np.zeros(lone)]) + survey.interval_s

    def shortest(self, wanted_s: float) -> float:
        """Shortest spell that is looked at [s]: as long as wanted, and longer than recorder and export stand still by themselves."""
        if not self.thinned:
            return max(wanted_s, math.nextafter(HEARTBEATS * drawn_line(self.survey), math.inf))
        beat = self.sampling.heartbeat_s
        return max(wanted_s, HEARTBEATS * beat) if math.isfinite(beat) else wanted_s

    def unseen_s(self) -> float:
        """Time [s] that a recorder that leaves samples out, or an export that draws lines, leaves in the dark."""
        if not self.thinned:
            return HEARTBEATS * drawn_line(self.survey)
        sampling = self.sampling
        beat = sampling.heartbeat_s if math.isfinite(sampling.heartbeat_s) else sampling.longest_silence_s
        return (HEARTBEATS + 2) * beat
