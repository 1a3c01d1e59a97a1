"""Calibration arithmetic: parameters from raw values, checks of the entry, shifts between calibrations.

In: rows of calibration logs and the plant.  Out: calibrations, shifts, swaps that nobody logged.  Promises: every
parameter carries a standard uncertainty; nothing is dropped because it looks wrong.  Never: looks at events.
"""

from excursions.calibrations.evaluate import evaluate
from excursions.calibrations.exchanges import Exchange, installations_from, recognise_exchanges
from excursions.calibrations.shifts import SIGNIFICANCE, chance_remark, shifts
from excursions.calibrations.stays import with_logs
from excursions.calibrations.strangers import set_aside

__all__ = [
    "SIGNIFICANCE",
    "Exchange",
    "chance_remark",
    "evaluate",
    "installations_from",
    "recognise_exchanges",
    "set_aside",
    "shifts",
    "with_logs",
]
