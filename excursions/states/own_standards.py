"""Standards of a quantity that has none in common use: levels to which the reading went whenever a log enters a calibration.

What the reading of a CO2 probe, say, showed at two entries of the log, it shows at a calibration that nobody entered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE
from excursions.measurands.row import Window, around
from excursions.runs import runs
from excursions.states.reading import Reading

FEWEST, SETTLED_MIN = 3, 2.0  # samples and minutes for which a reading stands in a standard (cp)
WIDTH = 2.0  # tolerances within which a standard is read again
TWICE = 2  # entries that show a level


def with_own_standards(reading: Reading, away: Sequence[Sequence[tuple[int, int]]]) -> Reading:
    """The reading with windows about the levels outside its usual range at which it stood at two entries or more.

    away : for each entry of a log the stretches [start, end) ns in which the reading was elsewhere and came back
    """
    shown = sorted((level, entry) for entry, spans in enumerate(away) for level in _stood(reading, spans))
    windows: list[Window] = []
    while shown:
        width = WIDTH * reading.point.tolerance_at(shown[0][0])
        same = [one for one in shown if one[0] <= shown[0][0] + width]
        level = float(np.median([one[0] for one in same]))
        if len({entry for _, entry in same}) >= TWICE:
            name = f"a standard near {level:.3g} {reading.point.quantity.unit}"
            windows.append(around(name, level, width))
        shown = shown[len(same) :]
    return replace(reading, windows=(*reading.windows, *windows))


def _stood(reading: Reading, spans: Sequence[tuple[int, int]]) -> list[float]:
    """Levels outside the usual range at which the reading moved by less than its tolerance for minutes."""
    made = []
    for start, end in spans:
        window = reading.trace.slice(start, end)
        time, value = reading.trace.time[window], reading.trace.value[window]
        if value.size < FEWEST:
            continue
        blocks = np.lib.stride_tricks.sliding_window_view(value, FEWEST)
        tolerance = np.array([reading.point.tolerance_at(v) for v in np.median(blocks, axis=1).tolist()])
        for a, b in runs(np.ptp(blocks, axis=1) <= tolerance):
            level = float(np.median(value[a : b + FEWEST - 1]))
            long = time[b + FEWEST - 2] - time[a] >= SETTLED_MIN * NS_PER_MINUTE
            if long and not reading.low <= level <= reading.high:
                made.append(level)
    return made
