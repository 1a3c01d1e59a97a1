"""Changes of level: where they are placed, and the size of a jump from the samples next to it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.series.live import Live
from excursions.detect.series.scan import Change
from excursions.detect.series.shape import _at_break, _beside, ramp, ramp_around, step_squares, transition_of
from excursions.detect.series.survey import Survey, survey_of
from excursions.once import Once
from excursions.records import FloatArray
from tests.builders import T0, coloured, level, make_record, with_ramp, with_step

N, AT = 2_048, 1_000


class _Surveyed:
    """As much of a survey as the levels beside a jump ask for."""

    def __init__(self, value: FloatArray) -> None:
        at = np.arange(value.size, dtype=np.int64)
        self.live = Live(time=at, value=value, index=at, fresh=np.zeros(value.size, dtype=np.bool_))
        self.once = Once()


@pytest.mark.parametrize(
    ("walk", "noise", "wave"), [(0.0, 0.01, 0.0), (0.01, 0.001, 0.0), (0.01, 0.01, 0.0), (0.0, 0.01, 0.1)]
)
def test_a_jump_amid_wandering_has_its_own_size(walk: float, noise: float, wave: float) -> None:
    """Never clearly worse than medians of the 16 samples on either side, and much better where the process walks."""
    rng = np.random.default_rng(1)
    own, plain, unsure = [], [], []
    for _ in range(300):
        value = np.cumsum(rng.normal(0, walk, N)) + rng.normal(0, noise, N)
        value += wave * np.sin(2 * np.pi * (np.arange(N) / 64 + rng.random())) + (np.arange(N) >= AT)
        before, after, error = _beside(cast(Survey, _Surveyed(value)), AT, AT, (0.0, 0.0))
        own.append(after - before - 1)
        plain.append(np.median(value[AT : AT + 16]) - np.median(value[AT - 16 : AT]) - 1)
        unsure.append(error)
    assert np.std(own) < (0.75 if walk or wave else 1.1) * np.std(plain)
    inside = np.mean(np.abs(own) <= 1.645 * np.array(unsure))
    assert 0.85 < inside < 0.95  # nine in ten, within three standard errors of 300 draws


def test_a_sample_that_holds_a_part_of_the_jump_is_left_out() -> None:
    """An average over the instant of the jump lies between the two levels."""
    rng = np.random.default_rng(2)
    walk = np.cumsum(rng.normal(0, 0.05, N))
    part = np.where(np.arange(N) >= AT, 1.0, 0.0)
    part[AT - 1] = 0.5
    whole, halved = (
        _beside(cast(Survey, _Surveyed(walk + jump)), AT, AT, (0.0, 0.0))
        for jump in ((part > 0.75).astype(float), part)
    )
    assert halved[:2] == whole[:2]


def broken_at(rest: FloatArray, *places: int) -> Survey:
    """A survey of blocks alone, some of them behind a break."""
    broken = np.zeros(rest.size, bool)
    broken[list(places)] = True
    return cast(Survey, SimpleNamespace(rest=rest, blocks=SimpleNamespace(broken=broken)))


def wandering(seed: int, size: float) -> FloatArray:
    """Hours of a level that wanders for half a day, and a change of it at hour 500."""
    rng = np.random.default_rng(seed)
    rest = lfilter([1.0], [1.0, -0.92], rng.normal(0.0, 4.7, 1_000))
    return np.asarray(rest + size * (np.arange(1_000) >= 500))


def test_a_change_amid_wandering_is_placed_at_a_break_that_explains_it_as_well() -> None:
    """By least squares alone it lies hours away; a steaming is one of few places, and heat moves readings."""
    rests = [wandering(seed, 25.0) for seed in range(40)]
    alone = [1 + int(np.argmin(step_squares(rest))) for rest in rests]
    found = [
        _at_break(broken_at(rest, 350, 500, 650), 0, 1_000, at, at)
        for rest, at in zip(rests, alone, strict=True)
    ]
    off = np.abs(np.array(alone) - 500)
    assert np.count_nonzero(off > 3) > 10, "the case is one at all"
    assert np.mean([place == 500 for place, _ in found]) > 0.9
    assert np.mean([o <= 2 * unsure + 1 for o, (_, unsure) in zip(off, found, strict=True)]) > 0.9


def test_a_change_that_is_clearly_elsewhere_is_not_drawn_to_a_break() -> None:
    for seed in range(20):
        place, unsure = _at_break(broken_at(wandering(seed, 200.0), 470), 0, 1_000, 500, 500)
        assert place is None
        assert unsure <= 2


def test_a_jump_amid_a_ramp_begins_where_it_is_seen() -> None:
    """However wide the windows that found it: its start is no less sure for the ramp around it."""
    n, at = 40_000, 20_000
    value = level(n, 7.0, 0.003, 51) + coloured(n, 0.0, 0.1, 20, 1)
    value = with_step(with_ramp(value, at - 960, at + 960, 0.9), at, 0.5)
    survey = survey_of(make_record(value))
    assert survey is not None
    change = Change(
        at=survey.blocks.at(T0 + at * 60 * NS_PER_S), width=32, size=1.4, spread=0.05, expected=0.0
    )
    _, _, begin, end = ramp_around(survey.rest, change.at, change.width)
    assert end - begin > 20, "the case is one at all"
    found = transition_of(survey, change)
    assert (found.first, found.onset_error_s) == (at, 60.0)


@pytest.mark.parametrize("at", [1_600, 1_601, 1_602, 1_603, 1_617])
@pytest.mark.parametrize("length", [2_000, 9_000])
def test_a_step_in_a_long_series_is_no_ramp_wherever_it_lies_in_the_means(at: int, length: int) -> None:
    series = np.where(np.arange(length) < at, 0.0, 6.0) + np.random.default_rng(at).normal(0.0, 0.8, length)
    assert ramp(series, at + 3) == (at, at)


def test_a_short_ramp_in_a_long_series_keeps_its_length() -> None:
    series = np.clip((np.arange(9_000) - 4_000) / 40, 0, 1)
    begin, end = ramp(series, 4_020)
    assert (begin, end) == (pytest.approx(4_000, abs=4), pytest.approx(4_040, abs=4))
