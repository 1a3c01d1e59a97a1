"""Where a reading sits while its probe is calibrated: buffers, standards, air, zero.

The windows are wide enough for a worn probe.  A window in which the process itself spends time says
nothing and is left out for that record.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.measurands import MEASURANDS, Window
from excursions.records import BoolArray, FloatArray
from excursions.states.trace import Trace, share_within

VISITED = 0.04  # share of the time in a window from which on it belongs to the process


def inside(window: Window, value: FloatArray) -> BoolArray:
    """Whether each reading lies in the window."""
    return np.asarray((value >= window.low) & (value <= window.high))


def widened(window: Window) -> Window:
    """Where a probe that is far off, and not adjusted yet, may still read a standard (cp: once more the width on either side)."""
    width = window.high - window.low
    return Window(label=window.label, low=window.low - width, high=window.high + width)


def label_of(measurand: str, value: float, label: str = "") -> str:
    """Label of the window in which a standard of this value (canonical unit) would be read; empty when none is known."""
    windows = MEASURANDS[measurand].windows
    named = next((w.label for w in windows if label and w.label == label), "")
    return named or next((w.label for w in windows if w.low <= value <= w.high), "")


def telling_standards(known: Sequence[Window], trace: Trace) -> tuple[Window, ...]:
    """Those of some standards that the process of this record does not visit by itself."""
    return tuple(one for one in known if share_within(trace, one.low, one.high) <= VISITED)
