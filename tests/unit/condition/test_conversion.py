"""Units taken to the house's own: what was a decimal in one stays the decimal it is in the other."""

from __future__ import annotations

import numpy as np

from excursions.measurands import converted, to_canonical


def test_thousandths_are_divided_so_that_every_decimal_is_met_exactly() -> None:
    told = np.round(np.arange(0.0, 20.0, 0.01), 2)
    scale = to_canonical("oxygen", "ug/L")
    assert scale is not None
    assert np.array_equal(converted(np.round(told * 1000.0), scale), told)
    assert converted(3_530.0, scale) == 3.53


def test_other_factors_and_offsets_are_applied_as_they_stand() -> None:
    scale = to_canonical("temperature", "degF")
    assert scale is not None
    assert abs(converted(212.0, scale) - 100.0) < 1e-9
    assert converted(2.0, (0.0, 1.0)) == 1.0
    assert converted(2.0, (3.0, 0.0)) == 6.0
