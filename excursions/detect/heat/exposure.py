"""One stretch of heat and its figures: peak and what the sampling could hide, minutes, rates, lethality, dose."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S
from excursions.physics.heat import ageing_dose, lethality_f0, minutes_above
from excursions.physics.steam import saturation_temperature_degc
from excursions.plant import Ratings
from excursions.ranks import median
from excursions.records import FloatArray, Record, Signal
from excursions.states.trace import Trace, trace_of

RATE_S = 60.0  # rates are taken over a minute: faster ones are the element's, not the medium's
RATE_REACH_H = 2.0  # how long after the heat the cooling is followed
PLATEAU_K = 3.0  # within this of the peak counts as the hold
STEAM_DEGC = 110.0  # (cp) minutes above count as sterilising
BEFORE_MIN = 30.0
ELEMENT_K = 1.0  # platinum element of class B at 130 degC and rounding (IEC 60751)
# Absolute pressure [kPa] of one unit, and whether the unit counts from the air pressure.
PRESSURE = {
    "kPa": (1.0, False),
    "bar": (100.0, False),
    "bar_g": (100.0, True),
    "psi": (6.894757293168, False),
    "psi_g": (6.894757293168, True),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """A heat stretch of samples [first, past) between `start` and `end` (ns), with its figures.

    base_degc: before it; peak_degc: highest sample; hidden_degc: what may have been between samples;
    samples: those in steam or above the continuous rating; saturation_degc: hottest saturated steam the line pressure allowed (NaN without a pressure);
    cooling_min: from the end of the hold half the way down to the base (NaN when not seen); odd: in what a stay differs from its
    like.
    """

    first: int
    past: int
    start: int
    end: int
    steaming: bool
    cleaning: bool
    confidence: float
    ratings: Ratings
    base_degc: float
    peak_degc: float
    hidden_degc: float
    saturation_degc: float
    minutes_continuous: float
    minutes_sterilisation: float
    minutes_steam: float
    heating_k_per_min: float
    cooling_k_per_min: float
    cooling_min: float
    f0_min: float
    dose_h: float
    dose_sterilisation_h: float
    samples: int
    open_start: bool
    open_end: bool
    odd: tuple[str, ...] = ()

    @property
    def details(self) -> dict[str, float]:
        """Figures by name with the unit in the name."""
        limit = self.minutes_sterilisation if self.steaming else self.minutes_continuous
        return {
            "minutes_above_rating_min": limit,
            "minutes_above_continuous_min": self.minutes_continuous,
            "minutes_above_sterilisation_min": self.minutes_sterilisation,
            "minutes_above_110_degc_min": self.minutes_steam,
            "heating_rate_k_per_min": self.heating_k_per_min,
            "cooling_rate_k_per_min": self.cooling_k_per_min,
            "cooling_half_way_min": self.cooling_min,
            "f0_min": self.f0_min,
            "dose_h": self.dose_h,
            "dose_above_sterilisation_h": self.dose_sterilisation_h,
            "hidden_peak_degc": self.hidden_degc,
            "saturation_degc": self.saturation_degc,
            "rating_continuous_degc": self.ratings.continuous_degc,
            "rating_sterilisation_degc": self.ratings.sterilisation_degc,
            "rating_assumed": float(self.ratings.assumed),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Where heat was found: samples [first, past), instants, and the state that explains it; odd: in what it differs from
    its like.
    """

    first: int
    past: int
    start: int
    end: int
    steaming: bool = False
    cleaning: bool = False
    confidence: float = 0.95
    odd: tuple[str, ...] = ()


def measure(record: Record, trace: Trace, stretch: Stretch) -> Exposure:
    """Work out the figures of one stretch; integrals reach to the samples just outside, never across a gap."""
    first, past = stretch.first, stretch.past
    wide = slice(max(first - 1, 0), min(past + 1, len(trace)))
    time, temp = trace.time[wide], trace.value[wide]
    ratings = record.plant.ratings(record.point, stretch.start)
    top = first + int(np.argmax(trace.value[first:past]))
    peak = float(trace.value[top])
    base = _base(trace, stretch.start, peak)
    saturation = saturation_degc(record, stretch.start, stretch.end)
    after = trace.slice(int(trace.time[top]), stretch.end + int(RATE_REACH_H * NS_PER_HOUR))
    before = trace.slice(stretch.start - int(BEFORE_MIN * NS_PER_MINUTE), int(trace.time[top]) + 1)
    before = slice(max(min(before.start, first - 1), 0), before.stop)
    gap = trace.gap_s
    hot = STEAM_DEGC if stretch.steaming else ratings.continuous_degc
    return Exposure(
        first=first,
        past=past,
        start=stretch.start,
        end=stretch.end,
        steaming=stretch.steaming,
        cleaning=stretch.cleaning,
        confidence=stretch.confidence,
        ratings=ratings,
        base_degc=base,
        peak_degc=peak,
        hidden_degc=bounded(hidden_peak(record.temperature, trace, top), peak, saturation),
        saturation_degc=saturation,
        minutes_continuous=minutes_above(time, temp, ratings.continuous_degc, longest_s=gap),
        minutes_sterilisation=minutes_above(time, temp, ratings.sterilisation_degc, longest_s=gap),
        minutes_steam=minutes_above(time, temp, STEAM_DEGC, longest_s=gap),
        heating_k_per_min=fastest(trace, before, +1),
        cooling_k_per_min=fastest(trace, after, -1),
        cooling_min=_cooling_time(trace, after, peak, base),
        f0_min=lethality_f0(time, temp, longest_s=gap),
        dose_h=ageing_dose(time, temp, ratings.continuous_degc, longest_s=gap),
        dose_sterilisation_h=ageing_dose(time, temp, ratings.sterilisation_degc, longest_s=gap),
        samples=int(np.count_nonzero(trace.value[first:past] > hot)),
        open_start=first == 0 or _gap_between(trace, first - 1),
        open_end=past == len(trace) or _gap_between(trace, past - 1),
        odd=stretch.odd,
    )


def _gap_between(trace: Trace, before: int) -> bool:
    return bool(trace.time[before + 1] - trace.time[before] > trace.gap_s * NS_PER_S)


def _base(trace: Trace, start: int, peak: float) -> float:
    """Median of the half hour before; NaN when nothing was recorded then."""
    seen = trace.value[trace.slice(start - int(BEFORE_MIN * NS_PER_MINUTE), start)]
    return float(min(median(seen), peak)) if seen.size else math.nan


def fastest(trace: Trace, window: slice, sign: int) -> float:
    """Fastest change in one direction [K/min] over a minute, or over one interval where samples are further apart.

    Across a gap that is the mean of what happened in it: the true rate was that or faster.
    """
    time, value = trace.time[window], trace.value[window]
    if time.size < 2:
        return 0.0
    here = np.arange(1, time.size)
    back = np.searchsorted(time, time[1:] - round(RATE_S * NS_PER_S), side="right") - 1
    back = np.clip(back, 0, here - 1)
    lasted = (time[here] - time[back]) / NS_PER_S
    usable = lasted >= 0.99 * RATE_S
    if not usable.any():
        return 0.0
    rate = sign * (value[here] - value[back]) / lasted * 60.0
    return float(max(0.0, rate[usable].max()))


def _cooling_time(trace: Trace, window: slice, peak: float, base: float) -> float:
    """Minutes from the end of the hold to half way down; NaN when the record does not show it."""
    time, value = trace.time[window], trace.value[window]
    if not math.isfinite(base) or time.size < 2 or peak - base < 2 * PLATEAU_K:
        return math.nan
    down = np.flatnonzero(value <= (peak + base) / 2)
    if not down.size:
        return math.nan
    held = np.flatnonzero(value[: down[0]] >= peak - PLATEAU_K)
    return float(time[down[0]] - time[held[-1] if held.size else 0]) / NS_PER_MINUTE


# --- what the sampling could hide ----------------------------------------------------------------


def hidden_peak(signal: Signal | None, trace: Trace, top: int) -> float:
    """Highest value that may have been between the samples around the highest one, the signal's unit.

    On an even grid: where the line that rises as fast as just before meets the line that falls as fast as
    just after; a peak one sample wide may have been higher by half its smaller side.  Recorded on change: nothing further than the dead band from what was recorded.  Averages:
    half an interval of the steepest neighbour on top, because an average halves a peak as short as itself.  The
    greatest of each interval hides nothing.
    """
    peak = float(trace.value[top])
    if signal is not None and signal.sampling.extreme == "greatest":
        return peak + trace.resolution / 2
    if signal is not None and trace.held:
        return peak + signal.sampling.deadband
    sides = (_slope(trace, top - 1) * trace.interval_s, -_slope(trace, top) * trace.interval_s)
    bound = max(peak + max(min(sides), 0.0) / 2, _meeting(trace, top), _meeting(trace, top - 1))
    if signal is not None and signal.sampling.kind == "averages":
        steepest = max(_slope(trace, top - 1), -_slope(trace, top), 0.0)
        bound += steepest * trace.interval_s / 2
    return bound + trace.resolution / 2


def _meeting(trace: Trace, i: int) -> float:
    """Height at which the rise before sample i and the fall after sample i + 1 would meet between the two."""
    if i < 1 or i + 2 >= len(trace) or _slope(trace, i - 1) <= 0 or _slope(trace, i + 1) >= 0:
        return -math.inf
    rise, fall = _slope(trace, i - 1), -_slope(trace, i + 1)
    apart = float(trace.time[i + 1] - trace.time[i]) / NS_PER_S
    if apart > trace.gap_s:
        return -math.inf
    low, high = float(trace.value[i]), float(trace.value[i + 1])
    at = (high - low + fall * apart) / (rise + fall)
    return low + rise * min(max(at, 0.0), apart)


def _slope(trace: Trace, i: int) -> float:
    """Change from sample i to the next [K/s]; 0 outside the record and across gaps."""
    if i < 0 or i + 1 >= len(trace):
        return 0.0
    apart = float(trace.time[i + 1] - trace.time[i]) / NS_PER_S
    return float(trace.value[i + 1] - trace.value[i]) / apart if apart <= trace.gap_s else 0.0


def bounded(hidden: float, peak: float, saturation: float) -> float:
    """Saturated steam cannot be hotter than its pressure says; a sample that is hotter shows that this pressure caps nothing."""
    return max(peak, min(hidden, saturation)) if peak <= saturation + ELEMENT_K else hidden


def saturation_degc(record: Record, start: int, end: int) -> float:
    """Hottest saturated steam between two instants [degC]: by the highest line pressure, and what its own sampling may hide
    on top; NaN without a pressure."""
    trace = trace_of(record.pressure)
    if trace is None:
        return math.nan
    margin = int(max(trace.usual_s, 60.0) * NS_PER_S)
    window = trace.slice(start - margin, end + margin)
    seen: FloatArray = trace.value[window]
    if not seen.size:
        return math.nan
    factor, gauge = PRESSURE.get(record.point.pressure_unit, (math.nan, False))
    top = window.start + int(np.argmax(seen))
    absolute = hidden_peak(record.pressure, trace, top) * factor + (
        record.plant.air_pressure_kpa if gauge else 0.0
    )
    return float(saturation_temperature_degc(absolute))
