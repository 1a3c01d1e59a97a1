"""Invented probes and usual processes, one of each measurand, for the scenario and the fleets.

Nothing here describes a product: wear figures are of an order that the trade calls common (no source).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sample_data.simulator.spec import Care, ProbeType, Process

PROBES: dict[str, ProbeType] = {
    "ph": ProbeType(
        model="glass, steam", continuous_degc=100.0, sterilisation_degc=130.0, sterilisation_min=60.0,
        fresh_a=(0.992, 0.006), fresh_b=(7.0, 0.06), per_day=(-1.2e-4, 4e-4), per_steam=(-1.2e-3, -2e-3),
        per_dose_h=(-0.20, 0.35), tau_s=8.0, noise=(0.002, 0.004), recovery=(0.06, 1500.0),
    ),
    "redox": ProbeType(
        model="platinum", continuous_degc=100.0, sterilisation_degc=130.0, sterilisation_min=60.0,
        fresh_a=(1.0, 0.0), fresh_b=(0.0, 3.0), per_day=(0.0, -0.02), per_steam=(0.0, -0.1),
        per_dose_h=(0.0, 18.0), tau_s=20.0, noise=(0.15, 0.4), recovery=(6.0, 1800.0),
    ),
    "conductivity": ProbeType(
        model="four-electrode", continuous_degc=110.0, sterilisation_degc=135.0, sterilisation_min=60.0,
        fresh_a=(1.0, 0.008), fresh_b=(0.0, 0.0), per_day=(1e-5, 0.0), per_steam=(1e-4, 0.0),
        per_dose_h=(0.04, 0.0), tau_s=4.0, noise=(0.0008, 0.0010), recovery=(0.0, 600.0),
    ),
    "oxygen": ProbeType(
        model="membrane", continuous_degc=60.0, sterilisation_degc=60.0, sterilisation_min=0.0,
        fresh_a=(1.0, 0.04), fresh_b=(0.15, 0.05), per_day=(-3e-4, 2e-4), per_steam=(0.0, 0.0),
        per_dose_h=(0.10, 0.3), tau_s=35.0, noise=(0.006, 0.010), recovery=(0.35, 4000.0),
    ),
    "oxygen_saturation": ProbeType(
        model="optical, steam", continuous_degc=85.0, sterilisation_degc=130.0, sterilisation_min=60.0,
        fresh_a=(1.0, 0.01), fresh_b=(58.0, 0.3), per_day=(-1e-4, -3e-3), per_steam=(-1e-3, -0.02),
        per_dose_h=(-0.06, 0.8), tau_s=25.0, noise=(0.05, 0.08), recovery=(1.0, 1800.0),
    ),
    "co2": ProbeType(
        model="membrane with inner pH", continuous_degc=60.0, sterilisation_degc=125.0, sterilisation_min=30.0,
        fresh_a=(0.985, 0.008), fresh_b=(2.0, 0.02), per_day=(-1.5e-4, 1.5e-4), per_steam=(-1.5e-3, 1e-3),
        per_dose_h=(-0.15, 0.06), tau_s=60.0, noise=(0.0015, 0.002), recovery=(40.0, 3000.0),
    ),
    "turbidity": ProbeType(
        model="scattered light", continuous_degc=90.0, sterilisation_degc=90.0, sterilisation_min=0.0,
        fresh_a=(1.0, 0.01), fresh_b=(0.0, 0.03), per_day=(-1e-4, 0.0), per_steam=(0.0, 0.0),
        per_dose_h=(-0.03, 0.8), tau_s=6.0, noise=(0.010, 0.012), recovery=(0.1, 900.0),
    ),
}  # fmt: skip

PROCESSES: dict[str, Process] = {
    "ph": Process(setpoints=(6.2, 6.8, 7.4), slow_sd=0.035, fast_sd=0.008, in_steam=6.3, in_caustic=12.3, in_wash=7.3),
    "redox": Process(setpoints=(210.0, 260.0, 310.0), slow_sd=7.0, fast_sd=1.0, in_steam=180.0, in_caustic=-80.0, in_wash=320.0),
    "conductivity": Process(
        setpoints=(620.0, 760.0, 900.0), slow_sd=0.012, fast_sd=0.002, proportional=True,
        in_steam=4.0, in_caustic=52000.0, in_wash=310.0, low=0.0,
    ),
    "oxygen": Process(setpoints=(2.0, 3.0, 4.5), slow_sd=0.16, fast_sd=0.03, in_steam=0.0, in_caustic=6.0, in_wash=8.5, low=0.05),
    "oxygen_saturation": Process(setpoints=(30.0, 45.0, 60.0), slow_sd=1.5, fast_sd=0.25, in_steam=0.0, in_caustic=70.0, in_wash=95.0, low=0.3),
    "co2": Process(
        setpoints=(1800.0, 2600.0, 3400.0), slow_sd=0.010, fast_sd=0.002, proportional=True,
        in_steam=30.0, in_caustic=5.0, in_wash=20.0, low=5.0,
    ),
    "turbidity": Process(setpoints=(3.0, 5.0, 8.0), slow_sd=0.06, fast_sd=0.015, proportional=True, in_steam=12.0, in_caustic=2.0, in_wash=0.4, low=0.02),
}  # fmt: skip

CARES: dict[str, Care] = {
    "ph": Care(standards=(7.0, 4.01), repeatability=0.3, standard_tolerance=0.006, adjust_beyond=0.02),
    "redox": Care(standards=(220.0,), repeatability=1.0, standard_tolerance=1.0, adjust_beyond=3.0),
    "conductivity": Care(standards=(1413.0,), repeatability=1.5, standard_tolerance=4.0, adjust_beyond=4.0),
    "oxygen": Care(standards=(100.0, 0.0), repeatability=0.05, repeatability_share=0.003, adjust_beyond=0.03),
    "oxygen_saturation": Care(standards=(100.0, 0.0), repeatability=0.03, adjust_beyond=0.6),
    "co2": Care(standards=(100.0, 1000.0), repeatability=0.3, adjust_beyond=30.0),
    "turbidity": Care(standards=(0.0, 20.0), repeatability=0.02, standard_tolerance=0.015, standard_tolerance_share=0.01, adjust_beyond=0.08),
}  # fmt: skip

RANGES: dict[str, tuple[float, float]] = {
    "ph": (0.0, 14.0),
    "redox": (-500.0, 1000.0),
    "conductivity": (0.0, 100000.0),
    "oxygen": (0.0, 20.0),
    "oxygen_saturation": (0.0, 200.0),
    "co2": (0.0, 10000.0),
    "turbidity": (0.0, 100.0),
}
UNITS = {
    "ph": "pH",
    "redox": "mV",
    "conductivity": "uS/cm",
    "oxygen": "mg/L",
    "oxygen_saturation": "%sat",
    "co2": "mg/L",
    "turbidity": "NTU",
}
RESOLUTIONS = {
    "ph": 0.002,
    "redox": 0.2,
    "conductivity": 1.0,
    "oxygen": 0.01,
    "oxygen_saturation": 0.1,
    "co2": 1.0,
    "turbidity": 0.01,
}


def care(measurand: str, **changes: Any) -> Care:
    """The usual care of a measurand, changed."""
    return replace(CARES[measurand], **changes)


def process(measurand: str, **changes: Any) -> Process:
    """The usual process of a measurand, changed."""
    return replace(PROCESSES[measurand], **changes)
