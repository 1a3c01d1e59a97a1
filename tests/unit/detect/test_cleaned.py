"""Fouling that logged cleanings take off, among storms."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.slow.fouling import detect_fouling
from excursions.plant import Plant, Point
from excursions.records import CLEANING, MEASURING, Record
from tests.builders import T0, level, make_record, state_line

N, EVERY, LENGTH = 20_000, 4_000, 8  # ten minutes
STEP = 600 * NS_PER_S
CLEANED = range(EVERY, N - EVERY // 2, EVERY)


def brook(seed: int) -> np.ndarray:
    """Clear water with storms that come at once and go within a day."""
    rng = np.random.default_rng(seed)
    value = 4.0 + level(N, 0.0, 0.1, seed)
    for at in rng.choice(N - 800, 25, replace=False):
        value[at : at + 600] += rng.uniform(5, 60) * np.exp(-np.arange(600) / 100)
    return value


def record(value: np.ndarray) -> Record:
    point = Point(name="A1", measurand="turbidity", value="A1", temperature="A1.T")
    spans, at = [], 0
    for begin in CLEANED:
        spans += [(T0 + at * STEP, T0 + begin * STEP, MEASURING)]
        spans += [(T0 + begin * STEP, T0 + (begin + LENGTH) * STEP, CLEANING)]
        at = begin + LENGTH
    spans.append((T0 + at * STEP, T0 + N * STEP, MEASURING))
    plant = Plant(points=(point,), cleaned=tuple(("A1", T0 + (begin + 2) * STEP) for begin in CLEANED))
    return make_record(
        value, every_s=600.0, measurand="turbidity", point=point, plant=plant, states=state_line(spans)
    )


@pytest.mark.parametrize("seed", range(3))
def test_a_film_that_logged_cleanings_take_off_is_found_among_storms(seed: int) -> None:
    at = np.arange(N)
    film = np.where(at > EVERY, 5.0 * ((at - EVERY) % EVERY) / EVERY, 0.0)
    (event,) = detect_fouling(record(brook(seed) + film))
    assert (event.kind, event.origin) == ("fouling", "probe")
    assert event.size == pytest.approx(5.0, rel=0.25)
    assert abs(event.start - (T0 + EVERY * STEP)) < 100 * STEP


@pytest.mark.parametrize("seed", range(6))
def test_logged_cleanings_of_a_clean_window_are_no_fouling(seed: int) -> None:
    assert detect_fouling(record(brook(seed))) == ()
