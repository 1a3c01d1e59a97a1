"""A reading of which nobody knows what it is."""

from __future__ import annotations

from excursions.measurands.row import Assumed, Measurand

OTHER = Measurand(
    key="other",
    label="reading",
    unit="",
    assumed=Assumed(reading_relative=0.01, standard_relative=0.005),
)
