"""What a record could not have shown: the other half of an answer that trusts a reading."""

from __future__ import annotations

import math
from collections.abc import Iterable

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.kinds import DEAD, MOVES
from excursions.records import Event, Limit
from excursions.report.case import Case, tolerance
from excursions.report.checks import COARSE
from excursions.report.result import PointFindings

DAY_S = NS_PER_DAY / NS_PER_S


def limit_words(limit: Limit, events: Iterable[Event]) -> str:
    """The sentence of a limit; of a kind that was found although no limit can be stated that its size cannot be said."""
    if not limit.is_stated and any(event.kind == limit.kind for event in events):
        return "one was found here; how small one would still be found cannot be said"
    return limit.sentence


def dead_unseen(findings: PointFindings) -> tuple[str, ...]:
    """Failures after which a reading follows nothing, where one of a day or more could have come and gone unseen.

    Between two looks a day apart somebody notices a reading that stands; what a record hides for longer has to be told (cp).
    """
    return tuple(
        limit.sentence
        for limit in findings.limits
        if limit.kind in DEAD and limit.is_stated and max(limit.size, limit.lasting_s) >= DAY_S
    )


def moves_unseen(findings: PointFindings, tolerance: float) -> tuple[str, ...]:
    """Changes of the reading's level that matter and could have come unseen; kinds whose limits are one and the same once.

    tolerance : reading error that matters, the point's canonical unit
    """
    unit = "K" if findings.unit == "degC" else findings.unit  # of a change
    told: dict[tuple[float, float], str] = {}
    for limit in findings.limits:
        least = min((size for size in (limit.size, limit.at_once) if math.isfinite(size)), default=math.nan)
        if limit.kind in MOVES and limit.unit == unit and least > tolerance:
            told.setdefault((limit.size, limit.lasting_s), limit.sentence)
    return tuple(told.values())


def could_hide(case: Case, verdict: str) -> tuple[str, ...]:
    """What the way of recording could hide, a sentence a signal; where a reading is trusted, what matters and could not have shown."""
    said = []
    for role, words in (("value", "reading"), ("temperature", "temperature")):
        sampling = case.findings.sampling.get(role)
        if sampling is None or not math.isfinite(sampling.interval_s):
            continue
        interval = duration_text(sampling.interval_s)
        text = COARSE.get(sampling.kind, "what lasts less than {interval} can be missed")
        said.append(f"{words}: {text.format(interval=interval)}")
    if verdict == "trust":
        faults = (*dead_unseen(case.findings), *moves_unseen(case.findings, tolerance(case)))
        said += [f"fault: {words}" for words in faults]
    return tuple(said)
