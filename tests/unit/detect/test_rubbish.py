"""Rubbish: what a reading shows while its probe is unplugged hides no change of level and makes none."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.level.rubbish import rubbish, without_rubbish
from excursions.detect.level.step import detect_step
from excursions.detect.series.survey import survey_of
from excursions.records import Record
from tests.builders import T0, coloured, level, make_record, quantised, with_step

N = 30_000
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(4))
FROM, LONG = 17_000, 150


def jumping(seed: int, size: float, *, first: int = FROM, long: int = LONG) -> Record:
    """A process, and for a while now the end of the range and now anything."""
    draw = np.random.default_rng(seed)
    value = coloured(N, 7.6, 0.05, 120, seed) + level(N, 0.0, 0.01, seed + 60)
    value = with_step(value, first + long, size)
    open_circuit = draw.random(long) < 0.5
    value[first : first + long] = np.where(open_circuit, 14.0, 4.0 + draw.normal(size=long))
    return make_record(quantised(value, 0.01))


@SEEDS
@pytest.mark.parametrize("size", [0.4, -0.4])
def test_the_step_is_what_the_level_was_before_and_since(seed: int, size: float) -> None:
    (event,) = detect_step(jumping(seed, size))
    assert (event.start - T0) / MINUTE == pytest.approx(FROM + LONG, abs=5)
    assert event.size == pytest.approx(size, abs=0.1)
    assert event.origin != "process"


@SEEDS
def test_without_a_change_of_level_there_is_no_step(seed: int) -> None:
    assert detect_step(jumping(seed, 0.0)) == ()


def test_what_lasts_is_no_rubbish() -> None:
    record = jumping(0, 0.4, long=2_000)
    assert without_rubbish(record, survey_of(record)) is record


def test_products_and_rinses_in_turn_are_none() -> None:
    value = np.tile(np.repeat([4.4, 7.4, 12.5, 7.6], 8), 4)
    record = make_record(
        np.concatenate([level(12_000, 4.4, 0.01, 1), value, level(12_000, 4.4, 0.01, 2)]), measurand="ph"
    )
    assert rubbish(record, survey_of(record)).size == 0


def test_single_spikes_are_none() -> None:
    value = level(N, 7.0, 0.01, 3)
    value[20_000:20_400:10] = 14.0
    record = make_record(value)
    assert rubbish(record, survey_of(record)).size == 0
