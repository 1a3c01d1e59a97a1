"""From a simulated point to its truth tables."""

from __future__ import annotations

import numpy as np

from sample_data.simulator.calibrate import Calibrated
from sample_data.simulator.grid import DAY_S, NS
from sample_data.simulator.physics import MODELS
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.process import week_time
from sample_data.simulator.record import Outage
from sample_data.simulator.schedule import Span
from sample_data.simulator.signal import BoolArray, fast_noise, slow_noise
from sample_data.simulator.spec import Fault
from sample_data.simulator.standards import figures
from sample_data.simulator.truth import ShiftTruth, TruthRow, in_order, role_of, unit_of
from sample_data.simulator.wear import cleanings, fouling_layer

_ROUTINES = {
    "sterilisation": "routine_sterilisation",
    "cip": "routine_cip",
    "wash": "routine_wash",
    "calibration": "routine_calibration",
}
_LASTING = ("step", "drift", "stuck")


def truth_rows(sim: SimulatedPoint, outages: tuple[Outage, ...] = ()) -> tuple[TruthRow, ...]:
    """Faults, what the recording did, routines and look-alikes of one point, in order."""
    rows = [
        _fault_row(sim, fault)
        for fault in sim.spec.faults
        if fault.kind not in ("unrecorded", "lookalike_hold")
    ]
    rows += (
        _aftermath_rows(sim)
        + _routine_rows(sim)
        + _move_rows(sim)
        + _hot_rows(sim)
        + _weekend_rows(sim)
        + _outage_rows(sim, outages)
    )
    return in_order(row for row in rows if row.end > row.start)


def _ns(sim: SimulatedPoint, seconds: float) -> int:
    return sim.grid.start_ns + round(min(seconds, sim.grid.days * DAY_S) * NS)


def _probe(sim: SimulatedPoint, seconds: float) -> str:
    return next((life.serial for life in sim.lives if life.start <= seconds < life.end), sim.lives[-1].serial)


def _row(
    sim: SimulatedPoint,
    kind: str,
    start: float,
    end: float,
    size: float,
    role: str,
    mode: str = "",
    note: str = "",
    judged: bool = False,
) -> TruthRow:
    noises = (float("nan"),) * 3
    if judged:
        noises = (
            fast_noise(sim.reading, sim.grid, start),
            slow_noise(sim.reading, sim.grid, start),
            slow_noise(sim.reading, sim.grid, start, hours=24.0, days=30.0),
        )
    return TruthRow(
        sim.spec.name, _probe(sim, start), kind, _ns(sim, start), _ns(sim, end), size, unit_of(kind, sim.spec.unit),
        role, mode, *noises, note,
    )  # fmt: skip


def _fault_row(sim: SimulatedPoint, fault: Fault) -> TruthRow:
    """A fault that moved the parameters lasts until an adjustment or a swap takes it out."""
    start = fault.day * DAY_S
    end = (fault.day + fault.days) * DAY_S
    size = fault.size
    if np.isnan(fault.days) or (fault.kind in _LASTING and fault.mode in ("glass",)):
        end = _taken_out(sim, start)
    heat = next((s for s in sim.spans if s.fault is fault), None)
    if heat is not None:
        start, end = heat.start, heat.heat[-1][0]
        if fault.kind == "over_temperature":
            size = float(np.max(sim.true_temperature[sim.grid.slice(start, end)]))
        else:
            size = _fastest(sim, start, end)
    if fault.kind in ("dropout", "bad_quality"):
        hit = sim.missing if fault.kind == "dropout" else sim.quality > 0
        size = float(np.count_nonzero(hit[sim.grid.slice(start, end)]) * sim.grid.step)
    if fault.kind == "fouling":
        size *= _thickest(sim, fault)
    if fault.kind == "pinned":
        size = sim.spec.range[0] if fault.mode == "low" else sim.spec.range[1]
    if fault.kind == "stuck":
        at = min(int(np.searchsorted(sim.grid.t, start)) + 60, sim.reading.size - 1)
        size = float(sim.reading[at])
    mode = fault.mode or ("ramp" if "ramp_s" in fault.more else "")
    return _row(sim, fault.kind, start, end, size, role_of(fault), mode, fault.note, judged=True)


def _aftermath_rows(sim: SimulatedPoint) -> list[TruthRow]:
    """The lasting offset after heat above the rating, after a shock that cracked something, and after a swap nobody logged."""
    lasting = [
        (s.start, s.end + 600.0, s.fault.kind)
        for s in sim.spans
        if s.fault is not None and s.heat and _hurt(sim, s)
    ]
    lasting += [(life.start - 420.0, life.start + 900.0, "swap") for life in sim.lives[1:] if not life.logged]
    rows = []
    for start, end, cause in lasting:
        before, after = (sim.error[sim.grid.slice(at - 1800.0, at)] for at in (start - 600.0, end + 3600.0))
        if before.size and after.size:
            move = float(np.median(after) - np.median(before))
            rows.append(_row(sim, "step", start, _taken_out(sim, end), move, "aftermath", cause, judged=True))
    return rows


def _hurt(sim: SimulatedPoint, span: Span) -> bool:
    """Whether this heat moved a parameter."""
    return any(move.fault is span.fault for life in sim.lives for move in life.moves)


def _fastest(sim: SimulatedPoint, start: float, end: float) -> float:
    """Fastest change of the element's temperature over a minute [K/min]."""
    part = sim.true_temperature[sim.grid.slice(start, end)]
    minute = max(round(60.0 / sim.grid.step), 1)
    return float(np.max(np.abs(part[minute:] - part[:-minute]))) if part.size > minute else float("nan")


def _thickest(sim: SimulatedPoint, fault: Fault) -> float:
    """The thickest the layer grew, 1 being what grows in one period."""
    period = fault.more.get("period", 7.0) * DAY_S
    end = min((fault.day + fault.days) * DAY_S, sim.grid.days * DAY_S)
    times = cleanings(sim.spec, list(sim.spans))
    _, layer = fouling_layer(fault.day * DAY_S, end, period, times, sim.spec.care.restored)
    return float(np.max(layer))


def _taken_out(sim: SimulatedPoint, start: float) -> float:
    ends = [entry.adopted_at for entry in sim.calibrations if entry.adopted_at > start]
    ends += [life.start for life in sim.lives if life.start > start]
    return min([*ends, sim.grid.days * DAY_S])


def _routine_rows(sim: SimulatedPoint) -> list[TruthRow]:
    rows = []
    for span in sim.spans:
        if span.fault is None and span.kind in _ROUTINES and span.kind != "wash":
            size = max(degc for _, degc in span.heat) if span.heat else _correction(sim, span)
            rows.append(_row(sim, _ROUTINES[span.kind], span.start, span.end, size, "routine"))
    washes = [span for span in sim.spans if span.kind == "wash"]
    if washes:
        rows.append(
            _row(
                sim,
                "routine_wash",
                washes[0].start,
                washes[-1].end,
                sim.spec.care.wash_s,
                "routine",
                note=f"{len(washes)} washes",
            )
        )
    mode = "flag" if sim.spec.care.hold_flag else "no flag"
    rows += [
        _row(sim, "lookalike_hold", start, end, end - start, "lookalike", mode)
        for start, end in _runs(sim, sim.hold)
        if end - start > 600
    ]
    return rows


def _correction(sim: SimulatedPoint, span: Span) -> float:
    """By how much an adjustment moved the reading."""
    before, after = (
        sim.error[sim.grid.slice(at - 600.0, at)] for at in (span.start - 60.0, span.end + 4 * 3600.0)
    )
    return float(np.median(after) - np.median(before)) if before.size and after.size else float("nan")


def _runs(sim: SimulatedPoint, mask: BoolArray) -> list[tuple[float, float]]:
    """Runs of True as half-open spans in seconds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(float(a), float(b)) for a, b in edges.reshape(-1, 2) * sim.grid.step]


def _move_rows(sim: SimulatedPoint) -> list[TruthRow]:
    tau = 4 * sim.spec.process.tau_s
    return [
        _row(sim, "lookalike_setpoint_step", day * DAY_S, day * DAY_S + tau, size, "lookalike")
        for day, size in sim.moves
    ]


def _hot_rows(sim: SimulatedPoint) -> list[TruthRow]:
    rows = []
    for day in (d for d in sim.spec.vessel.hot_days if d < sim.grid.days - 1):
        start, end = (day + 0.25) * DAY_S, (day + 0.85) * DAY_S
        top = float(np.max(sim.true_temperature[sim.grid.slice(start, end)]))
        rows.append(_row(sim, "lookalike_hot_day", start, end, top, "lookalike"))
    return rows


def _weekend_rows(sim: SimulatedPoint) -> list[TruthRow]:
    if sim.spec.vessel.weekend >= 0.5:
        return []
    weekday, _ = week_time(sim.grid)
    return [
        _row(sim, "lookalike_quiet_weekend", start, end, sim.spec.vessel.weekend, "lookalike")
        for start, end in _runs(sim, weekday >= 5)
    ]


def _outage_rows(sim: SimulatedPoint, outages: tuple[Outage, ...]) -> list[TruthRow]:
    rows = []
    for outage in outages:
        start, end = outage.day * DAY_S, (outage.day + outage.hours / 24) * DAY_S
        kind = "bridged" if outage.bridged else "dropout"
        rows.append(_row(sim, kind, start, end, end - start, "record", mode="outage"))
        if outage.bridged:
            rows.append(_row(sim, "lookalike_bridged", start, end, end - start, "lookalike"))
    return rows


_UNITS = {"slope": "%", "zero_point": "pH", "offset": "mV", "cell_constant": "1/cm", "gain": "1"}


def _parameter_unit(measurand: str, parameter: str) -> str:
    """Unit of a parameter in the truth table; the zero point of CO2 is the decimal logarithm of a pressure in hPa."""
    if (measurand, parameter) == ("co2", "zero_point"):
        return "log10(hPa)"
    return _UNITS.get(parameter, MODELS[measurand].raw_unit)


def shift_truths(sim: SimulatedPoint) -> tuple[ShiftTruth, ...]:
    """True shift of each parameter between consecutive logged, honest entries of one probe, by cause."""
    rows = []
    last: Calibrated | None = None
    for entry in (c for c in sim.calibrations if c.logged):
        if last is not None and not (
            entry.copied or (not np.isfinite(entry.adopted_at) and entry.action == "calibration")
        ):
            rows += _shifts(sim, last, entry)
        if np.isfinite(entry.adopted_at) or entry.action == "verification":
            last = entry
    return tuple(rows)


def _shifts(sim: SimulatedPoint, last: Calibrated, entry: Calibrated) -> list[ShiftTruth]:
    if last.probe != entry.probe:
        return []
    life = next(life for life in sim.lives if life.start <= entry.time < life.end)
    names = list(figures(sim.spec.measurand, 1.0, 0.0))
    first, then = last.time, entry.found_at
    swapped = not life.start <= last.time < life.end
    before = figures(sim.spec.measurand, *last.true_left)
    after = figures(sim.spec.measurand, *entry.true_found)
    rows = []
    for name in names:
        letter = "b" if name in ("zero_point", "offset", "zero") else "a"
        scale = 100.0 if name == "slope" else 1.0
        shares: dict[str, tuple[float, int]] = {}
        for move in life.moves if not swapped else []:
            if move.parameter == letter:
                part = float(np.diff(move.at(np.array([first, then])))[0]) * scale
                start = _ns(sim, move.fault.day * DAY_S) if move.fault else 0
                held = shares.get(f"{move.cause}@{start}", (0.0, start))
                shares[f"{move.cause}@{start}"] = (held[0] + part, start)
        if swapped:
            shares["swap@0"] = (after[name] - before[name], _ns(sim, life.start))
        main = max(shares, key=lambda key: abs(shares[key][0])) if shares else "ageing@0"
        unit = _parameter_unit(sim.spec.measurand, name)
        rows.append(
            ShiftTruth(
                entry.point, entry.probe, name, _ns(sim, last.time), _ns(sim, entry.time), after[name] - before[name], unit,
                main.split("@")[0], shares[main][1] if shares else 0,
                tuple((key, value) for key, (value, _) in sorted(shares.items()) if value), entry.error_found,
            )
        )  # fmt: skip
    return rows
