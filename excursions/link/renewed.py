"""Another probe under the same number, or a renewed membrane, of which nobody wrote anything.

Damage lowers a slope; one that comes back to a new probe's is no event's doing, whatever the readings did meanwhile.  A
glass that gains 3.5 % between two calibrations was exchanged, or one of the two calibrations was wrong; a membrane was
renewed.  None of it need show in the record, so that it stands among what is not recorded.
"""

from __future__ import annotations

import numpy as np

from excursions.calibrations.swaps import CHANCE, comes_back_fresh, fresh_figures
from excursions.link.effects import Variant
from excursions.link.intervals import Interval
from excursions.records import Shift

RENEWED = "renewed"
_CLEARLY = 3.0  # uncertainties
_WITHIN = 2.5  # spreads of new probes


def renewed(interval: Interval) -> tuple[Variant, ...]:
    """The way in which a new probe explains the shifts; none where no slope tells, or new ones are not known."""
    shifts = interval.shifts
    if not any(comes_back_fresh(s.measurand, s.parameter, s.unit) for s in shifts):
        return ()
    rows = [fresh_figures(s.measurand, s.parameter, s.unit) for s in shifts]
    if any(row is None for row in rows):
        return ()
    middle, spread = np.array([row for row in rows if row is not None]).T
    return (
        Variant(
            chance=CHANCE,
            mean=middle - np.array([s.before for s in shifts]),
            covariance=np.diag(spread**2),
            start=interval.start,
            end=interval.end,
            source=RENEWED,
        ),
    )


def came_back(shift: Shift) -> bool:
    """Whether a slope rose by more than its uncertainty allows, to where new probes are."""
    row = comes_back_fresh(shift.measurand, shift.parameter, shift.unit)
    risen = shift.change > _CLEARLY * shift.uncertainty
    return bool(row and risen and abs(shift.after - row[0]) < _WITHIN * row[1])
