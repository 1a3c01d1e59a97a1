"""What a check found, for machines: the same facts as in words, as plain values."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial

from excursions import clock
from excursions.pipeline.check import CheckResult, FileCheck, SignalCheck, finite
from excursions.report.recording import flats, gaps, peaks, recorded, shows


def check_facts(found: CheckResult) -> dict[str, object]:
    """The same for machines: every file and signal, times ISO 8601 UTC, null where unknown."""
    return {
        "zone": found.plant.zone,
        "files": [_file_facts(file) for file in found.files],
        "rows": dict(found.rows),
        "decisions": [asdict(decision) for decision in found.decisions],
        "status_words": found.words.to_dicts(),
        "problems": [str(problem) for problem in found.problems],
        "signals": [_signal_facts(signal) for signal in found.signals],
    }


def _file_facts(file: FileCheck) -> dict[str, object]:
    facts = asdict(file)
    facts["first"], facts["last"] = _when(file.first), _when(file.last)
    return {key: _plain(value) for key, value in facts.items()}


def _signal_facts(signal: SignalCheck) -> dict[str, object]:
    facts = asdict(signal)
    facts["first"], facts["last"] = _when(signal.first), _when(signal.last)
    facts["shows"] = asdict(shows(signal.sampling))
    said = {"recorded": recorded, "peaks": peaks, "flat": flats}
    facts["words"] = {
        name: write(signal.sampling, partial(signal.amount, digits=6)) for name, write in said.items()
    }
    facts["words"] |= {"gaps": gaps(signal.sampling)}
    facts["status_words"] = dict(signal.words)
    return {key: _plain(value) for key, value in facts.items()}


def _when(instant: int | None) -> str | None:
    return clock.iso(instant) if instant is not None else None


_INSTANTS = ("time", "at", "longest_silence_at")


def _plain(value: object, key: str = "") -> object:
    if isinstance(value, dict):
        return {name: _plain(item, str(name)) for name, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return finite(value)
    if isinstance(value, int) and key in _INSTANTS:
        return clock.to_datetime(value).isoformat()
    return value
