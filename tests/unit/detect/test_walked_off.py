"""A step that leads back to where the reading came from by and by."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.catalogue import detect
from tests.builders import T0, coloured, level, make_record, with_step

N = 14_400  # a hundred days at ten minutes
DAY = 144
STEP = 600 * 10**9
SEEDS = pytest.mark.parametrize("seed", range(3))


def river(seed: int) -> np.ndarray:
    """Oxygen with its daily round and spells of weather of some days."""
    round_of_day = 0.8 * np.sin(2 * np.pi * np.arange(N) / DAY)
    return 9.8 + round_of_day + coloured(N, 0.0, 0.35, 3 * DAY, seed) + level(N, 0.0, 0.03, seed + 9)


def film(begin: int, grown: int, wiped: int) -> np.ndarray:
    """Share of the reading that a film takes: grows from day `begin` to `grown`, is wiped off on day `wiped`."""
    day = np.arange(N) / DAY
    return np.where(day < wiped, 0.35 * np.clip((day - begin) / (grown - begin), 0, 1), 0.0)


@SEEDS
def test_a_film_that_was_wiped_off_is_told_as_it_grew_and_not_as_a_step(seed: int) -> None:
    value = river(seed) * (1 - film(30, 50, 56) - film(72, 88, 93))
    told = [e for e in detect(make_record(value, every_s=600.0, measurand="oxygen")) if e.origin != "process"]
    assert {e.kind for e in told} == {"drift"}
    last = told[-1]
    assert last.origin == "undecided"
    assert last.went_back
    assert last.size < -2.0
    assert T0 + 70 * DAY * STEP < last.start < T0 + 82 * DAY * STEP
    assert last.end == T0 + 93 * DAY * STEP


@SEEDS
def test_a_step_stays_a_step(seed: int) -> None:
    value = with_step(river(seed), 8_000, 3.0)
    (event,) = (
        e for e in detect(make_record(value, every_s=600.0, measurand="oxygen")) if e.origin != "process"
    )
    assert (event.kind, event.start) == ("step", T0 + 8_000 * STEP)
    away_and_back = with_step(river(seed), 6_000, -3.0, 9_000)  # it left with a jump as well
    assert "drift" not in [e.kind for e in detect(make_record(away_and_back, every_s=600.0))]
