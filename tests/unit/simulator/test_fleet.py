"""Random fleets: each point depends on itself alone, and faults come in every kind and size."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from sample_data.simulator.fleet import FAULT_KINDS, PRESETS, random_fleet


def test_a_point_does_not_depend_on_how_many_there_are() -> None:
    few, many = list(random_fleet(3, 2, 30.0)), list(random_fleet(3, 9, 30.0))
    assert few == many[:2]


@pytest.mark.parametrize("preset", list(PRESETS))
def test_every_way_of_recording_gives_finite_rows_in_order(preset: str) -> None:
    for point in random_fleet(4, 3, 4.0, preset):
        sim = point.simulate()
        for rows in point.export(sim).values():
            assert np.all(np.diff(rows.time) > 0)
            assert np.all(np.isfinite(rows.value))


def test_every_kind_is_planted_at_small_and_large_sizes() -> None:
    faults = [f for point in random_fleet(5, 60, 365.0) for f in point.spec.faults]
    count = Counter("glass" if f.mode == "glass" else f.kind for f in faults)
    assert set(FAULT_KINDS) - {"bridged"} <= set(count)
    steps = np.array([abs(f.size) for f in faults if f.kind == "noise_growth"])
    assert steps.min() < 2.0 < 8.0 < steps.max()


def test_a_sound_fleet_has_only_look_alikes() -> None:
    for point in random_fleet(6, 10, 365.0, faults_per_year=0.0):
        assert all(f.kind.startswith("lookalike") for f in point.spec.faults)
        assert point.outages == ()
