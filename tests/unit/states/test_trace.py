"""Where the samples of a record stand."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S, TimeArray
from excursions.states.trace import Trace

EVEN = np.arange(50, dtype=np.int64) * 10 * NS_PER_S + 7


@pytest.mark.parametrize(
    "time", [EVEN, np.delete(EVEN, 20), EVEN[:1]], ids=["even", "a hole", "a single one"]
)
def test_the_sample_that_stands_at_an_instant_is_the_last_one_before_it(time: TimeArray) -> None:
    trace = Trace(
        time=time, value=np.ones(time.size), interval_s=10.0, usual_s=10.0, gap_s=35.0, resolution=0.0,
        held=False, drawn=True,
    )  # fmt: skip
    when = np.concatenate([EVEN, EVEN - 1, EVEN + 1, EVEN[[-1]] + 10**12, EVEN[[0]] - 10**12])
    np.testing.assert_array_equal(trace.last_at(when), np.searchsorted(time, when, side="right") - 1)
