"""The committed scenario: Quillmarsh Ferments, a pilot works that does not exist, from March to June 2026."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sample_data.simulator.catalogue import PROBES, RANGES, RESOLUTIONS, UNITS, care, process
from sample_data.simulator.point import SimulatedPoint, simulate_point
from sample_data.simulator.record import Outage, Sampling
from sample_data.simulator.rows import shift_truths, truth_rows
from sample_data.simulator.spec import Care, Fault, PointSpec, Process, Steam, Swap, Vessel
from sample_data.simulator.truth import ShiftTruth, TruthRow

DAYS = 120.0
SEED = 20260630
ZONE = "Europe/Vienna"

_MINUTE = 1 / 1440
_FERMENTER = Vessel(
    name="fermenter 1", temperature=(30.0, 33.0, 37.0), temperature_dwell_days=14.0, ambient_gain=0.02,
    routines=(
        Steam(kind="sterilisation", every_days=7.0, first_day=4.0, hour=2.0, degc=121.6, hold_min=26.0),
        Steam(kind="cip", every_days=7.0, first_day=3.0, hour=20.0, degc=80.0, hold_min=22.0, heating=4.0, cooling=4.0),
    ),
)  # fmt: skip
_PIT = Vessel(
    name="neutralisation pit", temperature=(19.0, 22.0), temperature_tau_s=7200.0, temperature_sd=0.25, ambient_gain=0.55,
    weekend=0.12, night=0.7, hot_days=(80.0,), ambient_swing=4.0,
)  # fmt: skip
_SKID = Vessel(
    name="product line", temperature=(12.0, 16.0), temperature_sd=0.15, ambient_gain=0.1, weekend=0.25, night=0.6,
    routines=(Steam(kind="cip", every_days=3.0, first_day=1.0, hour=21.0, degc=81.0, hold_min=20.0, heating=5.0, cooling=5.0),),
)  # fmt: skip
_WATER = Vessel(
    name="raw water main", temperature=(11.0, 13.0), ambient_gain=0.15, temperature_dwell_days=30.0
)
_BASIN = Vessel(
    name="aeration basin", temperature=(15.0, 17.0, 19.0), temperature_dwell_days=25.0, temperature_tau_s=20000.0,
    ambient_gain=0.25, night=0.65, weekend=0.55, hot_days=(80.0,),
)  # fmt: skip
_BRIGHT = Vessel(
    name="bright tank 3", temperature=(3.0, 5.0), ambient_gain=0.02, temperature_sd=0.05,
    routines=(Steam(kind="cip", every_days=10.0, first_day=6.0, hour=4.0, degc=58.0, hold_min=25.0, heating=4.0, cooling=3.0),),
)  # fmt: skip
_OUTFALL = Vessel(
    name="outfall", temperature=(17.0, 20.0), ambient_gain=0.3, weekend=0.2, night=0.7, hot_days=(80.0,)
)


@dataclass(frozen=True)
class Scenario:
    """All points simulated, how each group of them is exported, and what is true."""

    points: tuple[SimulatedPoint, ...]
    seed: int
    events: tuple[TruthRow, ...]
    shifts: tuple[ShiftTruth, ...]


LONG = Sampling(kind="exception", interval_s=10.0, heartbeat_s=1800.0, duplicates=0.0005, disorder=0.0005)
WIDE = Sampling(kind="instant", interval_s=60.0)
GROUPS: dict[str, tuple[str, ...]] = {
    "long": ("N1-PH", "N1-RX", "E1-TU"),
    "wide": ("C1-LF", "W1-LF", "A1-DO"),
    "parquet": ("F1-PH", "F1-PH2", "F1-DO", "B3-CO2"),
}
OUTAGES: dict[str, tuple[Outage, ...]] = {
    "long": (Outage(44.3, 3.5),),
    "wide": (Outage(50.2, 9.0, bridged=True),),
    "parquet": (Outage(71.4, 5.0),),
}
DEADBANDS = {"N1-PH": 0.02, "N1-RX": 2.0, "E1-TU": 0.12}


def _spec(
    name: str,
    measurand: str,
    vessel: Vessel,
    serial: str,
    looks: Care,
    does: Process,
    faults: tuple[Fault, ...],
    **more: Any,
) -> PointSpec:
    given: dict[str, Any] = {
        "range": RANGES[measurand], "unit": UNITS[measurand], "resolution": RESOLUTIONS[measurand], "probe": PROBES[measurand],
    }  # fmt: skip
    return PointSpec(
        name=name,
        measurand=measurand,
        vessel=vessel,
        serial=serial,
        care=looks,
        process=does,
        faults=faults,
        **(given | more),
    )


def _fermenter() -> list[PointSpec]:
    broth = process(
        "ph", setpoints=(5.4, 5.8), dwell_days=9.0, batch_days=7.0, batch_depth=-0.5, slow_sd=0.025
    )
    cooked = (
        Fault("lookalike_setpoint_step", 27.4, 6.0, 0.25),
        Fault(
            "over_temperature",
            84.62,
            7 * _MINUTE,
            148.0,
            mode="steam_out",
            more={"sign": -1.0},
            note="retractable fitting steamed from the main header without the reducing valve",
        ),
    )
    late = Fault(
        "over_temperature",
        116.43,
        9 * _MINUTE,
        146.0,
        mode="steam_out",
        more={"sign": -1.0},
        note="the same header, four days before the record ends: nobody has calibrated since",
    )
    return [
        _spec(
            "F1-PH", "ph", _FERMENTER, "QP-1107", care("ph", calibrate_days=(10.0, 38.0, 66.0, 95.0, 113.0), hold=("sterilisation",), sample_every_days=7.0, sample_sd=0.02),
            broth, cooked, shared_process="F1 broth", description="pH, fermenter 1, retractable",
        ),
        _spec(
            "F1-PH2", "ph", _FERMENTER, "QP-1131", care("ph", calibrate_days=(11.0, 39.0, 67.0, 96.0)),
            broth, (Fault("lookalike_setpoint_step", 27.4, 6.0, 0.25), Fault("noise_growth", 101.3, 9.0, 5.0, mode="gradual", note="moisture in the plug"), late),
            shared_process="F1 broth", description="pH, fermenter 1, side port",
        ),
        _spec(
            "F1-DO", "oxygen_saturation", _FERMENTER, "QO-2204", care("oxygen_saturation", calibrate_days=(10.0, 46.0, 82.0, 110.0)),
            process("oxygen_saturation", setpoints=(35.0, 50.0), dwell_days=8.0),
            (Fault("spikes", 21.2, 0.8, 25.0, mode="bubbles", more={"per_hour": 5.0}), Fault("thermal_shock", 59.3, size=55.0, more={"degc": 92.0}),
             Fault("slow_response", 98.2, 11.8, 14.0, mode="gradual")),
            description="dissolved oxygen, fermenter 1, optical",
        ),
        _spec(
            "B3-CO2", "co2", _BRIGHT, "QC-0310", care("co2", calibrate_days=(15.0, 57.0, 99.0)), process("co2", dwell_days=12.0),
            (Fault("drift", 36.0, 15.0, -420.0),), swaps=(Swap(78.45, "QC-0350", logged=False),), description="dissolved CO2, bright tank 3",
        ),
    ]  # fmt: skip


def _wastewater() -> list[PointSpec]:
    return [
        _spec(
            "N1-PH", "ph", _PIT, "QP-0988",
            care("ph", calibrate_days=(7.0, 28.0, 49.0, 70.06, 91.0, 112.0), copied=(2,), wash_every_h=8.0, hold=("calibration", "wash"), hold_flag=True, wash_flag=True, sample_every_days=7.0, sample_sd=0.03),
            process("ph", setpoints=(7.0, 7.4, 8.0), dwell_days=11.0, load_gain=-0.15, slow_sd=0.05),
            (Fault("stuck", 65.7, mode="glass", note="glass cracked"), Fault("noise_growth", 35.3, 3.5, 6.0, mode="abrupt"), Fault("lookalike_hold", 101.35, 0.35)),
            swaps=(Swap(70.05, "QP-1140"),), resolution=0.01, description="pH, neutralisation, with automatic wash",
        ),
        _spec(
            "N1-RX", "redox", _PIT, "QR-0417", care("redox", calibrate_days=(7.0, 49.0, 91.0), hold=("calibration",), hold_flag=True, sample_every_days=14.0, sample_sd=5.0),
            process("redox", dwell_days=12.0, load_gain=25.0),
            (Fault("periodic", 20.4, 2.0, 12.0, more={"period_s": 1320.0}), Fault("step", 60.55, size=75.0, note="reference"), Fault("spikes", 103.3, 1.2, 160.0, more={"per_hour": 3.0, "width_s": 30.0}, note="loose connector")),
            description="redox, neutralisation",
        ),
        _spec(
            "E1-TU", "turbidity", _OUTFALL, "QT-5520",
            care("turbidity", calibrate_days=(14.0, 60.0, 106.0), untraced=(1,), clean_days=(25.0, 32.0, 39.0, 46.0, 53.0), restored=0.88, sample_every_days=7.0, sample_sd=0.15),
            process("turbidity", dwell_days=13.0, load_gain=0.8),
            (Fault("fouling", 18.0, 35.4, 6.0, more={"period": 7.0}), Fault("spikes", 67.2, 0.7, 35.0, mode="bubbles", more={"per_hour": 6.0}), Fault("pinned", 88.35, 0.3, mode="high")),
            description="turbidity, outfall",
        ),
    ]  # fmt: skip


def _water() -> list[PointSpec]:
    return [
        _spec(
            "C1-LF", "conductivity", _SKID, "QL-3301", care("conductivity", calibrate_days=(20.0, 62.0, 104.0)),
            process("conductivity", setpoints=(1900.0, 2300.0, 2700.0), dwell_days=6.0, load_gain=120.0, fast_sd=0.004),
            (Fault("over_temperature", 33.35, 12 * _MINUTE, 141.0, mode="cip", more={"heating": 12.0}, note="steam valve of the heater stuck open"),
             Fault("dropout", 74.3, 0.9, mode="bouts", more={"count": 14, "length_s": 700.0}), Fault("temperature_fault", 90.3, 4.5, 9.0, mode="jump"), Fault("noise_collapse", 107.4, 9.0, 0.1, note="coating")),
            description="conductivity, product line",
        ),
        _spec(
            "W1-LF", "conductivity", _WATER, "QL-3317", care("conductivity", calibrate_days=(30.0, 93.0)),
            process("conductivity", setpoints=(410.0, 440.0), dwell_days=17.0, slow_sd=0.006, tau_s=5400.0),
            (Fault("stuck", 39.4, 1.6, mode="frozen", note="input card"), Fault("out_of_range", 69.2, 0.12, -25.0, note="loop open"), Fault("lookalike_process_drift", 103.0, 8.0, 45.0), Fault("stuck", 118.72, 1.3, mode="frozen", note="input card again")),
            resolution=0.1, description="conductivity, raw water",
        ),
        _spec(
            "A1-DO", "oxygen", _BASIN, "QO-1902",
            care("oxygen", calibrate_days=(12.0, 40.0, 68.0, 96.0), unlogged=(2,), hold=("calibration",), clean_days=(19.0, 26.0, 33.0), restored=0.85, sample_every_days=7.0, sample_sd=0.08),
            process("oxygen", setpoints=(2.9, 3.4), dwell_days=16.0, load_gain=-0.25, slow_sd=0.10),
            (Fault("fouling", 12.5, 26.0, -1.0, more={"period": 7.0}), Fault("bad_quality", 56.2, 0.5, mode="bouts", more={"count": 9, "length_s": 900.0, "word": 1}),
             Fault("drift", 74.0, 18.0, -1.5), Fault("lookalike_quiet_process", 108.2, 2.0, 0.25)),
            description="dissolved oxygen, aeration basin, membrane",
        ),
    ]  # fmt: skip


def specs() -> tuple[PointSpec, ...]:
    """The ten points of Quillmarsh."""
    return (*_fermenter(), *_wastewater(), *_water())


def outages_of(name: str) -> tuple[Outage, ...]:
    """Outages of the export a point is part of."""
    return next(OUTAGES[group] for group, names in GROUPS.items() if name in names)


def scenario(seed: int = SEED, *, days: float = DAYS, step_s: float = 10.0) -> Scenario:
    """Simulate the whole plant; the committed files come from :data:`SEED`."""
    points = tuple(simulate_point(spec, seed=seed, days=days, step_s=step_s) for spec in specs())
    events = tuple(row for sim in points for row in truth_rows(sim, outages_of(sim.spec.name)))
    return Scenario(points, seed, events, tuple(row for sim in points for row in shift_truths(sim)))
