"""After steam: batches that come back another way since one steaming."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.level.after_steam import AfterSteamSettings, after_steam_limits, detect_after_steam
from excursions.records import MEASURING, STEAMING, Record
from tests.builders import T0, coloured, level, make_record, make_signal, state_line

MINUTE = 60 * NS_PER_S
CYCLE, STEAM, CYCLES = 4_000, 100, 9  # minutes; of each cycle steamed; in the record
SEEDS = pytest.mark.parametrize("seed", range(4))


def batches(
    seed: int,
    offset: np.ndarray,
    hot: tuple[int, float] = (-1, 0.0),
    brief: np.ndarray | None = None,
    lasting: float = 400.0,
    neighbour: np.ndarray | None = None,
) -> Record:
    """Batches that fall from 7.2 to 6.8 and jump by 0.5 in the middle; `offset`, and `brief` that is gone by and by, of each cycle."""
    rng, cycles = np.random.default_rng(seed), offset.size
    n = CYCLE * cycles
    minute = np.arange(n)
    cycle, into = minute // CYCLE, minute % CYCLE
    way = 7.2 - 0.4 * into / CYCLE + 0.5 * (into > CYCLE // 2) + rng.normal(0.0, 0.01, cycles)[cycle]
    value = way + coloured(n, 0.0, 0.01, 60, seed) + level(n, 0.0, 0.005, seed + 9) + offset[cycle]
    if brief is not None:
        value += brief[cycle] * np.exp(-np.maximum(into - STEAM, 0) / lasting)
    peak = np.full(cycles, 122.0)
    if hot[0] >= 0:
        peak[hot[0]] = hot[1]
    steamed = into < STEAM
    warm = np.where(steamed, peak[cycle], 37.0) + rng.normal(0.0, 0.1, n)
    spans = []
    for k in range(cycles):
        begin = T0 + k * CYCLE * MINUTE
        spans.append((begin, begin + STEAM * MINUTE, STEAMING))
        spans.append((begin + STEAM * MINUTE, begin + CYCLE * MINUTE, MEASURING))
    beside = (
        {}
        if neighbour is None
        else {"NEXT": make_signal(way + neighbour[cycle] + level(n, 0.0, 0.005, seed + 77))}
    )
    return make_record(value, warm, states=state_line(spans), neighbours=beside)


NONE = np.zeros(CYCLES)
SINCE = np.where(np.arange(CYCLES) >= 5, 0.3, 0.0)


@SEEDS
def test_a_step_that_a_hot_steaming_left_stands_out_of_the_jumps_of_the_batches(seed: int) -> None:
    record = batches(seed, SINCE, hot=(5, 141.0))
    (event,) = (e for e in detect(record) if e.kind == "step" and e.origin != "process")
    assert event.start == T0 + (5 * CYCLE + STEAM) * MINUTE
    assert event.size_low <= 0.3 <= event.size_high
    assert event.origin == "probe"
    assert any("141 °C" in fact for fact in event.evidence)


@SEEDS
def test_without_a_witness_it_may_be_another_recipe(seed: int) -> None:
    (event,) = detect_after_steam(batches(seed, SINCE))
    assert event.origin == "undecided"


@SEEDS
def test_a_neighbour_that_comes_back_so_too_is_the_process(seed: int) -> None:
    (event,) = detect_after_steam(batches(seed, SINCE, neighbour=SINCE))
    assert event.origin == "process"


@SEEDS
@pytest.mark.parametrize("minutes", [120.0, 400.0])
def test_a_return_that_is_off_for_hours_is_no_step(seed: int, minutes: float) -> None:
    (event,) = detect_after_steam(batches(seed, NONE, brief=2 * SINCE, lasting=minutes))
    assert event.kind == "slow_return"
    assert event.start == T0 + (5 * CYCLE + STEAM) * MINUTE
    assert 0.2 < event.size < 0.6
    assert event.origin == "undecided"


@SEEDS
@pytest.mark.parametrize(
    "offset",
    [
        NONE,
        np.linspace(0.0, 0.4, CYCLES),
        np.array([0.0, 0.3, 0.0, 0.0, 0.3, 0.3, 0.0, 0.3, 0.0]),
        np.array([0.0, 0.0, 0.0, 0.0, 0.4, 0.0, 0.0, 0.0, 0.0]),
    ],
    ids=["alike", "walk", "two recipes in turn", "one other batch"],
)
def test_batches_that_are_alike_walk_or_change_back_are_none(seed: int, offset: np.ndarray) -> None:
    assert detect_after_steam(batches(seed, offset)) == ()


@SEEDS
def test_too_few_cycles_and_nothing_at_all_give_nothing(seed: int) -> None:
    few, enough = (batches(seed, np.array([0.0, 0.0, *more, 0.3, 0.3])) for more in ((), (0.0,)))
    assert detect_after_steam(few) == ()
    assert len(detect_after_steam(enough)) == 1
    blank = make_record(level(500, 7.0, 0.01, seed), states=enough.states)
    assert detect_after_steam(blank) == ()
    assert detect_after_steam(make_record(np.full(500, np.nan))) == ()


@SEEDS
def test_what_is_above_the_limit_is_found(seed: int) -> None:
    (limit,) = after_steam_limits(batches(seed, NONE), AfterSteamSettings())
    assert limit.kind == "slow_return"
    assert 0.0 < limit.size < 0.5
    since = np.where(np.arange(CYCLES) >= 5, 1.0, 0.0)
    shown = [detect_after_steam(batches(seed, NONE, brief=f * limit.size * since)) for f in (0.1, 2.0)]
    assert [len(found) for found in shown] == [
        0,
        1,
    ]  # of what decays, the beginning shows more than half
