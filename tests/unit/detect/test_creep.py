"""Creep of the baseline under storms, and laboratory samples that part from the reading."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.evidence.laboratory import disagreements
from excursions.detect.series.survey import survey_of
from excursions.detect.slow.creep import detect_creep
from excursions.detect.slow.drift import detect_drift
from tests.builders import T0, coloured, grid, level, make_record

N = 14_400  # a hundred days at ten minutes
DAY = 144
AT = np.arange(N)
SEEDS = pytest.mark.parametrize("seed", range(3))


def river(seed: int, storms: int = 7) -> np.ndarray:
    """Turbidity [NTU]: a wandering base, and storms that rise in hours and fall over a day."""
    draw = np.random.default_rng(seed)
    value = 5.0 + coloured(N, 0.0, 0.8, 1_000, seed) + np.abs(level(N, 0.0, 0.15, seed))
    for at in draw.integers(200, N - 1_500, storms):
        since = np.maximum(AT - at, 0)
        value = value + np.where(at <= AT, 60 * np.minimum(since / 15, 1) * np.exp(-since / 90), 0.0)
    return value


def film(begin: int, cleaned: tuple[int, ...], per_day: float) -> np.ndarray:
    """Creep from `begin` on, gone at each cleaning."""
    since = AT - begin
    for at in cleaned:
        since = np.where(at <= AT, AT - at, since)
    return np.maximum(since, 0) / DAY * per_day


@SEEDS
def test_a_film_that_cleanings_take_off_is_fouling_upwards(seed: int) -> None:
    record = make_record(
        river(seed) + film(30 * DAY, (55 * DAY, 78 * DAY), 0.5), every_s=600.0, measurand="turbidity"
    )
    (event,) = detect_creep(record)
    assert (event.kind, event.origin, event.open_end) == ("fouling", "probe", True)
    assert event.size == pytest.approx(12.0, rel=0.25)
    assert event.details["rate_per_day"] == pytest.approx(0.5, rel=0.3)
    assert (event.start - T0) / NS_PER_S / 86_400 == pytest.approx(30, abs=7)
    told = [one for one in detect(record) if one.origin != "process" and one.kind != "spikes"]
    assert [one.kind for one in told] == ["fouling"]


@SEEDS
def test_slime_that_is_wiped_off_every_fifth_day_is_fouling(seed: int) -> None:
    """A third of the reading is lost in five days; meals take more of the oxygen than a day of slime does."""
    meals = sum(np.exp(-(((AT % DAY) - at) ** 2) / 50.0) for at in (45, 75, 105))
    true = 8.4 - 1.0 * meals + coloured(N, 0.0, 0.1, 100, seed) + level(N, 0.0, 0.02, seed + 9)
    since = (AT - 60) % (5 * DAY) / DAY
    found = [
        detect_creep(make_record(value, every_s=600.0, measurand="oxygen"))
        for value in (true, true * (1 - 0.06 * since))
    ]
    assert found[0] == ()
    (event,) = found[1]
    assert (event.kind, event.origin) == ("fouling", "probe")
    assert event.details["rate_per_day"] == pytest.approx(-0.5, rel=0.35)


@SEEDS
def test_storms_alone_are_no_film_and_no_drift(seed: int) -> None:
    record = make_record(river(seed), every_s=600.0, measurand="turbidity")
    assert detect_creep(record) == ()
    assert [event for event in detect_drift(record) if event.origin != "process"] == []


def test_the_fall_after_a_storm_leads_back() -> None:
    events = detect_drift(make_record(river(4, storms=1), every_s=600.0, measurand="turbidity"))
    assert all("it leads back to where the reading was right before" in event.evidence for event in events)


@SEEDS
def test_set_points_that_go_up_and_down_are_no_saw(seed: int) -> None:
    draw = np.random.default_rng(seed)
    steps = np.repeat(draw.normal(0, 6, 10), DAY * 10)
    assert detect_creep(make_record(river(seed) + steps, every_s=600.0, measurand="turbidity")) == ()


@SEEDS
def test_samples_that_part_and_agree_again_are_dirt(seed: int) -> None:
    """The reading itself wanders by more than the error; ten samples tell it."""
    true = 2.3 + coloured(N, 0.0, 0.3, 60, seed)
    gain = 1 - 0.4 * np.clip((AT - 35 * DAY) % (28 * DAY) / (28 * DAY), 0, 1) * (AT >= 35 * DAY)
    at = np.arange(6 * DAY + 60, N, 6 * DAY)
    taken = true[at] + level(at.size, 0.0, 0.06, seed + 9)
    record = make_record(
        true * gain, every_s=600.0, measurand="oxygen", sample_time=grid(N, 600.0)[at], sample_value=taken
    )
    events = [event for event in detect_drift(record) if event.origin == "probe"]
    assert {event.kind for event in events} == {"fouling"}
    assert all(event.size < -0.4 for event in events)


@SEEDS
def test_samples_that_scatter_about_the_reading_are_no_trend(seed: int) -> None:
    true = 2.3 + coloured(N, 0.0, 0.3, 60, seed)
    at = np.arange(3 * DAY, N, 3 * DAY)
    taken = true[at] + level(at.size, 0.0, 0.3, seed + 9)
    record = make_record(
        true, every_s=600.0, measurand="oxygen", sample_time=grid(N, 600.0)[at], sample_value=taken
    )
    assert disagreements(record, survey_of(record)) == ()


def saw(seed: int, *, every: int, begin: int, size: float) -> np.ndarray:
    """pH that falls by `size` from one cleaning to the next, every so many days with a day's scatter, from day `begin` on."""
    draw = np.random.default_rng(seed)
    value, at = 7.6 + coloured(N, 0.0, 0.08, 12, seed), begin * DAY
    while at < N:
        until = min(at + int(every * DAY + draw.normal(0, DAY / 3)), N)
        value[at:until] -= size * np.arange(until - at) / (every * DAY)
        at = until
    return value


@SEEDS
def test_weekly_cleanings_nobody_wrote_down_are_fouling(seed: int) -> None:
    """No single return is taller than the process moves; that all go one way shows them."""
    (event,) = detect_creep(make_record(saw(seed, every=7, begin=20, size=0.4), every_s=600.0))
    assert (event.kind, event.origin) == ("fouling", "probe")
    assert event.details["rate_per_day"] == pytest.approx(-0.4 / 7, rel=0.35)
    assert event.size == pytest.approx(-0.4, rel=0.35)
    assert (event.start - T0) / NS_PER_S / 86_400 == pytest.approx(20, abs=10)


@pytest.mark.parametrize("tau", [12, 144, 576])
def test_a_process_that_wanders_is_no_saw(tau: int) -> None:
    for seed in range(12):
        value = 7.0 + coloured(N, 0.0, 0.15, tau, seed)
        assert detect_creep(make_record(value, every_s=600.0)) == ()


@SEEDS
def test_shocks_that_die_away_are_no_saw(seed: int) -> None:
    draw = np.random.default_rng(seed)
    value = 7.0 + coloured(N, 0.0, 0.03, DAY, seed)
    for at in draw.integers(100, N - 100, 20):
        since = np.maximum(AT - at, 0) / draw.uniform(10, 60)
        value -= draw.exponential(0.5) * np.where(at <= AT, np.exp(-since), 0.0)
    assert detect_creep(make_record(value, every_s=600.0)) == ()
