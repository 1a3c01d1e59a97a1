"""What a simulated point is told: its vessel, its process, its probe, its routines and its faults.

All times in these descriptions are days or seconds since the start of the record.
"""

from __future__ import annotations

from dataclasses import dataclass, field

NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Steam:
    """Routine heat of a vessel: every `every_days` at `hour` (UTC), with `jitter_h` of scatter.

    kind: ``sterilisation`` or ``cip``; degc, hold_min: plateau; ramp: heating and cooling [K/min];
    cool_hold_min: how long the vessel is kept closed while it cools.
    """

    kind: str = "sterilisation"
    every_days: float = 7.0
    first_day: float = 3.0
    hour: float = 2.0
    jitter_h: float = 0.5
    degc: float = 121.5
    hold_min: float = 25.0
    heating: float = 3.0
    cooling: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """Where points sit: temperature and throughput are shared by all points of one vessel.

    ambient_gain: share of the ambient swing that reaches the medium; weekend: throughput on Saturday
    and Sunday (1 = like any day); hot_days: days on which the ambient is far hotter.
    """

    name: str
    temperature: tuple[float, ...] = (25.0,)
    temperature_dwell_days: float = 20.0
    temperature_tau_s: float = 1800.0
    temperature_sd: float = 0.08
    ambient_gain: float = 0.05
    ambient: float = 18.0
    ambient_swing: float = 5.0
    weekend: float = 1.0
    night: float = 1.0
    hot_days: tuple[float, ...] = ()
    hot_rise: float = 14.0
    routines: tuple[Steam, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """What the measured quantity does: set-points, first-order response, batches, coloured noise.

    setpoints are visited in random order, each for about `dwell_days`; batch_days > 0 adds a ramp of
    `batch_depth` over each batch; load_gain: change of the level from no to full throughput; slow and
    fast: AR(1) parts (standard deviation, time constant); proportional: noise is a share of the level.
    """

    setpoints: tuple[float, ...]
    dwell_days: float = 8.0
    tau_s: float = 900.0
    batch_days: float = 0.0
    batch_depth: float = 0.0
    load_gain: float = 0.0
    slow_sd: float = 0.0
    slow_tau_s: float = 5400.0
    fast_sd: float = 0.0
    fast_tau_s: float = 90.0
    proportional: bool = False
    low: float = -1e9
    high: float = 1e9
    in_steam: float = 7.0
    in_caustic: float = 12.4
    in_wash: float = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeType:
    """How a kind of probe is made and how it wears.

    fresh_a, fresh_b: (mean, standard deviation) of the parameters; per_day, per_steam, per_dose_h:
    (relative change of a, change of b) by age, by sterilisation and by hour of dose above the
    sterilisation rating (Q10 = 2), each probe having its own factor; the zero move by dose has a random
    sign and a size that varies.  tau_s: 63 % response; noise: white and AR(1) part in the reading's unit.
    recovery: transient after heat or a calibration (size in the reading's unit, time constant in s).
    """

    model: str
    continuous_degc: float
    sterilisation_degc: float
    sterilisation_min: float
    fresh_a: tuple[float, float] = (1.0, 0.01)
    fresh_b: tuple[float, float] = (0.0, 0.0)
    per_day: tuple[float, float] = (0.0, 0.0)
    per_steam: tuple[float, float] = (0.0, 0.0)
    per_dose_h: tuple[float, float] = (0.0, 0.0)
    tau_s: float = 10.0
    element_tau_s: float = 35.0
    noise: tuple[float, float] = (0.0, 0.0)
    noise_tau_s: float = 300.0
    recovery: tuple[float, float] = (0.0, 1500.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """Washes, cleanings and calibrations of a point.

    hold: spans in which the output is frozen (``calibration``, ``wash``, ``cip``, ``sterilisation``);
    hold_flag, wash_flag: whether the historian has the flag; standards: what is used, in order;
    repeatability, repeatability_share: standard deviation of one raw reading in a standard [raw unit, share of it];
    standard_tolerance, standard_tolerance_share: of the standard's own value [reading unit, share of it];
    restored: share of the fouling that a cleaning takes away; bench: calibrated without a trace;
    copied, untraced, unlogged, kept: fate of single calibrations by their index; kept: measured and entered, but the
    transmitter goes on with the parameters it had;
    as_found_only_within: no adjustment when the reading error is smaller than this.
    """

    calibrate_days: tuple[float, ...] = ()
    calibrate_hour: float = 8.0
    standards: tuple[float, ...] = ()
    repeatability: float = 0.3
    repeatability_share: float = 0.0
    standard_tolerance: float = 0.0
    standard_tolerance_share: float = 0.0
    plateau_min: float = 8.0
    bench: tuple[int, ...] = ()
    copied: tuple[int, ...] = ()
    untraced: tuple[int, ...] = ()
    unlogged: tuple[int, ...] = ()
    kept: tuple[int, ...] = ()
    adjust_beyond: float = 0.0
    wash_every_h: float = 0.0
    wash_s: float = 30.0
    hold: tuple[str, ...] = ()
    hold_flag: bool = False
    wash_flag: bool = False
    clean_days: tuple[float, ...] = ()
    restored: float = 0.9
    sample_every_days: float = 0.0
    sample_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted event: `kind` of the tool's table or a look-alike's name.

    size as the kind's row says; days: how long it lasts (NaN: until a calibration or swap takes it out);
    mode and more: variants, read where the fault is made.
    """

    kind: str
    day: float
    days: float = NAN
    size: float = NAN
    mode: str = ""
    more: dict[str, float] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True, slots=True)
class Swap:
    """At `day` another probe takes over; logged: the register and the calibration log know of it."""

    day: float
    serial: str
    logged: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PointSpec:
    """Everything a point is simulated from."""

    name: str
    measurand: str
    vessel: Vessel
    process: Process
    probe: ProbeType
    serial: str
    care: Care = field(default_factory=Care)
    faults: tuple[Fault, ...] = ()
    swaps: tuple[Swap, ...] = ()
    range: tuple[float, float] = (-1e9, 1e9)
    unit: str = ""
    resolution: float = 0.001
    temperature_resolution: float = 0.01
    shared_process: str = ""
    description: str = ""
