"""An outage that one signal shows is an outage for the others too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.condition import share_outages
from excursions.records import Sampling, Signal

MINUTE = 60 * 10**9


def made_signal(value: np.ndarray, *, bridged: tuple[int, int] | None = None) -> Signal:
    return Signal(
        tag="T",
        unit="degC",
        time=np.arange(value.size, dtype=np.int64) * MINUTE,
        value=value,
        quality=np.zeros(value.size, np.uint8),
        sampling=Sampling(interval_s=60.0, resolution=0.01),
        segments=np.array([[0, value.size]], dtype=np.int64),
        bridged=np.array([bridged] if bridged else [], dtype=np.int64).reshape(-1, 2),
    )


def wandering() -> np.ndarray:
    return np.random.default_rng(4).standard_normal(1000).cumsum().round(2)


def test_a_flat_stretch_under_a_drawn_one_is_drawn_too() -> None:
    flat = wandering()
    flat[300:500] = 3.4
    signals = {"value": made_signal(flat), "temperature": made_signal(wandering(), bridged=(300, 500))}
    assert share_outages(signals)["value"].bridged.tolist() == [[300, 500]]


def test_a_live_stretch_under_a_drawn_one_stays_measured() -> None:
    signals = {"value": made_signal(wandering()), "temperature": made_signal(wandering(), bridged=(300, 500))}
    assert share_outages(signals)["value"].bridged.size == 0


def test_a_stretch_that_is_known_already_is_not_doubled() -> None:
    signals = {
        "value": made_signal(np.linspace(0, 9, 1000).round(2), bridged=(290, 505)),
        "temperature": made_signal(wandering(), bridged=(300, 500)),
    }
    assert share_outages(signals)["value"].bridged.tolist() == [[290, 505]]


def test_nothing_drawn_changes_nothing() -> None:
    signals = {"value": made_signal(wandering()), "temperature": replace(made_signal(wandering()), tag="U")}
    assert all(share_outages(signals)[role] is signals[role] for role in signals)
