"""What every detector of the catalogue owes, whatever it looks for."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY
from excursions.detect.catalogue import DETECTORS, Detector, detect, noise_trace
from excursions.detect.series.survey import surveyed
from excursions.kinds import KINDS, ORIGINS, SEVERITIES
from excursions.records import Event, Record
from tests.builders import T0, coloured, grid, level, make_record, with_missing, with_step, with_stuck

NAMES = [one.name for one in DETECTORS]
ONE = pytest.mark.parametrize("one", DETECTORS, ids=NAMES)


def run(one: Detector, record: Record) -> tuple[Event, ...]:
    return one.function(surveyed(record), one.settings())


def ordinary(n: int = 8_000, seed: int = 0) -> np.ndarray:
    return coloured(n, 7.0, 0.05, 90, seed) + level(n, 0.0, 0.01, seed + 50)


def faulty() -> Record:
    value = with_stuck(with_step(ordinary(20_000), 6_000, 0.8), 12_000, 13_500)
    warm = coloured(20_000, 35.0, 0.3, 300, 9)
    return make_record(value, warm)


EDGE_CASES: dict[str, Callable[[], Record]] = {
    "nothing": lambda: make_record(np.empty(0), np.empty(0)),
    "one sample": lambda: make_record(np.array([7.0]), np.array([20.0])),
    "two samples": lambda: make_record(np.array([7.0, 7.1]), np.array([20.0, 20.1])),
    "constant": lambda: make_record(np.full(3_000, 7.0), np.full(3_000, 20.0)),
    "all missing": lambda: make_record(np.full(3_000, np.nan), np.full(3_000, np.nan)),
    "missing at both ends and in the middle": lambda: make_record(
        with_missing(with_missing(with_missing(ordinary(), 0, 500), 4_000, 4_400), 7_500, 8_000)
    ),
    "value only": lambda: make_record(ordinary()),
    "temperature only": lambda: make_record(None, coloured(3_000, 20.0, 0.3, 90, 1)),
    "two levels": lambda: make_record(np.repeat([0.0, 1.0], 1_500)),
    "huge": lambda: make_record(1e15 + 1e12 * level(3_000, 0.0, 1.0, 3), measurand="other"),
    "tiny": lambda: make_record(1e-15 * level(3_000, 0.0, 1.0, 3), measurand="other"),
    "a sample a year": lambda: make_record(level(60, 5.0, 1.0, 2), every_s=31_536_000.0),
    "ten a second": lambda: make_record(level(5_000, 5.0, 1.0, 2), every_s=0.1),
}


@ONE
@pytest.mark.parametrize("case", EDGE_CASES)
def test_odd_records_are_answered(one: Detector, case: str) -> None:
    for event in run(one, EDGE_CASES[case]()):
        assert event.start < event.end


@ONE
def test_settings_are_a_frozen_dataclass_with_defaults(one: Detector) -> None:
    settings = one.settings()
    assert dataclasses.is_dataclass(settings)
    name = dataclasses.fields(settings)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(settings, name, 1.0)


@ONE
def test_every_event_is_well_formed(one: Detector) -> None:
    for event in run(one, faulty()):
        assert event.kind in KINDS
        assert event.origin in ORIGINS
        assert event.severity in SEVERITIES
        assert 0.0 <= event.confidence <= 1.0
        assert event.start < event.end
        assert event.evidence


@ONE
def test_the_same_record_gives_the_same_events(one: Detector) -> None:
    assert repr(run(one, faulty())) == repr(run(one, faulty()))


@ONE
def test_the_record_is_left_as_it_was(one: Detector) -> None:
    record = faulty()
    before = record.value.value.copy()
    run(one, record)
    np.testing.assert_array_equal(record.value.value, before)


@ONE
def test_moving_time_moves_events_and_nothing_else(one: Detector) -> None:
    """By whole weeks, so that hours of the day and days of the week stay what they are."""
    later = 3 * 7 * NS_PER_DAY
    value = with_stuck(with_step(ordinary(20_000), 6_000, 0.8), 12_000, 13_500)
    here = run(one, make_record(value, time=grid(20_000)))
    there = run(one, make_record(value, time=grid(20_000, start=T0 + later)))
    assert [(e.kind, e.start + later, e.end + later, e.size) for e in here] == [
        (e.kind, e.start, e.end, e.size) for e in there
    ]


@pytest.mark.parametrize("seed", range(6))
def test_an_ordinary_record_has_no_probe_fault(seed: int) -> None:
    record = make_record(ordinary(20_000, seed), coloured(20_000, 35.0, 0.3, 300, seed + 99))
    assert [event.kind for event in detect(record) if event.origin == "probe"] == []


def test_the_catalogue_finds_each_planted_fault_once() -> None:
    kinds = [event.kind for event in detect(faulty()) if event.origin == "probe"]
    assert sorted(kinds) == ["step", "stuck"]


def test_events_come_in_order_of_time() -> None:
    starts = [event.start for event in detect(faulty())]
    assert starts == sorted(starts)


def test_settings_by_name_reach_their_detector() -> None:
    (stuck,) = [one for one in DETECTORS if one.name == "stuck"]
    settings = dataclasses.replace(stuck.settings(), shortest_s=1e9)
    assert not [event for event in detect(faulty(), {"stuck": settings}) if event.kind == "stuck"]


def test_noise_is_traced_for_plots() -> None:
    time, noise = noise_trace(make_record(level(6_000, 7.0, 0.02, 1)))
    assert time.shape == noise.shape
    assert np.nanmedian(noise) == pytest.approx(0.02, rel=0.1)


def test_without_a_value_there_is_no_noise_to_trace() -> None:
    assert noise_trace(make_record(None, np.full(100, 20.0))) is None


@pytest.mark.parametrize("factor", [1e-3, 1.8, 1e4])
def test_the_unit_does_not_matter_where_no_tolerance_is_known(factor: float) -> None:
    value = with_step(ordinary(20_000), 6_000, 0.8)
    here = detect(make_record(value, measurand="other"))
    there = detect(make_record(value * factor, measurand="other"))
    assert [(e.kind, e.start, e.origin) for e in here] == [(e.kind, e.start, e.origin) for e in there]
