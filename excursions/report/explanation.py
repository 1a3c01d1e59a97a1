"""What an explanation of one moment holds: the answer first, then why, what was checked, what to do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

EXCLUDED, SPEAKS_FOR, OPEN = "excluded", "speaks for it", "could not be checked"
AGREES, AGAINST = "agrees with the reading", "speaks against the reading"
Verb = Literal["clean", "verify", "calibrate", "replace", "ask for a better export", "set aside", "nothing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Focus:
    """The moment, range or event that is asked about.

    start, end : ns UTC; equal for a moment.  event : id when one event is asked about, else empty.
    """

    start: int
    end: int
    event: str = ""

    @property
    def is_moment(self) -> bool:
        """Whether one instant is asked about."""
        return self.start == self.end


UNKNOWN = "what made it cannot be told from this record"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One candidate cause; the probabilities of an explanation's causes sum to one."""

    words: str
    probability: float
    event: str = ""
    reasons: tuple[str, ...] = ()

    @property
    def is_named(self) -> bool:
        """Whether it names anything: a probability of not knowing is none that people can weigh."""
        return self.words != UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Something other than the probe that was looked at.

    outcome : `EXCLUDED`, `SPEAKS_FOR` or `OPEN`; for a laboratory sample `AGREES` or `AGAINST`; evidence : the figures it rests on, or why it could not be checked.
    """

    question: str
    outcome: str
    evidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One thing to do next, and the sentence around it."""

    verb: Verb
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """The answer to one question about one point.

    verdict : one of ``VERDICTS``; since, until : ns or None (until None with `since` given: not over);
    error, error_low, error_high : reading minus truth at the moment (the worst of a range) with its 90 % band,
    canonical unit, NaN when unknown; wrong : the same in words; basis : what the causes rest on;
    about : since is a guess to the day; reading : what the point showed there; hidden : what this export could hide; event : id of the leading event.
    """

    point: str
    measurand: str
    unit: str
    focus: Focus
    verdict: str
    sentence: str
    since: int | None
    until: int | None
    wrong: str
    error: float = math.nan
    error_low: float = math.nan
    error_high: float = math.nan
    causes: tuple[Cause, ...] = ()
    basis: str = ""
    checks: tuple[Check, ...] = ()
    actions: tuple[Action, ...] = ()
    cautions: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()
    event: str = ""
    knowledge: str = ""
    about: bool = False
    reading: str = ""
