"""Exchanges that nobody logged: dated by the record, told in whole sentences, with stays and probes to match."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.calibrations import evaluate, recognise_exchanges
from excursions.calibrations.stays import with_logs
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE
from excursions.plant import Installation, Plant, Probe
from excursions.records import Calibration, CalibrationEntry, Event
from tests.unit.calibrations.builders import PLANT, buffers, entry

VIENNA = replace(PLANT, zone="Europe/Vienna")


def figures(*pairs: tuple[float, float], probe: str = "S1") -> list[CalibrationEntry]:
    return [
        entry("ph", 1.0 + 30 * i, probe=probe, slope=slope, zero_point=zero)
        for i, (slope, zero) in enumerate(pairs)
    ]


def step(day: float, size: float = -0.3, **more: str) -> Event:
    start = round(day * NS_PER_DAY)
    about = {"point": "ph", "kind": "step", "origin": "undecided", "size_unit": "pH"} | more
    return Event(start=start, end=start + 1, size=size, confidence=0.6, **about)


def silence(day: float, minutes: float = 14.0, kind: str = "dropout") -> Event:
    start = round(day * NS_PER_DAY)
    return Event(
        point="ph", kind=kind, start=start, end=start + round(minutes * NS_PER_MINUTE), size=math.nan, size_unit="",
        confidence=0.9, origin="record",
    )  # fmt: skip


WORN_THEN_FRESH = figures((91.0, 6.8), (99.3, 7.05))
NAMELESS = [replace(row, probe="") for row in WORN_THEN_FRESH]
TRACE = (silence(15.0), step(15.01))


def moment(events: tuple[Event, ...], plant: Plant = PLANT) -> int:
    (one,) = recognise_exchanges(evaluate(NAMELESS, plant), plant, events).exchanges
    return one.at


def test_the_exchange_was_at_the_next_calibration_at_the_latest() -> None:
    assert moment(()) == WORN_THEN_FRESH[1].time


@pytest.mark.parametrize("kind", ["dropout", "bad_quality"])
@pytest.mark.parametrize(("minutes_after", "follows"), [(0, True), (59, True), (61, False)])
def test_a_step_within_an_hour_of_a_silence_dates_it(kind: str, minutes_after: float, follows: bool) -> None:
    quiet = silence(15.0, kind=kind)
    moved = replace(step(15.0), start=quiet.end + round(minutes_after * NS_PER_MINUTE))
    assert (moment((quiet, moved)) == moved.start) == follows


@pytest.mark.parametrize("origin", ["probe", "undecided", "process"])
def test_a_step_of_the_process_dates_nothing(origin: str) -> None:
    moved = step(15.01, origin=origin)
    assert (moment((TRACE[0], moved)) == moved.start) == (origin != "process")


def test_of_several_steps_after_a_silence_the_largest_dates_it() -> None:
    small, large = step(15.015, 0.1), step(15.012, -0.3)
    assert moment((TRACE[0], small, large)) == large.start
    assert moment((TRACE[0], large, small)) == large.start


@pytest.mark.parametrize("day", [0.5, 40.0], ids=["before both", "after both"])
def test_only_what_happened_between_the_two_calibrations_dates_it(day: float) -> None:
    assert moment((silence(day), step(day + 0.01))) == WORN_THEN_FRESH[1].time


def test_what_happened_at_another_point_dates_nothing() -> None:
    assert moment(tuple(replace(e, point="redox") for e in TRACE)) == WORN_THEN_FRESH[1].time


def test_an_exchange_without_a_number_is_told_as_a_swap_with_all_that_speaks_for_it() -> None:
    made = recognise_exchanges(evaluate(NAMELESS, PLANT), PLANT, TRACE)
    (one,), (told,) = made.exchanges, made.decisions
    assert (one.point, one.old, one.new, one.at, one.step) == (
        "ph",
        "ph, probe 1",
        "ph, probe 2",
        TRACE[1].start,
        TRACE[1],
    )
    assert (one.before.time, one.after.time) == tuple(row.time for row in NAMELESS)
    assert told.subject == "ph"
    assert told.what == (
        "the parameters jump to a fresh probe's between 1970-01-02T00:00:00Z and 1970-02-01T00:00:00Z, and no swap is logged; taken as a swap on 1970-01-16T00:14:24Z"
    )
    (undated,) = recognise_exchanges(evaluate(NAMELESS, PLANT), PLANT).decisions
    assert undated.what.endswith("and no swap is logged; taken as a swap")
    assert undated.why == "slope went from 91 to 99.3 %, zero point went from 6.8 to 7.05 pH"


def test_the_jump_is_told_from_what_was_left_with_the_digits_that_count() -> None:
    found, _ = evaluate(figures((95.0, 6.9), (95.0, 6.9), probe=""), PLANT)
    left, fresh = evaluate(figures((91.2345, 6.81234), (99.34567, 7.05012), probe=""), PLANT)
    adjusted = replace(left, as_found=found.as_found)
    (told,) = recognise_exchanges((adjusted, fresh), PLANT, (TRACE[0], step(15.01, 0.34567))).decisions
    assert told.why == (
        "slope went from 91.23 to 99.35 %, zero point went from 6.812 to 7.05 pH, no reading up to 1970-01-16T00:14:24Z, then +0.346 pH"
    )
    assert "register" in told.option


def test_under_a_number_it_is_told_that_the_number_is_anothers_from_then_on() -> None:
    (told,) = recognise_exchanges(evaluate(WORN_THEN_FRESH, PLANT), PLANT, TRACE).decisions
    assert told.what.endswith("what the log enters under serial number S1 afterwards is told as S1, probe 2")
    (open_,) = recognise_exchanges(evaluate(WORN_THEN_FRESH, PLANT), PLANT).decisions
    assert open_.what.endswith("no swap is logged; the log goes on under serial number S1")
    assert open_.subject == "ph"


def test_a_second_exchange_under_one_number_is_a_third_probe() -> None:
    rows = figures((92.0, 6.8), (99.3, 7.05), (92.0, 6.8), (99.5, 7.02), (99.1, 7.0))
    made = recognise_exchanges(evaluate(rows, PLANT), PLANT, (*TRACE, silence(75.0), step(75.01)))
    assert [c.probe for c in made.calibrations] == [
        "S1",
        "S1, probe 2",
        "S1, probe 2",
        "S1, probe 3",
        "S1, probe 3",
    ]
    assert [(row.probe, row.start) for row in made.plant.installations] == [
        ("S1", None),
        ("S1, probe 2", TRACE[1].start),
        ("S1, probe 3", step(75.01).start),
    ]


def test_a_second_exchange_without_numbers_divides_the_stay_again() -> None:
    rows = figures((92.0, 6.8), (99.3, 7.05), (92.0, 6.8), (99.5, 7.02), probe="")
    made = recognise_exchanges(evaluate(rows, PLANT), PLANT)
    assert [(row.probe, row.start, row.end) for row in made.plant.installations] == [
        ("ph, probe 1", None, rows[1].time),
        ("ph, probe 2", rows[1].time, rows[3].time),
        ("ph, probe 3", rows[3].time, None),
    ]


def test_the_register_s_probe_is_followed_by_one_of_its_kind_in_service_since_then() -> None:
    known = replace(
        PLANT,
        probes=(Probe(serial="S1", measurand="ph", model="glass", in_service_since=3),),
        installations=(Installation(probe="S1", point="ph"),),
    )
    made = recognise_exchanges(evaluate(WORN_THEN_FRESH, known), known, TRACE).plant
    assert made.probes == (
        known.probes[0],
        Probe(serial="S1, probe 2", measurand="ph", model="glass", in_service_since=TRACE[1].start),
    )


def test_only_the_stay_the_exchange_falls_into_is_divided() -> None:
    at = TRACE[1].start
    stays = (
        Installation(probe="S1", point="ph", end=2 * NS_PER_DAY),
        Installation(probe="S1", point="redox", start=2 * NS_PER_DAY, end=8 * NS_PER_DAY),
        Installation(probe="S9", point="ph", start=2 * NS_PER_DAY, end=8 * NS_PER_DAY),
        Installation(probe="S1", point="ph", start=8 * NS_PER_DAY, end=35 * NS_PER_DAY),
    )
    known = replace(PLANT, installations=stays)
    made = recognise_exchanges(evaluate(WORN_THEN_FRESH, known), known, TRACE)
    assert made.plant.installations == (
        *stays[:3],
        replace(stays[3], end=at),
        Installation(probe="S1, probe 2", point="ph", start=at, end=35 * NS_PER_DAY),
    )


def test_who_the_register_says_sat_there_is_the_one_taken_out() -> None:
    """The log writes S1 where the register says QP-7: QP-7's stay ends, and what the log enters as S1 goes on as another."""
    known = replace(PLANT, installations=(Installation(probe="QP-7", point="ph"),))
    made = recognise_exchanges(evaluate(WORN_THEN_FRESH, known), known, TRACE)
    assert [(row.probe, row.end) for row in made.plant.installations] == [
        ("QP-7", TRACE[1].start),
        ("S1, probe 2", None),
    ]
    assert made.exchanges[0].old == "QP-7"


def test_a_stay_stated_elsewhere_leaves_a_nameless_history_to_be_parted() -> None:
    known = replace(PLANT, installations=(Installation(probe="X", point="redox"),))
    made = recognise_exchanges(evaluate(NAMELESS, known), known)
    assert [row.probe for row in made.plant.installations] == ["X", "ph, probe 1", "ph, probe 2"]


def test_rows_of_no_point_and_no_probe_part_nothing() -> None:
    rows = [replace(row, point="") for row in NAMELESS]
    assert recognise_exchanges(evaluate(rows, PLANT), PLANT).exchanges == ()


@pytest.mark.parametrize(
    ("rise", "spread", "is_another"),
    [(8.0, 1.0, True), (4.5, 1.0, True), (8.0, 2.0, False), (-8.0, 1.0, False)],
)
def test_a_number_is_anothers_where_the_slope_came_back_by_more_than_three_uncertainties(
    rise: float, spread: float, is_another: bool
) -> None:
    """Two determinations known to 1 % each differ by 1.41 % among themselves: 4.5 % is 3.2 of these, 8 % at 2 % each 2.8."""

    def known_to(c: Calibration, slope: float) -> Calibration:
        about = replace(c.as_found["slope"], value=slope, uncertainty=spread)
        found = c.as_found | {"slope": about}
        return replace(c, as_found=found, as_left=found)

    one, two = evaluate(WORN_THEN_FRESH, PLANT)
    pair = (known_to(one, 91.0), known_to(two, 91.0 + rise))
    made = recognise_exchanges(pair, PLANT, TRACE)
    assert ("S1, probe 2" in [c.probe for c in made.calibrations]) == is_another
    verified = (replace(pair[0], as_left={}, action="verification"), pair[1])
    assert len(recognise_exchanges(verified, PLANT, TRACE).exchanges) == len(made.exchanges)


def test_a_zero_that_came_back_says_nothing_of_whose_the_number_is() -> None:
    one, two = evaluate(figures((99.0, 5.2), (99.0, 7.0)), PLANT)
    found = {"zero_point": two.as_found["zero_point"]}
    made = recognise_exchanges((one, replace(two, as_found=found)), PLANT, TRACE)
    assert made.exchanges == ()
    assert "goes on under serial number S1" in made.decisions[0].what


# Another number in the log: A calibrated on days 10 and 40, B on day 80.
NUMBERED = [
    entry("ph", 10, *buffers(0.0, 176.0), probe="A"),
    entry("ph", 40, *buffers(-9.0, 160.0), probe="A"),
    entry("ph", 80, *buffers(0.5, 176.5), probe="B"),
    entry("ph", 110, *buffers(0.9, 176.2), probe="B"),
]


def numbered(*events: Event, rows: list[CalibrationEntry] = NUMBERED, plant: Plant = VIENNA):
    told, _ = with_logs(plant, (), rows)
    return recognise_exchanges(evaluate(rows, told), told, events)


def test_what_is_said_of_another_number_with_a_step_and_without() -> None:
    made = numbered(step(60.0, 0.2345))
    (one,), told = made.exchanges, made.decisions[-1]
    assert (one.point, one.before.time, one.after.time) == ("ph", NUMBERED[1].time, NUMBERED[2].time)
    assert repr(one.step) == repr(step(60.0, 0.2345))
    assert [c.checks[:1] for c in made.calibrations if c.probe == "B"] == [
        (
            "another probe than A on 10 Feb 1970 01:00, and no exchange is logged; "
            "taken as since 2 Mar 1970 01:00, where the reading stepped by +0.23 pH",
        ),
        (),
    ]
    assert told.subject == "ph"
    assert told.what == (
        "another probe, B, in place of A between 1970-02-10T00:00:00Z and 1970-03-22T00:00:00Z; "
        "taken as made on 1970-03-02T00:00:00Z, where the reading stepped by +0.234 pH"
    )
    assert told.why == "the calibration log goes on under another serial number, and no swap is logged"
    assert "register" in told.option
    undated = numbered()
    assert undated.decisions[-1].what.endswith(
        "taken as made on 1970-03-22T00:00:00Z, the latest it can have been"
    )
    assert (
        next(c for c in undated.calibrations if c.probe == "B")
        .checks[0]
        .endswith("; since when, the record does not show")
    )
    assert undated.exchanges[0].at == NUMBERED[2].time  # fmt: skip


def test_the_stays_on_both_sides_of_another_number_meet_at_the_step_and_others_stay() -> None:
    stated = Installation(probe="C", point="redox", end=80 * NS_PER_DAY)
    made = numbered(step(60.0), plant=replace(VIENNA, installations=(stated,)))
    assert made.plant.installations == (
        stated,
        Installation(probe="A", point="ph", end=60 * NS_PER_DAY),
        Installation(probe="B", point="ph", start=60 * NS_PER_DAY, at_latest=True),
    )


def test_a_number_that_comes_back_is_exchanged_at_its_second_coming() -> None:
    rows = [*NUMBERED, *(entry("ph", day, *buffers(day / 100, 176.8), probe="A") for day in (140, 170))]
    made = numbered(step(60.0), step(120.0), rows=rows)
    assert [(one.old, one.new, one.at, one.after.time) for one in made.exchanges] == [
        ("A", "B", 60 * NS_PER_DAY, NUMBERED[2].time),
        ("B", "A", 120 * NS_PER_DAY, 140 * NS_PER_DAY),
    ]


@pytest.mark.parametrize("origin", ["probe", "undecided"])
def test_the_one_step_that_the_process_need_not_have_made_dates_another_number(origin: str) -> None:
    assert numbered(step(60.0, origin=origin)).exchanges[0].at == 60 * NS_PER_DAY


def test_a_silence_with_a_step_dates_another_number_before_any_other_step() -> None:
    events = (step(50.0), silence(60.0), step(60.0 + 1 / 24), step(70.0))
    assert numbered(*events).exchanges[0].at == 60 * NS_PER_DAY + NS_PER_HOUR


def test_a_step_before_the_last_calibration_of_the_old_number_does_not_date_the_next() -> None:
    assert numbered(step(30.0)).exchanges[0].at == NUMBERED[2].time


def test_three_numbers_are_two_exchanges_each_with_the_last_before_it() -> None:
    rows = [*NUMBERED, entry("ph", 140, *buffers(0.1, 176.8), probe="C")]
    made = numbered(step(60.0), step(120.0), rows=rows)
    assert [(one.old, one.new, one.at, one.before.time) for one in made.exchanges] == [
        ("A", "B", 60 * NS_PER_DAY, NUMBERED[1].time),
        ("B", "C", 120 * NS_PER_DAY, NUMBERED[3].time),
    ]


def test_a_copied_first_entry_of_another_number_dates_by_the_next_that_was_measured() -> None:
    """The form was carried on with the old figures under the new number: the next real entry is B's first."""
    copied = entry("ph", 60, *buffers(-9.0, 160.0, temp=21.0), probe="B")
    rows = [NUMBERED[0], entry("ph", 40, *buffers(-9.0, 160.0, temp=21.0), probe="A"), copied, *NUMBERED[2:]]
    made = numbered(rows=rows)
    assert [c.copied for c in made.calibrations] == [False, False, True, False, False]
    assert [(one.old, one.new, one.after.time) for one in made.exchanges] == [("A", "B", NUMBERED[2].time)]
    assert made.exchanges[0].at == copied.time
