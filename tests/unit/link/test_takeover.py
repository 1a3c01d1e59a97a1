"""An adjustment that the transmitter uses shows in the reading; one that it does not use, does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import audit
from excursions.link.takeover import not_taken_over
from excursions.plant import Installation
from excursions.records import CALIBRATING, Calibration
from tests.unit.link.builders import DAY, PLANT, calibration
from tests.unit.link.test_audit import SAMPLING, states

BEFORE = calibration(5.0, found={"zero_point": 7.0}, left={"zero_point": 7.0})
AFTER = calibration(30.0, found={"zero_point": 7.3}, left={"zero_point": 7.3})


def line(jump: float, *, noise: float = 0.02, wave: float = 0.0) -> Levels:
    """Sixty days about pH 6 with a jump at the adjustment of day 30."""
    time = np.arange(60 * 24, dtype=np.int64) * NS_PER_HOUR
    value = 6.0 + np.random.default_rng(1).normal(0.0, noise, time.size) + wave * np.sin(time / (0.4 * DAY))
    return Levels(time=time, value=value + np.where(time >= 30 * DAY, jump, 0.0), temperature=np.full(time.size, 25.0))  # fmt: skip


def found(levels: Levels, *entries: Calibration) -> list[float]:
    return [one.expected for one in not_taken_over(entries or (BEFORE, AFTER), {"ph": levels}, PLANT)]


def test_the_sign_of_the_jump_is_that_of_the_zero_point() -> None:
    # Raw stays; zero 7.0 -> 7.3 with the same slope: the same raw is read 0.3 pH higher.
    assert found(line(0.0)) == [pytest.approx(0.3, abs=0.01)]


def test_what_was_not_taken_over_is_not_held_against_the_next_adjustment() -> None:
    """The transmitter goes on with 7.0: the next entry, which finds and leaves 7.0, moves nothing."""
    back = calibration(50.0, found={"zero_point": 7.0}, left={"zero_point": 7.0})
    assert found(line(0.0), BEFORE, AFTER, back) == [pytest.approx(0.3, abs=0.01)]


def test_after_work_that_nobody_entered_nobody_knows_what_was_set() -> None:
    """Somebody adjusted on day 20 without an entry: the zero of day 5 is not what the reading went on with."""
    for when, told in ((20 * DAY, 0), (40 * DAY, 1), (2 * DAY, 1)):
        seen = not_taken_over((BEFORE, AFTER), {"ph": line(0.0)}, PLANT, {"ph": [when]})
        assert len(list(seen)) == told


def test_where_such_work_need_not_show_it_is_not_ruled_out() -> None:
    """One calibration in thirty is entered by nobody: beside one adjustment in ten that is not taken over, that is no 95 %."""
    for blind, told in (((), 1), (("ph",), 0), (("redox",), 1)):
        assert len(list(not_taken_over((BEFORE, AFTER), {"ph": line(0.0)}, PLANT, blind=blind))) == told


def test_figures_of_another_buffer_than_the_one_used_say_nothing_of_what_was_set() -> None:
    """The entry of day 20 names the wrong buffer: its zero of 7.8 was never left, so that day 30 need not move the reading back."""
    wrong = calibration(20.0, found={"zero_point": 7.8}, left={"zero_point": 7.8})
    same = calibration(30.0, found={"zero_point": 7.0}, left={"zero_point": 7.0})
    entries = (BEFORE, wrong, same)
    for misnamed, told in (((), True), ((wrong.id,), False)):
        assert bool(list(not_taken_over(entries, {"ph": line(0.0)}, PLANT, misnamed=misnamed))) is told


def test_figures_that_are_not_known_well_enough_expect_nothing() -> None:
    """A jump of 0.3 pH of which the calibrations themselves know only that it lies within some 0.3 either way."""
    for u, told in ((0.01, 1), (0.2, 0)):
        rows = [
            replace(c, **{phase: {n: replace(p, uncertainty=u) for n, p in getattr(c, phase).items()} for phase in ("as_found", "as_left")})
            for c in (BEFORE, AFTER)
        ]  # fmt: skip
        assert len(list(not_taken_over(rows, {"ph": line(0.0)}, PLANT))) == told


def test_a_reading_that_moved_a_little_did_not_take_over_a_large_jump() -> None:
    assert found(line(0.07)) == [pytest.approx(0.3, abs=0.02)]
    assert found(line(0.12)) == []


def test_a_process_that_often_moves_as_much_by_itself_hides_it() -> None:
    """Once every five days the set point changes by 0.3 pH: now and then just when somebody adjusts, the other way."""
    plain = line(0.0)
    steps = 0.3 * (plain.time // (5 * DAY) % 2)
    stepped = replace(
        plain, value=plain.value + np.where(np.abs(plain.time - 30 * DAY) < 2 * DAY, 0.0, steps)
    )
    assert found(stepped) == []
    (told,) = not_taken_over((BEFORE, AFTER), {"ph": plain}, PLANT)
    assert told.hides == 0.0


def test_two_entries_that_were_not_taken_over_are_both_told_against_the_first() -> None:
    """The transmitter goes on with 7.0 throughout: the third entry would move the reading by 0.5 pH, not by 0.2."""
    more = calibration(50.0, found={"zero_point": 7.5}, left={"zero_point": 7.5})
    assert found(line(0.0), BEFORE, AFTER, more) == [
        pytest.approx(0.3, abs=0.01),
        pytest.approx(0.5, abs=0.01),
    ]


def test_what_shows_later_says_what_was_taken_over_before() -> None:
    """On day 30 the process moved by as much the other way; that day 50 moves the reading back says the zero had been taken over."""
    back = calibration(50.0, found={"zero_point": 7.0}, left={"zero_point": 7.0})
    plain = line(0.0)
    back_again = replace(plain, value=plain.value - np.where(plain.time >= 50 * DAY, 0.3, 0.0))
    assert found(back_again, BEFORE, AFTER, back) == []


def test_an_entry_without_a_trace_is_not_what_the_next_one_starts_from() -> None:
    invented = calibration(20.0, found={"zero_point": 7.3}, left={"zero_point": 7.3})
    back = calibration(40.0, found={"zero_point": 7.0}, left={"zero_point": 7.0})
    entries = (BEFORE, invented, back)
    told = not_taken_over(entries, {"ph": line(0.0)}, PLANT, without_trace={invented.id})
    assert [one.calibration.id for one in told] == [invented.id]


def test_what_a_broken_glass_was_found_to_be_is_no_adjustment() -> None:
    """A slope of 1 % would move the reading to pH 100."""
    broken = calibration(
        30.0, found={"slope": 1.0, "zero_point": 7.0}, left={"slope": 1.0, "zero_point": 7.0}
    )
    whole = calibration(
        5.0, found={"slope": 99.0, "zero_point": 7.0}, left={"slope": 99.0, "zero_point": 7.0}
    )
    assert found(line(0.0), whole, broken) == []


def test_a_broken_glass_whose_zero_seems_to_have_moved_is_no_adjustment_either() -> None:
    """At a slope of 1 % the zero point is anything: here one that would move the reading by 0.6 pH, within all limits."""
    whole, broken = (
        calibration(d, found=figures, left=figures)
        for d, figures in (
            (5.0, {"slope": 97.0, "zero_point": 6.3}),
            (30.0, {"slope": 1.0, "zero_point": 5.2}),
        )
    )
    assert found(line(0.0), whole, broken) == []


def test_a_cleaning_moves_the_reading_though_nothing_is_taken_over() -> None:
    """Found 0.3 off and dirty, left clean and in order: the reading moves by what the cleaning took off."""
    cleaned = calibration(30.0, found={"zero_point": 7.3}, left={"zero_point": 7.0})
    assert found(line(-0.3), BEFORE, cleaned) == []


@pytest.mark.parametrize(("jump", "told"), [(0.0, True), (-0.5, False)])
def test_figures_left_that_differ_from_those_found_may_be_what_was_set_alone(jump: float, told: bool) -> None:
    """Found 6.5 and left 7.0, as before: cleaned or set, the reading would fall by 0.5 pH; where it stays, it was neither."""
    set_back = calibration(30.0, found={"zero_point": 6.5}, left={"zero_point": 7.0})
    assert bool(found(line(jump), BEFORE, set_back)) is told


def test_an_adjustment_that_shows_is_in_order() -> None:
    assert found(line(0.3)) == []


def test_where_the_process_moves_by_itself_as_much_nothing_can_be_said() -> None:
    assert found(line(0.0, wave=0.5)) == []


def test_a_probe_that_came_from_another_point_is_not_compared() -> None:
    moved = replace(PLANT, installations=(Installation(probe="S1", point="redox", end=30 * DAY),))
    assert list(not_taken_over((BEFORE, AFTER), {"ph": line(0.0)}, moved)) == []


def test_a_small_adjustment_cannot_be_seen() -> None:
    small = calibration(30.0, found={"zero_point": 7.03}, left={"zero_point": 7.03})
    assert found(line(0.0), BEFORE, small) == []


def test_a_verification_moves_nothing() -> None:
    assert found(line(0.0), BEFORE, replace(AFTER, action="verification", as_left={})) == []


def test_without_hours_on_both_sides_nothing_is_said() -> None:
    late = calibration(59.95, found={"zero_point": 7.3}, left={"zero_point": 7.3})
    assert found(line(0.0), BEFORE, late) == []


def test_the_audit_tells_it_in_words() -> None:
    traced = states((5.0, CALIBRATING), (30.0, CALIBRATING))
    told = [f for f in audit([BEFORE, AFTER], {"ph": traced}, SAMPLING, PLANT, {"ph": line(0.0)}) if f.kind == "not taken over"]  # fmt: skip
    assert [f.calibration for f in told] == [AFTER.id]
    assert any("out of the line" in reason for reason in told[0].could_hide)
    assert told[0].sentence.startswith(
        "the adjustment of 31 Jan 1970 00:00 would move the reading by +0.3 pH; it moved by "
    )
