"""How a scan reads and how hard it works, as one object from the command to the run's facts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from excursions.detect.tuning import Tuning
from excursions.read import ReadOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanOptions:
    """How to read and how hard to work.

    read : how files are understood; jobs : processes, 0 chooses; columns : names of columns in
    calibration logs and sample lists where they cannot be guessed; engine : ``local`` or ``dask``;
    tune : settings of detectors by detector and name, over those of the register;
    scheduler : address of the Dask scheduler, empty for a cluster on this machine.
    """

    read: ReadOptions = field(default_factory=ReadOptions)
    jobs: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)
    engine: str = "local"
    scheduler: str = ""
    tune: Tuning = field(default_factory=dict)
