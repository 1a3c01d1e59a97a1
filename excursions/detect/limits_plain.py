"""Limits that follow from the recording alone: heat, holes, spikes, readings that cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TypeVar

from excursions.clock import duration_text
from excursions.detect.element.creep import least_creep
from excursions.detect.element.fault import TemperatureFaultSettings
from excursions.detect.element.jumps import least_lasting_jump
from excursions.detect.gone.interruptions import InterruptionSettings
from excursions.detect.gone.spikes import SpikeSettings
from excursions.detect.heat.exposure import ELEMENT_K
from excursions.detect.heat.thermal_shock import ThermalShockSettings
from excursions.detect.series.spells import drawn_line
from excursions.detect.series.survey import Survey, heat_of, survey_of
from excursions.detect.still.pinned import PinnedSettings
from excursions.digits import written
from excursions.records import Limit, Record, Sampling, Signal

FEW = 4  # samples of a peak: one hides at either end, two show that it is heat and not a wild sample
SHOCK_S = 30.0  # a swing of half a minute shows its rate in samples no further apart than this
ON_LINE = 30  # samples on one straight line that no measured signal shows
SPIKE_SAMPLES = 2  # samples a spike must hit to be sure to be seen


Settings = TypeVar("Settings")


def chosen(given: Mapping[str, object], detector: str, default: Settings) -> Settings:
    """The settings given for a detector, else its defaults."""
    stated = given.get(detector)
    return stated if isinstance(stated, type(default)) else default


def make(
    kind: str,
    size: float,
    unit: str,
    *,
    say: Callable[[float], str],
    lasting_s: float = 0.0,
    most: float = math.inf,
    least: float = -math.inf,
) -> Limit:
    """A limit with its sentence; NaN where it is not finite or beyond what makes sense (`most`, `least`)."""
    if not math.isfinite(size) or size > most or size < least:
        return Limit(
            kind=kind, size=math.nan, unit=unit, lasting_s=0.0, sentence="this record cannot show it"
        )
    said = " ".join(say(size).split()).replace(" ,", ",")
    return Limit(
        kind=kind, size=float(size), unit=unit, lasting_s=lasting_s, sentence=f"{said} may not be seen here"
    )


def plain_limits(record: Record, given: Mapping[str, object]) -> list[Limit]:
    """Limits of heat, of the temperature element, of holes, spikes and impossible readings."""
    found = _heat(record, record.temperature, given) if record.temperature is not None else []
    signal = record.value if record.value is not None else record.temperature
    if signal is not None and len(signal):
        found += _holes(signal, given)
    survey = survey_of(record)
    if survey is not None and record.value is not None:
        found += _bursts(record, survey, record.value, given)
    return found


def _interval(sampling: Sampling) -> float:
    return sampling.interval_s if math.isfinite(sampling.interval_s) else math.inf


def _heat(record: Record, signal: Signal, given: Mapping[str, object]) -> list[Limit]:
    """Over-temperature, thermal shock and the element."""
    interval, averaged = _interval(signal.sampling), signal.sampling.kind in ("averages", "interpolated")
    shock = chosen(given, "thermal_shock", ThermalShockSettings())
    element = chosen(given, "temperature_fault", TemperatureFaultSettings())
    rate = math.nan if averaged or interval > SHOCK_S else shock.rate_k_per_min * (1 + interval / SHOCK_S)
    jump = least_lasting_jump(signal, element)
    heat = heat_of(record)
    creep = least_creep(record, heat.trace) if heat is not None and len(heat.trace) > 2 else math.inf
    creeps = (
        f"creeps by less than {written(creep, 2)} K over the record" if math.isfinite(creep) else "creeps"
    )
    hidden = "an average hides more than that; " if averaged else ""
    return [
        make("over_temperature", FEW * interval, "s", say=lambda s: f"{hidden}a peak above the rating shorter than {duration_text(s)}, or by less than {ELEMENT_K:g} K,"),
        make("thermal_shock", rate, "K/min", say=lambda s: f"a change slower than {s:.0f} K/min or of less than {shock.swing_k:.0f} K"),
        make("temperature_fault", jump, "K", lasting_s=max(element.lasting_s, 2 * element.jump_window * interval), say=lambda s: f"a jump of the temperature element smaller than {written(s, 2)} K, or one that {creeps},"),
    ]  # fmt: skip


def _holes(signal: Signal, given: Mapping[str, object]) -> list[Limit]:
    """Dropouts, bad quality and drawn lines."""
    sampling = signal.sampling
    settings = chosen(given, "interruptions", InterruptionSettings())
    interval = _interval(sampling)
    gap = sampling.gap_s + interval if math.isfinite(sampling.gap_s) else math.nan
    bad = (settings.shortest_bad + 1) * interval
    return [
        make("dropout", gap, "s", say=lambda s: f"a silence shorter than {duration_text(s)}"),
        make("bad_quality", bad, "s", say=lambda s: f"bad quality for less than {duration_text(s)}"),
        make("bridged", max(2 * gap, ON_LINE * interval), "s", say=lambda s: f"a line drawn over less than {duration_text(s)} of missing data"),
    ]  # fmt: skip


def _bursts(record: Record, survey: Survey, signal: Signal, given: Mapping[str, object]) -> list[Limit]:
    """Spikes, stays at the end of the range and impossible readings."""
    interval, unit = survey.interval_s, record.change_unit
    spikes, pinned = chosen(given, "spikes", SpikeSettings()), chosen(given, "pinned", PinnedSettings())
    tolerance = record.point.tolerance_at(float(survey.blocks.level[survey.blocks.level.size // 2]))
    height = max(spikes.noises * survey.noise, spikes.quanta * survey.quantum, spikes.tolerances * tolerance)
    drawn = signal.sampling.kind in ("averages", "interpolated") or drawn_line(survey) > 0
    coarse = interval > spikes.coarsest_s or drawn or signal.sampling.on_change
    stay = math.nan if record.point.range is None or drawn else (pinned.fewest + 1) * interval
    return [
        make("spikes", math.nan if coarse or not height > 0 else 1.5 * height, unit, lasting_s=SPIKE_SAMPLES * interval, say=lambda s: f"a spike smaller than {written(s, 2)} {unit}"),
        make("pinned", stay, "s", say=lambda s: f"a stay at the end of the range shorter than {duration_text(s)}"),
        make("out_of_range", 2 * interval, "s", say=lambda s: f"an impossible reading that lasts less than {duration_text(s)}"),
    ]  # fmt: skip
