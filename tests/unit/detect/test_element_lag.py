"""A temperature element that grows slow, in batches that heat and cool."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.element import lag as lag_room
from excursions.detect.element.lag import changes_of, lagging
from excursions.detect.element.temperature_fault import detect_temperature_fault
from excursions.detect.series.survey import survey_of
from tests.builders import T0, level, make_record

DAY = 1_440
SEEDS = pytest.mark.parametrize("seed", range(3))


def batches(days: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Set temperature [degC] and pH of batches of uneven length."""
    draw = np.random.default_rng(seed)
    warm, ph, at = np.full(days * DAY, 20.0), np.full(days * DAY, 7.0), 60
    while at < days * DAY:
        until = at + int(360 * np.exp(draw.normal(0, 0.2)))
        warm[at:until], ph[at:until] = 70.0 + draw.normal(0, 1), 5.0 + draw.normal(0, 0.05)
        at = until + int(300 * np.exp(draw.normal(0, 0.3)))
    return warm, ph


def behind(value: np.ndarray, lag: np.ndarray) -> np.ndarray:
    """Behind a lag of so many samples, in pieces of a day."""
    out, state = [], value[:1]
    for piece, tau in zip(np.split(value, value.size // DAY), lag[::DAY], strict=True):
        keep = np.exp(-1 / float(tau))
        y, _ = lfilter([1 - keep], [1, -keep], piece, zi=keep * state)
        out.append(y)
        state = y[-1:]
    return np.concatenate(out)


def plant(seed: int, *, element: float, process: float = 0.0, days: int = 60):
    """Batches whose element, or whose vessel, slows from day 30 to 45 by so many minutes."""
    warm, ph = batches(days, seed)
    ramp = np.clip((np.arange(days * DAY) / DAY - 30) / 15, 0, 1)
    temperature = behind(behind(warm, 8 + process * ramp), 0.5 + element * ramp)
    value = behind(ph, 10 + process * ramp) + level(days * DAY, 0.0, 0.01, seed + 2)
    return make_record(value, temperature + level(days * DAY, 0.0, 0.03, seed + 3))


@SEEDS
def test_an_element_that_grows_slow_is_told_by_its_batches(seed: int) -> None:
    (event,) = lagging(plant(seed, element=15.0))
    assert (event.kind, event.origin, event.open_end) == ("temperature_fault", "probe", True)
    assert event.details["time_constant_s"] > 1.5 * event.details["time_constant_before_s"]
    assert (event.start - T0) / NS_PER_S / 86_400 == pytest.approx(30, abs=6)
    assert repr(event) in map(repr, detect_temperature_fault(plant(seed, element=15.0)))


@SEEDS
def test_batches_as_ever_and_a_vessel_that_slows_are_no_fault_of_the_element(seed: int) -> None:
    assert lagging(plant(seed, element=0.0)) == ()
    assert lagging(plant(seed, element=0.0, process=15.0)) == ()


def test_a_temperature_that_hardly_moves_says_nothing() -> None:
    flat = level(30 * DAY, 20.0, 0.1, 1)
    assert lagging(make_record(level(30 * DAY, 7.0, 0.02, 2), flat)) == ()
    assert lagging(make_record(level(30 * DAY, 7.0, 0.02, 2))) == ()


def test_of_very_many_changes_some_are_looked_at_each_up_to_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those in between still end the stay, whether they are looked at or not."""
    monkeypatch.setattr(lag_room, "MOST_USUAL", 40)
    made = plant(0, element=0.0)
    survey, signal = survey_of(made), made.temperature
    assert survey is not None
    assert signal is not None
    when, *_ = changes_of(survey, signal)
    assert 30 <= when.size <= 40


@pytest.mark.parametrize(("then_min", "events"), [(2.0, 0), (4.0, 1)])
def test_a_sample_more_or_less_is_no_slow_element(
    monkeypatch: pytest.MonkeyPatch, then_min: float, events: int
) -> None:
    """One or two samples to 63 % is when, between two samples, the batches happened to begin."""
    when = T0 + np.arange(48) * 3 * 3_600 * NS_PER_S
    tau = 60.0 * np.where(np.arange(48) < 26, 1.0, then_min)
    seen = (when, tau, np.full(48, 3), np.full(48, 50.0))
    monkeypatch.setattr(lag_room, "changes_of", lambda survey, signal: seen)
    made = make_record(level(10 * DAY, 7.0, 0.01, 1), level(10 * DAY, 20.0, 0.1, 2))
    assert len(lagging(made)) == events
