"""What happened at a point: events, what others say of them, how small ones are found, and which readings to doubt."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from excursions.kinds import SEVERITIES

SEVERITY_RANK = {severity: rank for rank, severity in enumerate(SEVERITIES)}

MAY_BE_PROBE = ("probe", "undecided")  # origins of an event that the probe made, or may have

RETURNED = "returned_after_s"  # detail of a change of level that went back by itself

# Details of a walk apart from a neighbour that rather went itself: how sure that is as far as this record tells, by how much
# it went and from where, in its unit.
THEIR_CONFIDENCE, THEIR_SIZE, THEIR_LEVEL = "neighbour_confidence", "neighbour_size", "neighbour_before"

# What became of an event at the calibrations after it: what `link.outcome` says, with a sentence.
VERIFIED = "verified by calibration"
NOT_BORNE_OUT = "not borne out"
NOT_YET = "not verified yet"
NOT_PUT_RIGHT = "not seen put right"  # only what it left was entered, and the reading did not come back
SETTLED = (VERIFIED, NOT_BORNE_OUT)
OUTCOMES = (*SETTLED, NOT_YET, NOT_PUT_RIGHT)
# Event id -> (one of these, sentence); nothing of events that are not the probe's.
Outcomes = Mapping[str, tuple[str, str]]

MOVED_TOO, MOVED_NOT, SHOWED_IT = "moved too", "did not move", "showed the error"
MOVED_INSTEAD = "moved instead"  # a neighbour, from this reading, which stayed where it was
LABORATORY, TEMPERATURE = "laboratory samples", "the temperature"


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """What another source than the reading itself says of an event, weighed where the event began.

    source : a point's name, `TEMPERATURE` or `LABORATORY`; said : `MOVED_TOO`, `MOVED_NOT`, `MOVED_INSTEAD` or `SHOWED_IT`; words : the
    same as a fact of the event's evidence.
    """

    source: str
    said: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened, seen in one signal of one point.

    size (with size_low, size_high as its interval) in size_unit, meaning as the kind's row says;
    confidence: probability that kind and origin are right; severity: what it does to the reading;
    details: further figures by name with the unit in the name (``minutes_above_rating_min``);
    parts: ids of detections merged into this one; witnesses: which of the evidence another source gave.
    """

    point: str
    kind: str
    start: int
    end: int
    size: float
    size_unit: str
    confidence: float
    origin: str = "probe"
    severity: str = "check"
    probe: str = ""
    size_low: float = float("nan")
    size_high: float = float("nan")
    onset_uncertainty_s: float = 0.0
    open_start: bool = False
    open_end: bool = False
    evidence: tuple[str, ...] = ()
    details: dict[str, float] = field(default_factory=dict)
    parts: tuple[str, ...] = ()
    witnesses: tuple[Witness, ...] = ()

    @property
    def id(self) -> str:
        """Short stable identity: point, kind and onset; the same in every run over the same record."""
        return short_id(self.point, self.kind, self.start)

    @property
    def may_be_probe(self) -> bool:
        """Whether the probe did it, or may have."""
        return self.origin in MAY_BE_PROBE

    @property
    def asks_a_look(self) -> bool:
        """Whether it is more than a note."""
        return SEVERITY_RANK[self.severity] >= SEVERITY_RANK["check"]

    @property
    def well_begun(self) -> int:
        """When it had certainly begun [ns]: what lasts has ends that are known to a tenth of its length at best."""
        return self.start + (self.end - self.start) // 10

    @property
    def nearly_over(self) -> int:
        """From when on next to nothing of it is to come [ns]; the end of the record where it still went on."""
        return self.end if self.open_end else self.end - (self.end - self.start) // 10

    @property
    def back_at(self) -> int | None:
        """When the reading was back by itself where it had been [ns]; None when it did not go back."""
        after = self.details.get(RETURNED)
        return None if after is None else self.start + round(after * 1e9)

    @property
    def went_back(self) -> bool:
        """Whether the reading was back by itself where it had been, so that nothing is left of it."""
        return RETURNED in self.details


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Smallest event of one kind that is found on this record with some certainty (about 98 in 100).

    size: in `unit`, measured as the kind says (ratios of noise: 2 is twice, 0.5 half as much), NaN where the
    record cannot show it; lasting_s: how long it must last for that [s], 0 when the length is the size or
    does not matter (stuck: the same limit for a reading that flickers or creeps); sentence: the same in words;
    at_once: smallest size where it comes from one sample to the next, NaN where that makes no difference.
    """

    kind: str
    size: float
    unit: str
    lasting_s: float
    sentence: str
    at_once: float = math.nan

    @property
    def is_stated(self) -> bool:
        """Whether this record can show the kind at all."""
        return math.isfinite(self.size) or math.isfinite(self.at_once)


def short_id(*parts: object) -> str:
    """Ten hexadecimal digits that depend on the parts alone."""
    text = "\x1f".join(str(part) for part in parts)
    return hashlib.blake2b(text.encode(), digest_size=5).hexdigest()


# Basis of a window whose calibration found an error that no event in the record explains: spread evenly.
PRORATION = "linear proration (USGS TM 1-D3)"
# What a reason of such a window says where ordinary ageing is the likeliest cause.
AGED = "ordinary ageing explains it best"
# The same where the probe was found clean after it was found off.
COATED = "a coating, which the cleaning took off, explains it"
# Basis of a window that rests on several events nobody verified, none of which leads.
UNVERIFIED = "events that nobody verified"
# Basis of a window that begins with an adjustment the reading never showed: it went on with the parameters before.
KEPT_BEFORE = "an adjustment that the reading does not show"
# Basis of a window that begins with a verification: it found the reading off, and a verification adjusts nothing.
LEFT_OFF = "found off before and not adjusted"
# The same where that calibration was itself off, as the next one shows.
SET_WRONG = "a calibration that was itself off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A window of readings not to be taken at face value.

    error(t) runs piecewise linearly through `knots` (k, 2): time ns, error in the canonical unit
    (reading minus truth); band is the half width of the 90 % band at each knot.  about: the start is where a
    gradual error is thought to have left the tolerance, to the hour, and no instant that the record marks.
    share: error at the end over the reading, where the error grows with the reading and the readings spread; else NaN.
    too_small: why nobody is told of it (`report.telling` decides), empty where it is told.
    """

    point: str
    probe: str
    start: int
    end: int
    open_end: bool
    knots: tuple[tuple[int, float], ...]
    band: tuple[float, ...]
    basis: str
    hours_out_of_tolerance: float
    event: str = ""
    reasons: tuple[str, ...] = ()
    about: bool = False
    share: float = math.nan
    too_small: str = ""
