"""Reads plant historian exports with the in-line analytical probe in mind.

>>> import excursions
>>> done = excursions.scan(["sample_data/plant"])      # doctest: +SKIP
>>> done.result.verdicts[0].sentence                   # doctest: +SKIP

Names are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "ExcursionsError": "excursions.errors",
    "Focus": "excursions.report.explanation",
    "InputFileError": "excursions.errors",
    "Plant": "excursions.plant",
    "Point": "excursions.plant",
    "Probe": "excursions.plant",
    "ProbeLife": "excursions.report.lives",
    "ReadOptions": "excursions.read",
    "RegisterError": "excursions.errors",
    "Scan": "excursions.pipeline.scan",
    "ScanOptions": "excursions.pipeline.scan",
    "ScanResult": "excursions.report.result",
    "UsageError": "excursions.errors",
    "all_tables": "excursions.report.write",
    "explain": "excursions.report.explain",
    "probe_lives": "excursions.report.lives",
    "propose_register": "excursions.pipeline.scan",
    "scan": "excursions.pipeline.scan",
    "write_tables": "excursions.report.write",
}

__all__ = sorted(["__version__", *_HOMES])

if TYPE_CHECKING:
    from excursions.errors import ExcursionsError, InputFileError, RegisterError, UsageError
    from excursions.pipeline.options import ScanOptions
    from excursions.pipeline.scan import Scan, propose_register, scan
    from excursions.plant import Plant, Point, Probe
    from excursions.read import ReadOptions
    from excursions.report.explain import explain
    from excursions.report.explanation import Focus
    from excursions.report.lives import ProbeLife, probe_lives
    from excursions.report.result import ScanResult
    from excursions.report.write import all_tables, write_tables


def __getattr__(name: str) -> Any:
    """Load a public name from its home module on first use."""
    if name not in _HOMES:
        raise AttributeError(f"module 'excursions' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return __all__
