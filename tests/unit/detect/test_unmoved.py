"""A reading that follows nothing is told by the probes beside it that do; and of three, the one that stands alone parted."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect import catalogue
from excursions.detect.evidence.unmoved import UnmovedSettings, detect_unmoved, unmoved_neighbour
from excursions.detect.level.step import detect_step
from excursions.detect.series.survey import survey_of, surveyed
from excursions.detect.slow.drift import detect_drift
from excursions.records import Event, Record
from tests.builders import T0, coloured, level, make_record, make_signal, quantised

N, FAULT = 12_000, 9_000  # of five minutes
SEEDS = pytest.mark.parametrize("seed", range(3))


def process(seed: int) -> np.ndarray:
    """A tank whose pH goes up and down within two days, and wanders."""
    return 7.0 + 0.4 * np.sin(2 * np.pi * np.arange(N) / 490) + coloured(N, 0.0, 0.05, 300, seed)


def probe(base: np.ndarray, seed: int, offset: float = 0.0) -> np.ndarray:
    return base + offset + coloured(N, 0.0, 0.008, 20, seed) + level(N, 0.0, 0.004, seed + 1)


def parked(value: np.ndarray, seed: int, at: int = FAULT, until: int = N) -> np.ndarray:
    out = value.copy()
    out[at:until] = coloured(until - at, 6.6, 0.006, 100, seed + 7) + level(until - at, 0.0, 0.004, seed + 8)
    return out


def recorded(own: np.ndarray, *others: np.ndarray) -> Record:
    beside = {
        f"B{k}": make_signal(quantised(other, 0.001), every_s=300.0, unit="pH")
        for k, other in enumerate(others)
    }
    return make_record(quantised(own, 0.001), every_s=300.0, neighbours=beside)


@SEEDS
def test_a_reading_that_parks_while_its_neighbour_goes_on_follows_no_more(seed: int) -> None:
    base = process(seed)
    (event,) = detect_unmoved(recorded(parked(probe(base, 10 + seed), seed), probe(base, 20 + seed, 0.03)))
    assert (event.kind, event.origin, event.open_end) == ("stuck", "probe", True)
    assert (event.start - T0) / NS_PER_S == pytest.approx(300 * FAULT, abs=6 * 3600)
    assert event.size == pytest.approx(6.6, abs=0.05)


@SEEDS
def test_two_witnesses_say_more_than_one(seed: int) -> None:
    base = process(seed)
    own, one, two = parked(probe(base, 10 + seed), seed), probe(base, 20 + seed), probe(base, 30 + seed)
    (alone,), (both,) = detect_unmoved(recorded(own, one)), detect_unmoved(recorded(own, one, two))
    assert both.confidence > alone.confidence


@SEEDS
def test_a_process_that_rests_rests_at_both(seed: int) -> None:
    base = process(seed)
    base[FAULT:] = 6.6 + coloured(N - FAULT, 0.0, 0.006, 100, seed)
    assert detect_unmoved(recorded(probe(base, 10 + seed), probe(base, 20 + seed))) == ()


@SEEDS
def test_a_neighbour_that_goes_wild_is_the_odd_one(seed: int) -> None:
    base = process(seed)
    base[FAULT:] = 6.6 + coloured(N - FAULT, 0.0, 0.006, 100, seed)
    wild = probe(base, 20 + seed)
    wild[FAULT:] += 2.0 * np.sin(2 * np.pi * np.arange(N - FAULT) / 300)
    assert detect_unmoved(recorded(probe(base, 10 + seed), wild)) == ()


@SEEDS
def test_one_that_never_went_along_is_no_witness(seed: int) -> None:
    assert detect_unmoved(recorded(probe(process(seed), 10), probe(process(seed + 50), 20))) == ()


def whose(events: tuple[Event, ...]) -> set[str]:
    return {event.origin for event in events}


@SEEDS
def test_of_three_the_one_that_stands_alone_drifted_or_stepped(seed: int) -> None:
    base = process(seed)
    sound, other, bad = probe(base, 10 + seed), probe(base, 20 + seed), parked(probe(base, 30 + seed), seed)
    for detect in (detect_drift, detect_step):
        assert "probe" not in whose(detect(recorded(sound, other, bad)))
    stepped = probe(base, 40 + seed)
    stepped[FAULT:] += 0.4
    assert "probe" not in whose(detect_step(recorded(sound, other, stepped)))
    (event,) = (e for e in detect_step(recorded(stepped, sound, other)) if e.origin == "probe")
    assert event.size == pytest.approx(0.4, abs=0.1)
    assert "parted from it alike" in " ".join(event.evidence)


def test_a_neighbour_is_looked_at_by_the_settings_given() -> None:
    base = process(0)
    own, other = probe(base, 10), parked(probe(base, 20), 0, 6_000, 9_000)
    for given, looked_for in (({}, True), ({"unmoved": UnmovedSettings(band=1e-6)}, False)):
        record = surveyed(recorded(own, other))
        catalogue.detect(record, given, detectors=())
        survey = survey_of(record)
        assert survey is not None
        assert bool(unmoved_neighbour(record, survey, "B0")) == looked_for


@pytest.mark.parametrize("seed", range(8))
def test_a_walk_apart_from_a_train_that_stands_is_no_drift(seed: int) -> None:
    """Its tank keeps what it has for ten days, while the other one's goes on with the plant."""
    slow = 7.3 + coloured(N, 0.0, 0.12, 900, seed)
    at = np.arange(N)
    still = np.where((at >= 4_000) & (at < 4_000 + 10 * 288), slow[4_000], slow)
    for own, other in ((slow, still), (still, slow)):
        told = detect_drift(recorded(probe(own, seed), probe(other, seed + 40)))
        assert [event for event in told if event.origin == "probe"] == []


@SEEDS
def test_a_drift_while_the_process_rests_at_both_is_told(seed: int) -> None:
    base = 7.3 + coloured(N, 0.0, 0.12, 900, seed)
    base[5_000:9_000] = base[5_000]
    drift = 0.5 * np.clip((np.arange(N) - 5_500) / 3_000, 0, 1)
    told = detect_drift(recorded(probe(base, seed) + drift, probe(base, seed + 40)))
    assert [event.origin for event in told] == ["probe"]
