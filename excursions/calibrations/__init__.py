"""Calibration arithmetic: parameters from raw values, checks of the entry, shifts between calibrations.

In: rows of calibration logs and the plant.  Out: calibrations, shifts, swaps that nobody logged.  Promises: every
parameter carries a standard uncertainty; nothing is dropped because it looks wrong.  Never: looks at events.
"""

from excursions.calibrations.evaluate import evaluate
from excursions.calibrations.shifts import SIGNIFICANCE, chance_remark, shifts
from excursions.calibrations.stays import with_logs
from excursions.calibrations.strangers import set_aside
from excursions.calibrations.swaps import installations_from

__all__ = [
    "SIGNIFICANCE",
    "chance_remark",
    "evaluate",
    "installations_from",
    "set_aside",
    "shifts",
    "with_logs",
]
