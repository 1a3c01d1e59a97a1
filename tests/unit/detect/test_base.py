"""Live samples, blocks, groups, windows: fast routines against slow, obvious twins."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.series.blocks import block_width, make_blocks, noise_blocks
from excursions.detect.series.cusum import upper_cusum
from excursions.detect.series.groups import group_median, midmean, trimmed_mean
from excursions.detect.series.live import live_samples
from excursions.detect.series.pattern import without_round
from excursions.detect.series.scan import changes_among, differences, peaks, spreads, windows
from excursions.detect.series.spells import covered_s, nearly_still, unchanged
from excursions.detect.series.sudden import SIDE, gaps
from excursions.detect.series.survey import survey_of
from excursions.records import BAD, HOLD, MEASURING
from tests.builders import (
    T0,
    all_measuring,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    on_exception,
    state_line,
    with_missing,
)

MINUTE = 60 * NS_PER_S


def groups(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    size = rng.integers(0, 40, 60)
    stop = np.cumsum(size)
    return rng.standard_normal(int(stop[-1])), stop - size, stop


def midmean_twin(x: np.ndarray) -> float:
    cut = x.size // 4
    return float(np.sort(x)[cut : x.size - cut].mean()) if x.size else np.nan


def trimmed_twin(x: np.ndarray) -> float:
    return float(np.sort(x)[: max(round(0.9 * x.size), 1)].mean()) if x.size else np.nan


def median_twin(x: np.ndarray) -> float:
    return float(np.median(x)) if x.size else np.nan


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("fast", "slow"), [(midmean, midmean_twin), (trimmed_mean, trimmed_twin), (group_median, median_twin)]
)
def test_group_statistics_equal_their_twins(fast, slow, seed: int) -> None:
    value, start, stop = groups(seed)
    expected = [slow(value[a:b]) for a, b in zip(start, stop, strict=True)]
    np.testing.assert_allclose(fast(value, start, stop), expected, rtol=1e-12)


def test_live_samples_leave_out_other_states_bad_quality_and_bridges() -> None:
    quality = np.zeros(100, int)
    quality[10:12] = BAD
    signal = make_signal(level(100, 1.0, 0.1), quality=quality)
    states = state_line(
        [
            (T0, T0 + 50 * MINUTE, MEASURING),
            (T0 + 50 * MINUTE, T0 + 60 * MINUTE, HOLD),
            (T0 + 60 * MINUTE, T0 + 100 * MINUTE, MEASURING),
        ]
    )
    live = live_samples(signal, states)
    assert live.index.tolist() == [*range(10), *range(12, 50), *range(60, 100)]
    assert np.flatnonzero(live.fresh).tolist() == [0, 10, 48]


def test_blocks_hold_the_samples_of_their_time_and_no_others() -> None:
    live = live_samples(signal := make_signal(coloured(5_000, 7.0, 0.1, 30)), all_measuring(signal))
    blocks = make_blocks(live, width=block_width(live))
    for k in range(0, len(blocks), 97):
        part = live.time[blocks.first[k] : blocks.first[k + 1]]
        assert np.all((part >= blocks.start[k]) & (part < blocks.start[k] + blocks.width))
    assert blocks.count.sum() == len(live)


def test_blocks_are_left_out_where_data_are_missing() -> None:
    signal = make_signal(with_missing(level(20_000, 7.0, 0.1), 8_000, 12_000))
    live = live_samples(signal, all_measuring(signal))
    blocks = make_blocks(live, width=block_width(live))
    assert np.count_nonzero(blocks.broken) == 1
    assert np.all(np.isfinite(blocks.level))


def test_blocks_of_a_silent_recorder_keep_its_level() -> None:
    value = np.concatenate([level(4_000, 7.0, 0.05, 1), np.full(2_000, 7.0), level(4_000, 7.0, 0.05, 2)])
    time, kept = on_exception(grid(10_000), value, 0.04, 3_600.0)
    signal = make_signal(kept, time=time)
    blocks = make_blocks(live_samples(signal, all_measuring(signal)), width=600 * NS_PER_S, drawn=False)
    assert not blocks.broken.any()
    assert np.count_nonzero(blocks.count == 0) > 50
    assert np.abs(blocks.level - 7.0).max() < 0.2


@pytest.mark.parametrize("sigma", [0.01, 1.0, 300.0])
def test_noise_of_white_noise_is_its_standard_deviation(sigma: float) -> None:
    """Sixty blocks of 24 differences each: the mean is good to about 3 %."""
    signal = make_signal(level(20_000, 0.0, sigma, 5))
    live = live_samples(signal, all_measuring(signal))
    found = noise_blocks(live, make_blocks(live, width=block_width(live))).sigma
    assert np.nanmean(found) == pytest.approx(sigma, rel=0.05)


def test_ramps_and_a_step_do_not_move_the_noise() -> None:
    value = level(20_000, 0.0, 1.0, 5) + 0.05 * np.arange(20_000)
    value[10_000:] += 50.0
    assert survey_of(make_record(value, measurand="other")).sigma == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize("width", [1, 2, 7, 32])
def test_window_differences_equal_their_twin(width: int) -> None:
    x = coloured(200, 5.0, 1.0, 8, 2)
    broken = np.zeros(200, bool)
    broken[[40, 41, 150]] = True
    (one,) = windows(x, broken, (width,))
    for k in range(200):
        fits = k >= width and k + width <= 200
        assert one.fits[k] == fits
        if fits:
            assert one.diff[k] == pytest.approx(x[k : k + width].mean() - x[k - width : k].mean(), abs=1e-9)
            assert one.breaks[k] == np.count_nonzero(broken[k - width + 1 : k + width])


def test_gaps_equal_their_twin() -> None:
    x = np.round(coloured(400, 0.0, 1.0, 3, 1), 1)
    x[200:] += 4.0
    found = gaps(x)
    for k in range(SIDE, 400 - SIDE + 1):
        before, after = x[k - SIDE : k], x[k : k + SIDE]
        up, down = after.min() - before.max(), before.min() - after.max()
        assert k == 400 or found[k] == pytest.approx(up if up > 0 else -down if down > 0 else 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_cumulative_sum_equals_its_recursion(seed: int) -> None:
    z = np.random.default_rng(seed).standard_normal(300)
    total, expected = 0.0, []
    for one in z:
        total = max(0.0, total + one - 0.5)
        expected.append(total)
    np.testing.assert_allclose(upper_cusum(z), expected, atol=1e-9)


def test_spells_are_the_runs_of_equal_values() -> None:
    signal = make_signal([1.0, 1.0, 2.0, 2.0, 2.0, 3.0, 1.0, 1.0])
    live = live_samples(signal, all_measuring(signal))
    spells = unchanged(live, covered_s(live, thinned=False), held_between=False)
    assert spells.first.tolist() == [0, 2, 6]
    assert spells.last.tolist() == [1, 4, 7]
    assert spells.held_s.tolist() == [60.0, 120.0, 60.0]


def test_time_without_data_does_not_lengthen_a_spell() -> None:
    time = np.concatenate([grid(200), grid(200, start=T0 + 5_000 * MINUTE)])
    value = np.concatenate([level(190, 0.0, 1.0, 1), np.full(20, 4.0), level(190, 0.0, 1.0, 2)])
    signal = make_signal(value, time=time)
    live = live_samples(signal, all_measuring(signal))
    spells = unchanged(live, covered_s(live, thinned=False), held_between=False)
    assert spells.held_s.max() == 18 * 60.0


def test_nearly_still_blocks_join_only_at_the_same_level() -> None:
    value = np.concatenate(
        [level(600, 0.0, 1.0, 1), np.full(600, 3.0), np.full(600, 5.0), level(600, 0.0, 1.0, 2)]
    )
    value[::2] += 0.001
    signal = make_signal(value)
    live = live_samples(signal, all_measuring(signal))
    blocks = make_blocks(live, width=30 * MINUTE)
    spells = nearly_still(blocks, covered_s(live, thinned=False), band=0.01)
    assert np.round(spells.level, 1).tolist() == [3.0, 5.0]


def test_a_rest_that_is_jolted_is_one_spell_and_not_two_habits() -> None:
    sway = 3.0 + 0.008 * np.sin(np.arange(1_800) / 200)
    sway[900] += 0.02
    value = np.concatenate([level(600, 0.0, 1.0, 1), sway, level(600, 0.0, 1.0, 2)])
    signal = make_signal(value)
    live = live_samples(signal, all_measuring(signal))
    blocks = make_blocks(live, width=30 * MINUTE)
    spells = nearly_still(blocks, covered_s(live, thinned=False), band=0.01)
    assert len(spells) == 1
    assert spells.held_s[0] > 0.95 * 1_800 * 60


def test_two_rests_with_much_between_them_are_two() -> None:
    value = np.concatenate([np.full(600, 3.0), level(300, 3.0, 1.0, 1), np.full(600, 3.0)])
    value[::2] += 0.001
    signal = make_signal(value)
    live = live_samples(signal, all_measuring(signal))
    blocks = make_blocks(live, width=30 * MINUTE)
    assert len(nearly_still(blocks, covered_s(live, thinned=False), band=0.01)) == 2


def test_a_daily_round_is_taken_out_and_a_walk_is_left_in() -> None:
    start = T0 + np.arange(48 * 20) * 30 * MINUTE
    days = (start - T0) / 86_400e9
    walk = 0.5 * days
    rest = without_round(start, 3 * np.sin(2 * np.pi * days) + walk, width=30 * MINUTE)
    away = rest - walk
    assert np.ptp(away[96:-96]) < 0.5


def test_noise_has_no_round_to_take_out() -> None:
    start = T0 + np.arange(48 * 20) * 30 * MINUTE
    x = level(start.size, 0.0, 1.0, 3)
    np.testing.assert_array_equal(without_round(start, x, width=30 * MINUTE), x)


@pytest.mark.parametrize("width", [1, 2, 3, 8, 13, 64, 500])
def test_peaks_are_the_largest_within_a_window_either_way(width: int) -> None:
    draw = np.random.default_rng(width)
    diff, usable = np.round(draw.normal(size=300), 1), draw.random(300) < 0.9
    size = np.where(usable, np.abs(diff), 0.0)
    largest = [size[max(i - width, 0) : i + width + 1].max() for i in range(size.size)]
    np.testing.assert_array_equal(peaks(diff, usable, width), np.flatnonzero((size > 0) & (size == largest)))


@pytest.mark.parametrize("seed", [0, 1, 3, 7])
def test_what_is_usual_over_the_widest_windows_is_no_wider_than_a_random_walk_would_make_it(
    seed: int,
) -> None:
    """Set-points that stand for a day or two: their differences grow up to that width, and not beyond it."""
    rng = np.random.default_rng(seed)
    stays = [np.full(rng.integers(20, 60), rng.normal()) for _ in range(60)]
    level, broken = np.concatenate(stays)[:1600] + rng.normal(0, 0.05, 1600), np.zeros(1600, dtype=np.bool_)
    level[900:] += 5.0
    every = differences(level, broken)
    spread = spreads(every, level.size, floor=0.01)
    assert spread[-1] < 4 * level[:900].std()
    assert any(abs(change.at - 900) < 5 for change in changes_among(every, broken, floor=0.01))
