"""Calibrations of simulated points: raw values, figures, and entries that are not what they seem."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_data.simulator import Fault
from sample_data.simulator.catalogue import CARES, PROBES
from sample_data.simulator.physics import LOGGED, nernst
from sample_data.simulator.rows import shift_truths
from sample_data.simulator.standards import solve, standard_value
from tests.unit.simulator.plain import plain, run

DAYS = (4.0, 12.0, 20.0, 28.0)


@pytest.mark.parametrize("measurand", list(PROBES))
def test_parameters_come_back_from_exact_raw_values(measurand: str) -> None:
    model = LOGGED[measurand]
    standards = CARES[measurand].standards
    t = np.full(len(standards), 22.0)
    x = np.array([float(standard_value(measurand, s, np.asarray(22.0))) for s in standards])
    true = (
        0.96,
        {"ph": 6.8, "oxygen_saturation": 57.0, "co2": 2.03, "conductivity": 0.0}.get(measurand, 0.2),
    )
    a = 1.0 if measurand == "redox" else true[0]
    raw = model.forward(x, t, np.full(x.size, a), np.full(x.size, true[1]))
    got = solve(measurand, model, x, t, raw, (1.0, 0.0 if measurand != "oxygen_saturation" else 58.0))
    assert got == pytest.approx((a, true[1]), abs=2e-3)


def test_a_common_two_point_entry() -> None:
    """Slope 100.7 %, zero point pH 6.98: -1.2 mV in 7.00 and +176.9 mV in 4.01 at 25 degC (common practice, no source)."""
    raw = LOGGED["ph"].forward(np.array([7.0, 4.01]), np.full(2, 25.0), np.full(2, 1.007), np.full(2, 6.98))
    assert raw == pytest.approx([-1.2, 176.9], abs=0.05)
    assert nernst(np.array([25.0]))[0] * 1.007 == pytest.approx(59.57, abs=0.01)


def test_found_figures_scatter_about_the_truth_by_the_repeatability() -> None:
    care = replace(
        CARES["ph"], calibrate_days=tuple(float(d) for d in range(2, 60, 2)), standard_tolerance=0.0
    )
    sim = run(plain("ph", care=care), days=61.0, step_s=300.0)
    off = [entry.found[1] - entry.true_found[1] for entry in sim.calibrations]
    # The first buffer lies near the zero point: 0.3 mV over 58 mV/pH; 29 entries give it within a third.
    assert np.std(off) == pytest.approx(0.3 / 58.0, rel=0.35)


def test_a_copied_entry_repeats_the_figures_and_changes_nothing() -> None:
    care = replace(CARES["ph"], calibrate_days=DAYS, copied=(2,), adjust_beyond=0.0)
    first, second, copied, _ = run(plain("ph", care=care), days=32.0).calibrations
    assert copied.figures_found == second.figures_left
    assert copied.raw_found == second.raw_left
    assert np.isnan(copied.adopted_at)
    assert first.figures_left != second.figures_left


def test_an_adjustment_that_is_kept_out_leaves_the_transmitter_as_it_was() -> None:
    care = replace(CARES["ph"], calibrate_days=DAYS, kept=(1,), adjust_beyond=0.0)
    step = Fault("step", 8.0, float("nan"), 0.5)
    first, kept, after, _ = run(plain("ph", step, care=care), days=32.0).calibrations
    assert kept.kept
    assert np.isnan(kept.adopted_at)
    assert kept.left == first.left
    assert kept.would_move == pytest.approx(-0.5, abs=0.05)
    assert kept.figures_left["zero_point"] == pytest.approx(after.figures_left["zero_point"], abs=0.05)
    assert after.would_move == pytest.approx(-0.5, abs=0.05)


def test_an_untraced_entry_leaves_no_mark_in_the_signal() -> None:
    care = replace(CARES["ph"], calibrate_days=DAYS, untraced=(1,))
    sim = run(plain("ph", care=care), days=32.0)
    part = sim.grid.slice(12.0 * 86400, 13.0 * 86400)
    assert np.ptp(sim.temperature[part]) < 1.5
    assert not sim.calibrations[1].traced
    assert sim.calibrations[1].logged


def test_log_and_trace_agree_on_the_bench() -> None:
    care = replace(CARES["ph"], calibrate_days=DAYS)
    sim = run(plain("ph", care=care), days=32.0, step_s=10.0)
    for entry, span in zip(sim.calibrations, (s for s in sim.spans if s.marks), strict=True):
        dip = sim.grid.slice(span.marks["left0"], span.marks["left1_end"])
        assert float(np.median(sim.temperature[dip])) == pytest.approx(entry.temperatures[0], abs=1.0)


def test_dirt_is_found_and_not_left() -> None:
    care = replace(CARES["turbidity"], calibrate_days=(10.0,), restored=0.9)
    sim = run(plain("turbidity", Fault("fouling", 3.0, 7.0, 2.0), care=care), days=14.0)
    entry = sim.calibrations[0]
    assert entry.found[1] == pytest.approx(2.1, abs=0.2)
    assert entry.figures_left["zero"] == pytest.approx(0.21, abs=0.15)


def test_the_shares_of_a_shift_add_up_to_it() -> None:
    care = replace(CARES["ph"], calibrate_days=DAYS)
    faults = (Fault("step", 15.0, size=-0.4), Fault("drift", 21.0, 4.0, 0.3))
    sim = run(plain("ph", *faults, care=care), days=32.0)
    truths = shift_truths(sim)
    assert {t.main for t in truths} >= {"step", "drift", "ageing"}
    for truth in truths:
        assert sum(part for _, part in truth.shares) == pytest.approx(truth.change, abs=1e-3)
