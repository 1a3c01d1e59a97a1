"""What the reading itself says about cleaning and calibration."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.digits import written
from excursions.measurands import Window
from excursions.plant import Point
from excursions.ranks import quantiles
from excursions.states.trace import Trace, time_quantiles

CAUSTIC_PH, ACID_PH = 10.8, 2.8  # (cp) cleaning agents at use strength lie beyond
TOLERANCES = 3.0  # outside the usual range by this many tolerances is elsewhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A value signal with the range it usually has (3 % to 93 % of the time), and where standards are read."""

    trace: Trace
    point: Point
    low: float
    high: float
    windows: tuple[Window, ...] = ()

    @property
    def known(self) -> bool:
        """Whether the measured quantity is one that probes are cleaned and calibrated for."""
        return self.point.measurand not in ("other", "temperature")

    def while_cleaning(self, start: int, end: int) -> str:
        """What speaks for a cleaning agent in [start, end); empty when nothing does."""
        seen = self.trace.value[self.trace.slice(start, end)]
        if not self.known or seen.size < 2:
            return ""
        low, high = quantiles(seen, (0.2, 0.8))
        if self.point.measurand == "ph":
            return self._agent(low, high)
        if self.point.measurand == "conductivity":
            return f"conductivity up to {written(high, 4)} uS/cm" if high > 2.0 * self.high else ""
        away = TOLERANCES * self.point.tolerance_at(self.high)
        outside = low > self.high + away or high < self.low - away
        return "reading outside its usual range meanwhile" if outside else ""

    def _agent(self, low: float, high: float) -> str:
        if high > max(CAUSTIC_PH, self.high + 1.0):
            return f"pH up to {high:.1f} as in caustic"
        if low < min(ACID_PH, self.low - 1.0):
            return f"pH down to {low:.1f} as in acid"
        return ""


def reading_of(trace: Trace | None, point: Point) -> Reading | None:
    """The reading with its usual range, None without samples."""
    if trace is None:
        return None
    low, high = time_quantiles(trace, (0.03, 0.93))
    return Reading(trace=trace, point=point, low=low, high=high, windows=point.quantity.windows)
