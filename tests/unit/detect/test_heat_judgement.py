"""How heat is judged, over the whole table of cases: how far beyond, how long, who rated it, in how many samples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.detect.heat.exposure import Exposure
from excursions.detect.heat.judgement import (
    OverTemperatureSettings,
    confidence_of,
    few_samples,
    heat_event,
    over,
    severity_of,
)
from excursions.plant import Ratings
from excursions.records import Event
from tests.builders import T0, make_record

SETTINGS = OverTemperatureSettings()
RECORD = make_record(None, np.full(10, 37.0))


def ratings(continuous: float = 80.0, sterilisation: float = 130.0, *, assumed: bool = False) -> Ratings:
    return Ratings(
        continuous_degc=continuous,
        sterilisation_degc=sterilisation,
        sterilisation_min=60.0,
        assumed=assumed,
    )


def exposure(peak: float, **more: object) -> Exposure:
    facts: dict[str, object] = {
        "first": 0, "past": 60, "start": T0, "end": T0 + NS_PER_HOUR, "steaming": False, "cleaning": False, "confidence": 0.9,
        "ratings": ratings(), "base_degc": 37.0, "peak_degc": peak, "hidden_degc": peak, "saturation_degc": math.nan,
        "minutes_continuous": 30.0, "minutes_sterilisation": 0.0, "minutes_steam": 0.0, "heating_k_per_min": 0.0,
        "cooling_k_per_min": 0.0, "cooling_min": math.nan, "f0_min": 0.0, "dose_h": 1.0, "dose_sterilisation_h": 0.0,
        "samples": 60, "open_start": False, "open_end": False,
    }  # fmt: skip
    return Exposure(**(facts | more))  # type: ignore[arg-type]


NO_STEAM = ratings(80.0, 80.0)  # made for no steam at all


@pytest.mark.parametrize(
    ("seen", "limit", "severity"),
    [
        # In steam, against the sterilisation rating: within 2 K a note, beyond 10 K a call for action.
        (exposure(131.0, steaming=True), 130.0, "note"),
        (exposure(132.0, steaming=True), 130.0, "note"),
        (exposure(132.1, steaming=True), 130.0, "check"),
        (exposure(140.0, steaming=True), 130.0, "check"),
        (exposure(140.1, steaming=True), 130.0, "act"),
        (exposure(129.0, steaming=True), 130.0, "check"),  # too long, not too hot
        # Outside steam a probe made for it stands as much as it is rated to be sterilised with.
        (exposure(95.0, minutes_continuous=60.0), 80.0, "note"),
        (exposure(95.0, minutes_continuous=61.0), 80.0, "check"),
        (exposure(82.0, minutes_continuous=600.0), 80.0, "note"),
        (exposure(82.1, minutes_continuous=600.0), 80.0, "check"),
        (exposure(130.0, minutes_continuous=30.0), 80.0, "note"),
        (exposure(130.1, minutes_continuous=30.0), 80.0, "act"),
        # A probe that is made for no steam: by how far beyond, and by the dose of one stay.
        (exposure(82.0, ratings=NO_STEAM), 80.0, "note"),
        (exposure(85.0, ratings=NO_STEAM), 80.0, "check"),
        (exposure(85.0, ratings=NO_STEAM, dose_h=24.0), 80.0, "check"),
        (exposure(85.0, ratings=NO_STEAM, dose_h=24.1), 80.0, "act"),
        (exposure(82.0, ratings=NO_STEAM, dose_h=100.0), 80.0, "note"),
        (exposure(90.1, ratings=NO_STEAM), 80.0, "act"),
        # Nobody stated the rating: a call for action only far beyond any rating of the class.
        (exposure(131.0, ratings=ratings(assumed=True)), 80.0, "check"),
        (exposure(150.0, ratings=ratings(assumed=True)), 80.0, "check"),
        (exposure(150.1, ratings=ratings(assumed=True)), 80.0, "act"),
        (exposure(150.1, ratings=ratings(assumed=True), steaming=True), 130.0, "act"),
        (exposure(95.0, ratings=ratings(assumed=True)), 80.0, "note"),
        (exposure(80.0, ratings=ratings(80.0, 80.0, assumed=True)), 60.0, "check"),
        (exposure(61.0, ratings=ratings(80.0, 80.0, assumed=True)), 60.0, "note"),
    ],
)
def test_severity(seen: Exposure, limit: float, severity: str) -> None:
    assert severity_of(seen, SETTINGS, limit) == severity


@pytest.mark.parametrize(
    ("beyond", "samples", "assumed", "confidence"),
    [
        (0.0, 60, False, 0.5 * 0.97),  # at the limit it is even, for an element of 1 K
        (1.0, 60, False, 0.8413 * 0.97),
        (-1.0, 60, False, 0.1587 * 0.97),
        (5.0, 60, False, 0.97),
        (5.0, 60, True, 0.97 * 0.85),
        (5.0, 1, False, 0.75),
        (5.0, 2, False, 0.85),
        (5.0, 3, False, 0.97),
    ],
)
def test_confidence_is_the_chance_that_the_medium_was_above(
    beyond: float, samples: int, assumed: bool, confidence: float
) -> None:
    """The normal law's table for the element's tolerance, times what few samples and an assumed rating leave."""
    seen = exposure(130.0 + beyond, samples=samples, ratings=ratings(assumed=assumed))
    assert confidence_of(seen, SETTINGS, 130.0) == pytest.approx(confidence, abs=1e-4)
    assert few_samples(seen) == {1: 0.75, 2: 0.85}.get(samples, 0.97)
    coarse = OverTemperatureSettings(element_k=2.0)
    if beyond == 1.0:
        assert confidence_of(seen, coarse, 130.0) == pytest.approx(0.6915 * 0.97, abs=1e-4)


def told(seen: Exposure, limit: float = 130.0, *more: str) -> Event:
    return over(RECORD, seen, SETTINGS, limit, more)


def test_an_exposure_in_steam_in_whole_sentences() -> None:
    seen = exposure(
        141.26, steaming=True, hidden_degc=143.0, minutes_sterilisation=15.0, minutes_continuous=40.0, heating_k_per_min=24.67,
        cooling_k_per_min=5.5, dose_h=33.3, saturation_degc=142.04, samples=2,
    )  # fmt: skip
    event = told(seen, 130.0, "another fact")
    assert event.evidence == (
        "highest 141 °C, between samples up to 143 °C",
        "15 min above the sterilisation rating of 130 °C",
        "heated at 25 K/min, cooled at 5.5 K/min",
        "ageing dose 33 h at the continuous rating (general rule, Q10 = 2)",
        "line pressure: steam of 142.0 °C at most",
        "seen in 2 samples only",
        "another fact",
    )
    assert (event.kind, event.origin, event.severity) == ("over_temperature", "probe", "act")
    assert (event.size, event.size_low, event.size_high) == (141.26, 141.26, 143.0)
    assert (event.start, event.end, event.size_unit) == (T0, T0 + NS_PER_HOUR, "degC")
    assert event.confidence == pytest.approx(0.85)
    assert event.details["minutes_above_rating_min"] == 15.0
    assert "cooling_half_way_min" not in event.details  # unknown


def test_an_exposure_outside_steam_in_whole_sentences() -> None:
    seen = exposure(
        131.0, hidden_degc=131.5, minutes_continuous=40.0, minutes_sterilisation=5.0, cooling_k_per_min=3.0,
        ratings=ratings(assumed=True), samples=1,
    )  # fmt: skip
    assert told(seen, 85.0).evidence == (
        "highest 131 °C",  # half a kelvin between samples is nothing to tell
        "40 min above the continuous rating of 80 °C (assumed, stated nowhere)",
        "this line usually stays below 85 °C",
        "5 min above the sterilisation rating too",
        "cooled at 3 K/min",
        "ageing dose 1 h at the continuous rating (general rule, Q10 = 2)",
        "seen in 1 sample only",
    )
    plain = told(exposure(95.0), 80.0).evidence
    assert not any("usually" in fact or "too" in fact or "only" in fact for fact in plain)


@pytest.mark.parametrize(
    ("seen", "origin"),
    [
        (exposure(95.0, cleaning=True), "routine"),
        (exposure(130.0, cleaning=True), "routine"),
        (exposure(130.1, cleaning=True), "probe"),
        (exposure(95.0, cleaning=True, ratings=ratings(assumed=True)), "probe"),
        (exposure(95.0), "probe"),
    ],
)
def test_a_hot_cleaning_within_a_stated_rating_is_routine(seen: Exposure, origin: str) -> None:
    assert told(seen, 80.0).origin == origin


def test_a_stay_that_was_long_and_not_hot_is_as_sure_as_its_minutes() -> None:
    assert told(exposure(130.0, steaming=True), 130.0).confidence == 0.8


def test_an_event_has_a_length_and_a_confidence_that_is_one() -> None:
    seen = exposure(140.0)

    def made(confidence: float, span: tuple[int, int] | None = None) -> Event:
        return heat_event(
            RECORD, seen, kind="over_temperature", origin="probe", severity="note", confidence=confidence, evidence=(), span=span
        )  # fmt: skip

    assert [made(c).confidence for c in (-0.1, 0.5, 1.2)] == [0.0, 0.5, 0.99]
    assert (made(0.5, (T0 + 5, T0 + 5)).start, made(0.5, (T0 + 5, T0 + 5)).end) == (T0 + 5, T0 + 6)
    assert made(0.5).onset_uncertainty_s == 60.0
