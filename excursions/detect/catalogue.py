"""The catalogue of detectors: one line each, run in this order, merged into events in time order.

To add a detector, write a pure function ``(record, settings) -> tuple[Event, ...]`` with a frozen settings
class whose defaults carry their reasons, and add its line here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from excursions.clock import TimeArray
from excursions.detect.element.fault import TemperatureFaultSettings
from excursions.detect.element.temperature_fault import detect_temperature_fault
from excursions.detect.evidence.unmoved import UnmovedSettings, asked_for, detect_unmoved
from excursions.detect.gone.interruptions import InterruptionSettings, detect_interruptions
from excursions.detect.gone.spikes import SpikeSettings, detect_spikes
from excursions.detect.heat.hidden_heat import HiddenHeatSettings, detect_hidden_heat
from excursions.detect.heat.judgement import OverTemperatureSettings
from excursions.detect.heat.over_temperature import detect_over_temperature
from excursions.detect.heat.thermal_shock import ThermalShockSettings, detect_thermal_shock
from excursions.detect.level.after_steam import AfterSteamSettings, after_steam_limits, detect_after_steam
from excursions.detect.level.step import StepSettings, detect_step
from excursions.detect.merge import merge
from excursions.detect.noise.flurry import FlurrySettings, detect_flurry
from excursions.detect.noise.noise import NoiseSettings, detect_noise
from excursions.detect.noise.periodic import PeriodicSettings, detect_periodic
from excursions.detect.noise.swing import SwingSettings, detect_swing
from excursions.detect.noise.switching import SwitchingSettings, detect_switching, switching_limits
from excursions.detect.series.survey import survey_of, surveyed
from excursions.detect.slow.creep import CreepSettings, detect_creep
from excursions.detect.slow.drift import DriftSettings, detect_drift
from excursions.detect.slow.fouling import FoulingSettings, detect_fouling
from excursions.detect.slow.response import ResponseSettings, detect_slow_response
from excursions.detect.slow.taken_back import taken_back
from excursions.detect.slow.walked_off import walked_off
from excursions.detect.still.glass import GlassSettings, detect_glass
from excursions.detect.still.pinned import PinnedSettings, detect_pinned
from excursions.detect.still.repeated import RepeatedSettings, detect_repeated
from excursions.detect.still.stuck import StuckSettings, detect_stuck
from excursions.kinds import WORTH_ASKING
from excursions.records import Event, FloatArray, Limit, Record


class Detector(NamedTuple):
    """A detector's name, its function, the class of its settings, and its limits where ``limits.py`` does not hold them."""

    name: str
    function: Callable[[Record, Any], tuple[Event, ...]]
    settings: type[Any]
    limits: Callable[[Record, Any], Sequence[Limit]] | None = None


DETECTORS: tuple[Detector, ...] = (
    Detector("over_temperature", detect_over_temperature, OverTemperatureSettings),
    Detector("hidden_heat", detect_hidden_heat, HiddenHeatSettings),
    Detector("thermal_shock", detect_thermal_shock, ThermalShockSettings),
    Detector("temperature_fault", detect_temperature_fault, TemperatureFaultSettings),
    Detector("interruptions", detect_interruptions, InterruptionSettings),
    Detector("spikes", detect_spikes, SpikeSettings),
    Detector("stuck", detect_stuck, StuckSettings),
    Detector("glass", detect_glass, GlassSettings),
    Detector("unmoved", detect_unmoved, UnmovedSettings),
    Detector("pinned", detect_pinned, PinnedSettings),
    Detector("repeated", detect_repeated, RepeatedSettings),
    Detector("noise", detect_noise, NoiseSettings),
    Detector("flurry", detect_flurry, FlurrySettings),
    Detector("step", detect_step, StepSettings),
    Detector("after_steam", detect_after_steam, AfterSteamSettings, limits=after_steam_limits),
    Detector("drift", detect_drift, DriftSettings),
    Detector("fouling", detect_fouling, FoulingSettings),
    Detector("creep", detect_creep, CreepSettings),
    Detector("slow_response", detect_slow_response, ResponseSettings),
    Detector("swing", detect_swing, SwingSettings),
    Detector("switching", detect_switching, SwitchingSettings, limits=switching_limits),
    Detector("periodic", detect_periodic, PeriodicSettings),
)

# Those that look for changes over weeks and years, for which medians of the hours are samples enough.
SLOW = tuple(one for one in DETECTORS if one.name in ("drift", "fouling", "creep"))


def detect(
    record: Record,
    settings: Mapping[str, object] | None = None,
    *,
    detectors: Sequence[Detector] = DETECTORS,
) -> tuple[Event, ...]:
    """Run every detector, or some, over one record.

    Parameters
    ----------
    record : Record
    settings : mapping of detector name to settings object, optional
        Detectors not named run with their defaults.

    Returns
    -------
    tuple of Event
        Merged, in order of start, kind and end.
    """
    given = settings or {}
    shared = surveyed(record)
    survey, tuned = survey_of(shared), given.get("unmoved")
    if survey is not None and isinstance(tuned, UnmovedSettings):
        asked_for(survey, tuned)  # other detectors ask neighbours by them too
    found: list[Event] = []
    for one in detectors:
        found.extend(one.function(shared, given.get(one.name) or one.settings()))
    told = walked_off(shared, taken_back(merge(shared, tuple(found))))
    return tuple(quieted(event) for event in told)


def quieted(event: Event) -> Event:
    """What the process or a routine did is noted; nobody has to act on a probe for it, but for heat as a habit.

    Nor has anybody to act on what is likelier not the probe's, or may not be and went back by itself: it is to be checked.
    """
    if event.kind == "over_temperature" and event.origin == "process":
        return event
    passed = event.confidence < WORTH_ASKING or event.went_back
    if event.origin == "undecided" and passed and event.severity == "act":
        return replace(event, severity="check")
    return replace(event, severity="note") if event.origin in ("process", "routine") else event


def noise_trace(record: Record) -> tuple[TimeArray, FloatArray] | None:
    """Noise of each block over time (middle of the block, signal's unit), for plotting; None without any."""
    survey = survey_of(record)
    if survey is None:
        return None
    noises = survey.noises
    half = survey.blocks.width * int(noises.block[1]) // 2
    return noises.start + half, noises.sigma
