"""What the recording could hide, said for each signal of a point."""

from __future__ import annotations

import math

from dashboards.wording import Reader, capital
from excursions.clock import duration_text
from excursions.kinds import KINDS
from excursions.records import Sampling
from excursions.report.result import PointFindings, Trace

ROLE_WORDS = {
    "value": "reading",
    "temperature": "temperature",
    "pressure": "line pressure",
    "hold": "hold",
    "wash": "wash valve",
}
KIND_SENTENCES = {
    "grid": "one sample every {interval}; what lasts less than that can be missed",
    "exception": "recorded on change{band}; silence up to {heartbeat} is quiet, not missing",
    "swinging": "compressed on recording{band}; the line between two samples may be off by that much",
    "averages": "averages over {interval}: a short peak is flattened, and the true peak can be higher than any drawn here",
    "interpolated": "values interpolated on a grid of {interval}: not every value was measured, and a gap may be drawn as a ramp",
    "sparse": "few samples, {interval} apart on the median: what happened in between is not known",
}


def sampling_words(findings: PointFindings, reader: Reader) -> tuple[str, ...]:
    """One sentence a signal, then one on how the figure was thinned."""
    said = [
        _sentence(role, sampling, findings.traces.get(role), reader)
        for role, sampling in findings.sampling.items()
        if role in ROLE_WORDS
    ]
    return (*said, *_thinned(findings))


def limit_words(findings: PointFindings) -> tuple[tuple[str, str], ...]:
    """What each detector would miss on this record: label of the kind and the sentence; those it cannot show at last."""
    shown = [limit for limit in findings.limits if math.isfinite(limit.size)]
    silent = [KINDS[limit.kind].label for limit in findings.limits if not math.isfinite(limit.size)]
    said = [(capital(KINDS[limit.kind].label), f"{capital(limit.sentence)}.") for limit in shown]
    if silent:
        said.append(("Cannot tell", f"This record cannot show {', '.join(silent)}."))
    return tuple(said)


def _sentence(role: str, sampling: Sampling, trace: Trace | None, reader: Reader) -> str:
    unit = trace.unit if trace else ""
    band = (
        f", changes below {_difference(sampling.deadband, unit, reader)} left out"
        if sampling.deadband > 0
        else ""
    )
    text = KIND_SENTENCES.get(sampling.kind, "one sample every {interval}").format(
        interval=_span(sampling.interval_s), band=band, heartbeat=_span(sampling.heartbeat_s)
    )
    if sampling.resolution > 0:
        text += f"; smallest step {_difference(sampling.resolution, unit, reader)}"
    if sampling.longest_silence_s > 0:
        text += f"; longest silence {_span(sampling.longest_silence_s)}"
    if sampling.share_bad > 0:
        text += f"; {sampling.share_bad * 100:.2g} % of the samples are marked bad"
    return f"{capital(ROLE_WORDS[role])}: {text}."


def _difference(size: float, unit: str, reader: Reader) -> str:
    return reader.difference(size, unit)


def _span(seconds: float) -> str:
    return duration_text(seconds) if math.isfinite(seconds) else "a time that does not show"


def _thinned(findings: PointFindings) -> tuple[str, ...]:
    thinned = [t for t in findings.traces.values() if t.time.size < t.samples]
    if not thinned:
        return ("The figure draws every sample.",)
    parts = [f"{t.name} {t.time.size:,} of {t.samples:,}".replace(",", "\u202f") for t in thinned]
    return (
        f"The figure draws fewer samples than there are ({', '.join(parts)}): lowest and highest of every stretch "
        "are kept, events are kept finer, and no extreme is lost.",
    )
