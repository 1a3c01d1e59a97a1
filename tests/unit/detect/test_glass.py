"""Broken glass is told by what the reading no longer does while the process goes on."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.still.glass import detect_glass
from excursions.records import Record
from tests.builders import T0, coloured, level, make_record, quantised

N, BATCH = 40_000, 840
SEEDS = pytest.mark.parametrize("seed", range(2))


def batches(seed: int, still: slice = slice(0, 0)) -> tuple[np.ndarray, np.ndarray]:
    """Batches of fourteen hours from pH 9 to 5.5 with their temperature; none in `still`."""
    phase = np.arange(N) % BATCH / BATCH
    ph, degc = 9.0 - 3.5 * phase, 25 + 30 * np.sin(np.pi * phase)
    ph[still], degc[still] = 7.3, 22.0
    return ph + coloured(N, 0.0, 0.01, 60, seed), degc + level(N, 0.0, 0.2, seed + 3)


def broken(ph: np.ndarray, at: int, seed: int) -> np.ndarray:
    out = ph.copy()
    out[at:] = coloured(N - at, 6.93, 0.03, 360, seed + 5) + level(N - at, 0.0, 0.012, seed + 6)
    return out


def recorded(ph: np.ndarray, degc: np.ndarray, measurand: str = "ph") -> Record:
    return make_record(quantised(ph, 0.01), quantised(degc, 0.1), measurand=measurand)


@SEEDS
def test_a_reading_that_parks_near_seven_while_batches_go_on_is_broken_glass(seed: int) -> None:
    ph, degc = batches(seed)
    (event,) = detect_glass(recorded(broken(ph, 25_000, seed), degc))
    assert (event.kind, event.origin, event.open_end) == ("stuck", "probe", True)
    assert (event.start - T0) / NS_PER_S == pytest.approx(25_000 * 60, abs=120 * 60)
    assert event.size == pytest.approx(6.93, abs=0.05)


@SEEDS
def test_a_standstill_near_seven_is_none(seed: int) -> None:
    ph, degc = batches(seed, still=slice(25_000, N))
    assert detect_glass(recorded(ph, degc)) == ()


@SEEDS
def test_a_process_that_follows_is_none(seed: int) -> None:
    assert detect_glass(recorded(*batches(seed))) == ()


def test_only_an_electrode_with_glass_has_it() -> None:
    ph, degc = batches(0)
    assert detect_glass(recorded(broken(ph, 25_000, 0) * 100, degc, "redox")) == ()
