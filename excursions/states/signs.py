"""What calibrations are looked for in, and the signs that all of them share: temperature, hold, an entry in a log.

Each sign alone also has other causes; they are weighed together as log odds.  The weights are a judgement
of the trade, written here once; none is fitted to data.  Where a log enters a calibration it was as likely done as not
before looking, so that signs too weak to stand alone bear it out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, TimeArray
from excursions.records import CALIBRATING
from excursions.states.heat import Usual
from excursions.states.line import Claim
from excursions.states.reading import Reading
from excursions.states.settling import Pace
from excursions.states.trace import Trace
from excursions.states.walk import WALK_K, Walk, level_beside, walk_during

PRIOR = -3.0
MORE_STANDARDS, SAME_AGAIN = 3.0, 0.7
CAME_BACK, ELSEWHERE = 1.0, 1.0
WALKED, WALKED_A_LITTLE, STAYED = 2.5, 1.5, -2.0
FLAGGED, HELD_MIN = 1.5, 10.0  # a hold for a wash of half a minute says nothing of the work about it
ENTERED = "entered in the log"
NOTED, NOTED_WITHIN_H = 3.0, 2.0  # an entry is written at the start or at the end of the work (cp)
NEAR = int(NOTED_WITHIN_H * NS_PER_HOUR)
BELIEVED = 0.6  # rather than not, with room for what else shows the same signs (cp)
LONGEST_H = 4.0  # what takes longer is other work, or none (cp)
PACES = 8.0  # a standard is this many times the usual move of the reading over minutes away


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """Everything that calibrations are looked for in; `pace` carries the temperature, `moves` the reading.

    noted : instants (n,) at which a log enters a calibration; hot : spans (k, 2) of cleaning and steam, in time order
    """

    reading: Reading
    moves: Pace | None
    pace: Pace | None
    usual: Usual | None
    flagged: TimeArray
    noted: TimeArray
    hot: TimeArray

    def beside(self, trace: Trace, start: int, end: int) -> tuple[float, float]:
        """Levels before and after a span, heat left out."""
        return level_beside(trace, start, -1, self.hot), level_beside(trace, end, +1, self.hot)

    def walk(self, start: int, end: int) -> Walk | None:
        """What the temperature did during a span; None without one to tell."""
        return walk_during(self.pace, start, end, self.hot)

    def entered(self, start: int, end: int) -> bool:
        """Whether a log enters a calibration about this time."""
        return bool(np.any((self.noted > start - NEAR) & (self.noted < end + NEAR)))


def with_common_signs(
    span: tuple[int, int], odds: float, facts: Sequence[str], walk: Walk | None, signs: Signs
) -> Claim | None:
    """Add what the temperature and the hold flag say, and make the claim when it is believed."""
    said = list(facts)
    helped = NOTED * signs.entered(*span)
    if helped:
        odds, said = odds + helped, [*said, ENTERED]
    if walk is not None and walk.kelvin > 0:
        odds += WALKED if walk.kelvin >= WALK_K else WALKED_A_LITTLE
        said.append(f"temperature from {walk.before:.0f} °C to {walk.there:.0f} °C and back")
    elif walk is not None and walk.stayed:
        odds += STAYED
    held = np.minimum(signs.flagged[:, 1], span[1]) - np.maximum(signs.flagged[:, 0], span[0])
    if np.any(held >= min(HELD_MIN * NS_PER_MINUTE, 0.5 * (span[1] - span[0]))):
        odds, said = odds + FLAGGED, [*said, "hold active"]
    confidence = 1.0 / (1.0 + math.exp(-odds))
    if confidence < BELIEVED or span[1] - span[0] > LONGEST_H * NS_PER_HOUR:
        return None
    return Claim(
        start=span[0], end=span[1], code=CALIBRATING, confidence=confidence, evidence="; ".join(said), helped=helped,
        stood=walk.rest if walk is not None and walk.kelvin > 0 else math.nan,
    )  # fmt: skip
