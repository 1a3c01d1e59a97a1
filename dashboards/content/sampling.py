"""What the recording could hide, said for each signal of a point."""

from __future__ import annotations

import numpy as np

from dashboards.wording import Reader, capital, joined, thousands
from excursions.digits import written
from excursions.handbook import page_of
from excursions.kinds import KINDS
from excursions.records import Sampling
from excursions.report.recording import flats, gaps, peaks, recorded, resolved
from excursions.report.result import PointFindings, Trace

ROLE_WORDS = {
    "value": "reading",
    "temperature": "temperature",
    "pressure": "line pressure",
    "hold": "hold",
    "wash": "wash valve",
}


def sampling_words(findings: PointFindings, reader: Reader) -> tuple[str, ...]:
    """What each signal's record shows and hides, then how the figure was thinned."""
    said = [
        sentence
        for role, sampling in findings.sampling.items()
        if role in ROLE_WORDS
        for sentence in _sentences(role, sampling, findings.traces.get(role), reader)
    ]
    return (*said, *_thinned(findings))


def limit_rows(findings: PointFindings, reader: Reader) -> tuple[tuple[str, str, str], ...]:
    """What each detector would miss on this record: label of the kind, its page in the handbook and the sentence.

    Those that the record cannot show come last, together, without a page.
    """
    shown = [limit for limit in findings.limits if limit.is_stated]
    found = {event.kind for event in findings.events}
    silent = [limit.kind for limit in findings.limits if not limit.is_stated]
    unseen = [KINDS[kind].label for kind in silent if kind not in found]
    unmeasured = [KINDS[kind].label for kind in silent if kind in found]
    said = [
        (
            capital(KINDS[limit.kind].label),
            page_of(limit.kind).name,
            f"{capital(reader.text(limit.sentence))}.",
        )
        for limit in shown
    ]
    if unseen:
        said.append(
            ("Cannot tell", "", f"This record cannot be relied on to show {joined(unseen, last='or')}.")
        )
    if unmeasured:
        said.append(
            ("Found, but", "", f"How small one would still be found cannot be said of {joined(unmeasured)}.")
        )
    return tuple(said)


def _sentences(role: str, sampling: Sampling, trace: Trace | None, reader: Reader) -> tuple[str, ...]:
    """How the signal was recorded, then what that shows and hides: the same words as the check command's."""
    unit = trace.unit if trace else ""

    def amount(size: float) -> str:
        return _difference(size, unit, reader)

    what = capital(ROLE_WORDS[role])
    return (
        f"{what}: {recorded(sampling, amount)}; {resolved(sampling, amount)}; {gaps(sampling, reader.moment)}.",
        f"{what}, peaks: {peaks(sampling, amount)}.",
        f"{what}, flat stretches: {flats(sampling, amount)}.",
    )


def _difference(size: float, unit: str, reader: Reader) -> str:
    """Worked out in the unit shown and written then: a step of the export's own unit is a round figure of that."""
    shown = float(reader.apart(np.asarray(size), unit))
    return f"{written(shown)} {reader.unit('K' if unit == 'degC' else unit)}".rstrip()


def _thinned(findings: PointFindings) -> tuple[str, ...]:
    signals = [t for t in findings.traces.values() if t.name != "noise"]  # which is worked out, not recorded
    thinned = [t for t in signals if t.time.size < t.samples]
    if not thinned:
        return ("The figure draws every sample.",)
    parts = [f"{t.name} {thousands(t.time.size)} of {thousands(t.samples)}" for t in thinned]
    return (
        f"The figure draws fewer samples than there are ({', '.join(parts)}): lowest and highest of every stretch "
        "are kept, events are kept finer, and no extreme is lost.",
    )
