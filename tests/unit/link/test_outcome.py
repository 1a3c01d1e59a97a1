"""What became of an event when the calibration after it found nothing of it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import outcome
from excursions.records import LABORATORY, SHOWED_IT, Calibration, Event, Link, Shift, Witness
from tests.unit.link.builders import calibration, level

DAY = NS_PER_DAY
UNCHANGED = Shift(
    probe="S", point="P", measurand="ph", parameter="slope", unit="%", start=0, end=20 * DAY, before=99.0, after=99.0,
    uncertainty=0.4, p_value=1.0, significant=False,
)  # fmt: skip
LOGGED = [
    Calibration(time=t, point="P", probe="S", measurand="ph", action="calibration") for t in (0, 20 * DAY)
]
SEEN = Witness(source=LABORATORY, said=SHOWED_IT, words="samples show it")


@pytest.mark.parametrize(("kind", "told"), [("temperature_fault", False), ("drift", True)])
def test_a_calibration_of_the_reading_says_nothing_of_its_temperature_element(kind: str, told: bool) -> None:
    event = Event(
        point="P", probe="S", kind=kind, start=5 * DAY, end=9 * DAY, size=9.0, size_unit="K", confidence=0.9
    )
    assert (event.id in outcome([event], [UNCHANGED], [], LOGGED)) is told


@pytest.mark.parametrize("seen", [True, False])
def test_a_calibration_that_finds_nothing_says_when_samples_had_seen_it(seen: bool) -> None:
    event = Event(
        point="P", probe="S", kind="drift", start=5 * DAY, end=9 * DAY, size=0.4, size_unit="pH", confidence=0.9,
        witnesses=(SEEN,) if seen else (),
    )  # fmt: skip
    state, sentence = outcome([event], [UNCHANGED], [], LOGGED)[event.id]
    assert state == "not borne out"
    assert ("laboratory samples showed the error while it lasted" in sentence) is seen


@pytest.mark.parametrize(
    ("moved", "state", "words"),
    [
        (0.0, "not seen put right", "the reading did not come back with it"),
        (0.4, "not verified yet", "what it found, nobody entered."),
        (np.nan, "not seen put right", "the record does not show whether the reading came back"),
    ],
)
def test_a_calibration_that_says_only_what_it_left_refutes_nothing(
    moved: float, state: str, words: str
) -> None:
    step = Event(
        point="ph", probe="S1", kind="step", start=5 * DAY, end=5 * DAY + 1, size=-0.4, size_unit="pH", confidence=0.4, origin="undecided",
    )  # fmt: skip
    heat = Event(
        point="ph", probe="S1", kind="over_temperature", start=5 * DAY - NS_PER_HOUR, end=5 * DAY, size=142.0, size_unit="degC",
        confidence=0.8,
    )  # fmt: skip
    logged = [calibration(0.0, left={"zero_point": 7.0}), calibration(20.0, left={"zero_point": 7.0})]
    line = level(6.4)
    line = Levels(
        time=line.time,
        value=np.where(line.time > 20 * DAY, 6.4 + moved, 6.4),
        temperature=line.temperature,
    )
    told = outcome([heat, step], [], [], logged, (), {"ph": line})
    for event in (heat, step):
        assert told[event.id][0] == state
        assert words in told[event.id][1]
    verified = [*logged, calibration(25.0, found={"zero_point": 7.0})]
    assert outcome([heat, step], [], [], verified, (), {"ph": line})[step.id][0] == "not verified yet"


def test_a_calibration_that_found_both_parameters_changed_is_told_with_both() -> None:
    event = Event(
        point="P", probe="S", kind="over_temperature", start=5 * DAY, end=5 * DAY + 1, size=148.0, size_unit="degC", confidence=0.9,
    )  # fmt: skip
    slope, zero = (
        Shift(
            probe="S", point="P", measurand="ph", parameter=name, unit=unit, start=0, end=20 * DAY, before=before, after=after,
            uncertainty=0.1, p_value=0.0, significant=True,
        )
        for name, unit, before, after in (("slope", "%", 99.0, 87.5), ("zero_point", "pH", 7.0, 6.782))
    )  # fmt: skip
    links = [
        Link(
            shift=shift.id,
            cause="event",
            event=event.id,
            probability=p,
            rank=1,
            predicted=0.0,
            predicted_uncertainty=0.1,
        )
        for shift, p in ((slope, 0.995), (zero, 0.93))
    ]
    logged = [
        Calibration(time=t, point="P", probe="S", measurand="ph", action="calibration") for t in (0, 20 * DAY)
    ]
    _, sentence = outcome([event], [slope, zero], links, logged)[event.id]
    assert "the slope changed by −11.5 % and the zero point by −0.218 pH" in sentence
    assert "this is their likeliest cause (over 99 % and 93 %)" in sentence


@pytest.mark.parametrize(("probability", "state"), [(0.84, "not verified yet"), (0.2, "not borne out")])
def test_a_shift_that_may_be_chance_and_fits_an_event_best_neither_bears_it_out_nor_refutes_it(
    probability: float, state: str
) -> None:
    event = Event(
        point="P", probe="S", kind="step", start=5 * DAY, end=5 * DAY + 1, size=0.4, size_unit="pH", confidence=0.7,
    )  # fmt: skip
    shift = Shift(
        probe="S", point="P", measurand="ph", parameter="zero_point", unit="pH", start=0, end=20 * DAY, before=7.0, after=6.6,
        uncertainty=0.18, p_value=0.03, significant=False,
    )  # fmt: skip
    link = Link(
        shift=shift.id, cause="event", event=event.id, probability=probability, rank=1, predicted=-0.4, predicted_uncertainty=0.1,
    )  # fmt: skip
    logged = [
        Calibration(time=t, point="P", probe="S", measurand="ph", action="calibration") for t in (0, 20 * DAY)
    ]
    told, sentence = outcome([event], [shift], [link], logged)[event.id]
    assert told == state
    assert ("found a shift that may be chance; this explains it best (84 %)" in sentence) is (
        state == "not verified yet"
    )


def test_the_day_of_a_calibration_is_the_plants() -> None:
    """Nine in the morning of the 14th at the plant is the evening of the 13th in UTC."""
    event = Event(
        point="P",
        probe="S",
        kind="step",
        start=5 * DAY,
        end=5 * DAY,
        size=0.4,
        size_unit="pH",
        confidence=0.9,
    )
    logged = [
        Calibration(time=20 * DAY - DAY // 24, point="P", probe="S", measurand="ph", action="calibration")
    ]
    said = outcome([event], [], [], logged, tz=ZoneInfo("Australia/Lord_Howe"))[event.id][1]
    assert "followed on 21 Jan 1970" in said
