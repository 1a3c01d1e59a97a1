"""Exports: what the historian and its export button make of a signal."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator import Fault, Outage, Sampling, record
from sample_data.simulator.grid import NS
from tests.unit.simulator.plain import plain, run

MINUTE = Sampling(interval_s=60.0)


def test_instant_samples_stand_on_the_grid_and_on_the_resolution() -> None:
    sim = run(plain(), days=1.0, step_s=10.0)
    rows = record(sim, MINUTE)["value"]
    assert np.all(np.diff(rows.time) == 60 * NS)
    assert rows.value / 0.002 == pytest.approx(np.round(rows.value / 0.002))


def test_averages_are_the_means_of_their_intervals() -> None:
    sim = run(plain("turbidity"), days=1.0)
    rows = record(sim, Sampling(kind="averages", interval_s=600.0))["value"]
    assert rows.value[3] == pytest.approx(np.round(sim.reading[30:40], 2).mean(), abs=0.006)
    assert rows.time[3] == sim.grid.start_ns + 1800 * NS


def test_an_outage_leaves_a_hole() -> None:
    rows = record(run(plain(), days=2.0), MINUTE, (Outage(1.0, 3.0),))["value"]
    assert np.max(np.diff(rows.time)) == (3 * 3600 + 60) * NS


def test_a_bridged_outage_is_drawn_straight() -> None:
    sim = run(plain(), days=2.0)
    rows = record(sim, MINUTE, (Outage(1.0, 3.0, bridged=True),))["value"]
    inside = rows.value[24 * 60 : 27 * 60]
    assert np.all(np.diff(rows.time) == 60 * NS)
    assert np.max(np.abs(np.diff(inside, 2))) < 1e-9


def test_an_interpolated_export_stands_on_its_grid_and_between_recorded_samples() -> None:
    sim = run(plain(), days=2.0, step_s=10.0)
    rows = record(sim, Sampling(kind="interpolated", interval_s=300.0, deadband=0.02))["value"]
    assert np.all(np.diff(rows.time) == 300 * NS)
    assert np.median(np.abs(rows.value - sim.reading[::30])) < 0.02


def test_bad_quality_and_status_words_come_through_an_exception_record() -> None:
    sim = run(plain("ph", Fault("bad_quality", 1.0, 0.1, more={"word": 1})), days=2.0)
    rows = record(sim, Sampling(kind="exception", interval_s=60.0, deadband=0.05))["value"]
    assert set(rows.status[rows.quality == 2]) == {1}
    assert np.count_nonzero(rows.quality == 2) >= 1


def test_untidy_exports_hold_doubled_and_late_rows() -> None:
    rows = record(run(plain(), days=5.0), Sampling(duplicates=0.01, disorder=0.01))["value"]
    steps = np.diff(rows.time)
    assert np.count_nonzero(steps == 0) >= 40
    assert np.count_nonzero(steps < 0) >= 40
