"""Whose doing: odds by hand, and each clue where it speaks, where it keeps silent, and for how much."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE
from excursions.detect.evidence.origin import (
    Clue,
    Companion,
    companions,
    company_clues,
    elsewhere_clue,
    expected_faults,
    frozen_share,
    heat_before,
    heat_clue,
    is_adjusted,
    moved_together,
    name_origin,
    next_reset,
    shared,
    state_clue,
    tempered,
    times,
    unexplained,
    weigh,
    witnessed,
    words_of,
)
from excursions.detect.series.alike import related
from excursions.detect.series.survey import survey_of
from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    MEASURING,
    MOVED_NOT,
    MOVED_TOO,
    NO_DATA,
    RECOVERING,
    STEAMING,
    WASHING,
    Record,
)
from tests.builders import T0, coloured, grid, level, make_record, make_signal, state_line

HOUR, MINUTE = NS_PER_HOUR, NS_PER_MINUTE


def test_odds_are_expected_numbers_times_clues() -> None:
    """Two faults and one such change of the process expected, a clue of three: six to one."""
    assert weigh(prior=2.0, chance=1.0, clues=(Clue(odds=3.0),)) == pytest.approx(6.0 / 7.0)
    assert weigh(prior=1.0, chance=1.0, clues=(Clue(odds=0.5), Clue(odds=0.5))) == pytest.approx(0.2)
    assert weigh(prior=1.0, chance=0.0, clues=()) == 0.97  # no record alone says more


@pytest.mark.parametrize(
    ("years", "faults", "changes"),
    [
        (0.01, 1.0, 2.0),
        (0.25, 1.0, 2.0),
        (0.5, 2.0, 2.0),
        (1.0, 4.0, 2.0),
        (3.0, 4.0, 6.0),
        (4.0, 4.0, 8.0),
        (9.0, 4.0, 8.0),
    ],
)
def test_what_a_record_of_so_many_years_is_expected_to_hold(
    years: float, faults: float, changes: float
) -> None:
    """Four faults a year, of a quarter at the least and one at the most; two changes in up to one year, of four at the most."""
    assert expected_faults(4.0, years) == pytest.approx(faults)
    assert unexplained(2.0, years) == pytest.approx(changes)


@pytest.mark.parametrize(
    ("probability", "origin"),
    [(0.7, "probe"), (0.699, "undecided"), (0.301, "undecided"), (0.3, "process"), (0.0, "process")],
)
def test_an_origin_is_named_where_it_is_likely(probability: float, origin: str) -> None:
    assert name_origin(probability) == origin


def test_what_the_reading_alone_says_stops_short_of_the_probe() -> None:
    """0.69 is odds of 2.226: a witness of two makes 4.45 of it, 0.817; what was seen inside the reading is no witness."""
    assert witnessed(0.95, (Clue(odds=50.0, inside=True),)) == 0.69
    assert witnessed(0.95, (Clue(odds=1.9), Clue(odds=1.9))) == 0.69
    assert witnessed(0.95, (Clue(odds=2.0),)) == pytest.approx(4.4516 / 5.4516, abs=1e-4)
    assert witnessed(0.95, (Clue(odds=2.0), Clue(odds=50.0, inside=True))) == pytest.approx(0.8166, abs=1e-4)
    assert witnessed(0.95, (Clue(odds=4.0), Clue(odds=0.25))) == pytest.approx(0.69)
    assert witnessed(0.5, (Clue(odds=4.0),)) == 0.5


def test_what_others_of_its_size_show_as_well_says_less() -> None:
    """Two others alike leave the root of the odds."""
    (one,) = shared((Clue(odds=9.0, words="so"),), 2)
    assert one == Clue(odds=pytest.approx(3.0), words="so")
    assert shared((Clue(odds=9.0),), 0) == (Clue(odds=9.0),)


def test_the_strongest_fact_is_told_first_whichever_way_it_speaks() -> None:
    clues = (Clue(odds=2.0, words="mild"), Clue(odds=0.1, words="against"), Clue(odds=50.0), Clue(odds=6.0, words="for"))  # fmt: skip
    assert words_of(clues) == ("against", "for", "mild")
    assert [times(n, "change", "changes") for n in (0, 1, 2)] == ["no change", "1 change", "2 changes"]


def after(code: int, ended_before: int, *, settled: int = 0, then: int = MEASURING) -> Record:
    """A state that ended so many minutes before the tenth hour, with minutes of recovery between."""
    end = T0 + 10 * HOUR - ended_before * MINUTE
    rows = [(T0, end - HOUR, MEASURING), (end - HOUR, end, code)]
    if settled:
        rows.append((end, end + settled * MINUTE, RECOVERING))
    rows.append((end + settled * MINUTE, T0 + 20 * HOUR, then))
    return make_record(level(1_200, 7.0), states=state_line(rows))


BEGAN = T0 + 10 * HOUR


@pytest.mark.parametrize(
    ("code", "odds", "name"),
    [
        (STEAMING, 2.5, "steaming"),
        (CLEANING, 2.0, "cleaning"),
        (CALIBRATING, 2.0, "calibrating"),
        (HOLD, 1.2, "hold"),
        (WASHING, 1.2, "washing"),
    ],
)
def test_a_change_within_half_an_hour_after_a_state_is_told_with_it(
    code: int, odds: float, name: str
) -> None:
    clue = state_clue(after(code, 30), BEGAN)
    assert (clue.odds, clue.words) == (odds, f"began 30 min after {name}")
    assert state_clue(after(code, 31), BEGAN) == Clue(odds=1.0)
    assert state_clue(after(code, 31), BEGAN, soon_s=3600.0).odds == odds


@pytest.mark.parametrize("code", [MEASURING, NO_DATA, RECOVERING])
def test_states_that_do_nothing_to_a_probe_are_no_clue(code: int) -> None:
    assert state_clue(after(code, 5), BEGAN) == Clue(odds=1.0)


def test_settling_counts_to_the_state_it_follows_but_long_after_says_less() -> None:
    """Ended 100 min before, settled for 90 of them: within minutes of the end of that; 3 h before, it settled long."""
    assert state_clue(after(STEAMING, 100, settled=90), BEGAN).odds == 2.5
    late = state_clue(after(STEAMING, 180, settled=170), BEGAN)
    assert (late.odds, late.words) == (1.5, "began 3 h after steaming")
    assert state_clue(after(WASHING, 180, settled=170), BEGAN).odds == 1.2
    assert state_clue(after(STEAMING, 100, settled=60), BEGAN) == Clue(odds=1.0)


def heated(degc: float, hours_before: float) -> Record:
    temperature = np.full(1_200, 37.0)
    at = round((10 - hours_before) * 60)
    temperature[at : at + 2] = degc
    return make_record(level(1_200, 7.0), temperature)


@pytest.mark.parametrize(
    ("degc", "hours_before", "odds"),
    [
        (140.0, 1.0, 6.0),  # above the 130 °C assumed for sterilisation
        (125.0, 1.0, 1.5),  # above the 80 °C assumed for good
        (75.0, 1.0, 1.0),
        (140.0, 5.9, 6.0),
        (140.0, 6.5, 1.0),
        (140.0, -0.5, 1.0),  # afterwards
    ],
)
def test_heat_above_a_rating_in_the_six_hours_before(degc: float, hours_before: float, odds: float) -> None:
    clue = heat_clue(heated(degc, hours_before), BEGAN)
    assert clue.odds == odds
    assert clue.words == ("" if odds == 1.0 else f"after heat: {degc:.0f} °C in the six hours before")


@pytest.mark.parametrize(("degc", "odds"), [(90.0, 1.0), (125.0, 1.5), (140.0, 6.0)])
def test_heat_that_was_stood_often_says_nothing(degc: float, odds: float) -> None:
    """Five hot cleanings of 90 °C before the last heat."""
    temperature = np.full(6_000, 37.0)
    for hours in range(10, 90, 16):
        temperature[hours * 60 : hours * 60 + 20] = 90.0
    temperature[95 * 60 : 95 * 60 + 20] = degc
    start = T0 + 96 * HOUR
    assert heat_clue(make_record(level(6_000, 7.0), temperature), start).odds == odds


def test_without_a_temperature_nobody_knows_of_heat() -> None:
    assert math.isnan(heat_before(make_record(level(1_200, 7.0)), BEGAN))
    assert heat_clue(make_record(level(1_200, 7.0)), BEGAN) == Clue(odds=1.0)
    assert math.isnan(heat_before(make_record(level(1_200, 7.0), np.full(1_200, np.nan)), BEGAN))
    assert heat_before(heated(99.0, 1.0), BEGAN) == 99.0


def companion(before: float, behind: float, *, name: str = "A2", related: bool = True) -> Companion:
    """A level that changes at block 50, its usual change 1.0 over one block and 2.0 over more."""
    line = np.where(np.arange(100) < 50, before, behind)
    return Companion(name=name, level=line, usual=np.array([1.0, *[2.0] * 7]), related=related)


@pytest.mark.parametrize(
    ("width", "broken", "ratio"),
    [(1, False, 6.0), (4, False, 3.0), (8, False, 3.0), (20, False, 3.0), (4, True, 1.5)],
)
def test_how_far_another_signal_moved_in_its_own_usual_changes(
    width: int, broken: bool, ratio: float
) -> None:
    up, down = companion(10.0, 16.0), companion(16.0, 10.0)
    assert moved_together(up, 50, width=width, broken=broken) == pytest.approx(ratio)
    assert moved_together(down, 50, width=width, broken=broken) == pytest.approx(ratio)


def test_behind_a_break_the_first_block_is_left_out_and_unknown_blocks_are_passed_over() -> None:
    other = companion(10.0, 10.0)
    hot = other.level.copy()
    hot[50] = 90.0
    back = replace(other, level=hot)
    assert moved_together(back, 50, width=1, broken=True) == 0.0
    assert moved_together(back, 50, width=1, broken=False) == pytest.approx(80.0)
    gone = other.level.copy()
    gone[51:] = np.nan
    assert moved_together(replace(other, level=gone), 50, width=4, broken=True) == 0.0
    gone[40:50] = np.nan
    assert math.isnan(moved_together(replace(other, level=gone), 50, width=4, broken=False))
    some = companion(10.0, 16.0).level.copy()
    some[47:49] = np.nan
    assert moved_together(replace(other, level=some), 50, width=4, broken=False) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("moved", "name", "related", "odds", "words"),
    [
        (9.0, "the temperature", False, 0.15, "the temperature changed at the same time"),
        (9.0, "A2", True, 0.05, "A2 changed at the same time"),
        (9.0, "A2", False, 0.05, "A2 changed at the same time"),
        (3.0, "A2", True, 0.6, "A2 was on the move as well"),
        (3.0, "the temperature", False, 0.6, "the temperature was on the move as well"),
        (1.0, "the temperature", False, 1.5, "the temperature did not change with it"),
        (1.0, "A2", True, 6.0, "A2 did not change with it"),
        (1.0, "A2", False, 1.3, "A2 did not change with it"),
        # Four usual changes are on the move, two are still.
        (4.0, "A2", True, 0.6, "A2 was on the move as well"),
        (2.0, "A2", True, 6.0, "A2 did not change with it"),
    ],
)
def test_what_the_company_of_a_change_says(
    moved: float, name: str, related: bool, odds: float, words: str
) -> None:
    other = companion(10.0, 10.0 + moved, name=name, related=related)
    (clue,) = company_clues((other,), 50, width=1, broken=False, way=9.0, hour=2)
    said = MOVED_TOO if "changed at" in words else MOVED_NOT if "did not" in words else ""
    assert clue == Clue(odds=odds, words=words, source=name, said=said)


def test_a_signal_that_is_not_known_there_says_nothing() -> None:
    unknown = replace(companion(10.0, 10.0), level=np.full(100, np.nan))
    assert company_clues((unknown,), 50, width=1, broken=False, way=9.0, hour=2) == ()


def told(other: Companion, *, at: int, way: float) -> list[tuple[float, str]]:
    found = company_clues((other,), at, width=1, broken=False, way=way, hour=2)
    return [(clue.odds, clue.said) for clue in found]


def test_a_related_signal_that_moved_the_same_way_within_the_hour_moved_too() -> None:
    other = companion(10.0, 19.0, related=True)  # at block 50
    for at in (48, 49, 51, 52):
        assert told(other, at=at, way=9.0) == [(0.15, MOVED_TOO)]
    assert told(other, at=53, way=9.0) == told(other, at=47, way=9.0) == [(6.0, MOVED_NOT)]
    assert told(other, at=51, way=-9.0) == [(6.0, MOVED_NOT)]  # the other way
    assert told(companion(10.0, 14.0, related=True), at=51, way=9.0) == [
        (6.0, MOVED_NOT)
    ]  # no more than four
    assert told(companion(10.0, 19.0, related=False), at=51, way=9.0) == [(1.3, MOVED_NOT)]  # not related


def test_a_related_signal_in_which_the_change_would_not_be_seen_says_nothing() -> None:
    other = companion(10.0, 10.0, related=True)
    assert told(other, at=50, way=4.0) == [(6.0, MOVED_NOT)]
    assert told(other, at=50, way=-3.9) == []
    assert told(companion(10.0, 10.0, related=False), at=50, way=3.9) == [(1.3, MOVED_NOT)]


def still(odds: float, source: str = "T") -> Clue:
    return Clue(odds=odds, words="kept still", source=source)


def test_a_signal_that_always_keeps_still_says_as_much_as_its_share() -> None:
    """Upon two guessed at six to one: of eight changes all still, (1/3 + 7) / 9 of the process's own would be so too."""
    (first, *_) = tempered([(still(6.0),)] * 8)
    assert first[0].odds == pytest.approx(9.0 / (1.0 / 3.0 + 7.0))
    half = tempered([(still(6.0),), *[(still(6.0),)] * 3, *[(replace(still(0.1)),)] * 4])
    assert half[0][0].odds == pytest.approx(9.0 / (1.0 / 3.0 + 3.0))
    assert half[-1][0].odds == 0.1  # what moved is left as it is
    others = tempered([(still(6.0), still(1.3, "A2")), (still(0.1, "A2"),)])
    assert others[0][0].odds == 6.0  # one source says nothing of another
    assert others[0][1].odds == pytest.approx(1.3)


def test_what_goes_together_in_level_or_in_change_is_related() -> None:
    a = coloured(400, 7.0, 0.3, 600.0, 1)
    assert related(a, 3.0 * a + level(400, 0.0, 0.02, 2))
    assert related(a, -a)
    jumps = np.cumsum(np.random.default_rng(3).standard_normal(400))
    trend = 40.0 * np.sin(np.arange(400) / 20.0)
    assert related(jumps, jumps + trend)  # by its changes
    assert not related(a, coloured(400, 7.0, 0.3, 60.0, 9))
    assert not related(a, np.where(np.arange(400) < 19, a, np.nan))  # too little to say
    assert related(a, np.where(np.arange(400) < 60, a, np.nan))


@pytest.mark.parametrize("code", [CALIBRATING, CLEANING])
def test_the_next_reset_is_the_next_trace_or_entry(code: int) -> None:
    record = after(code, 0)  # from the ninth hour to the tenth
    assert next_reset(record, T0) == T0 + 9 * HOUR
    assert next_reset(record, T0 + 9 * HOUR) is None
    for entered in ("noted", "cleaned"):
        plant = replace(record.plant, **{entered: (("A1", T0 + 5 * HOUR), ("B2", T0 + 2 * HOUR))})
        assert next_reset(replace(record, plant=plant), T0) == T0 + 5 * HOUR
    assert next_reset(after(WASHING, 0), T0) is None


def test_a_change_near_an_entered_calibration_is_its_adjustment() -> None:
    record = make_record(level(1_200, 7.0))
    plant = replace(record.plant, noted=(("A1", BEGAN), ("B2", T0)), cleaned=(("A1", T0 + 15 * HOUR),))
    noted = replace(record, plant=plant)
    assert is_adjusted(noted, BEGAN)
    assert is_adjusted(noted, BEGAN + 5 * MINUTE) == is_adjusted(noted, BEGAN - 5 * MINUTE) is True
    assert not is_adjusted(noted, T0)
    assert not is_adjusted(noted, T0 + 15 * HOUR)


def test_the_share_of_samples_that_equal_the_one_before() -> None:
    signal = make_signal([1.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 3.0], time=grid(8))
    assert frozen_share(signal, T0, T0 + 5 * MINUTE) == pytest.approx(0.75)
    assert frozen_share(signal, T0, T0 + 60 * MINUTE) == pytest.approx(5.0 / 7.0)
    assert math.isnan(frozen_share(signal, T0, T0 + 2 * MINUTE))
    assert math.isnan(frozen_share(None, T0, T0 + HOUR))


def away(degc: float, hours: tuple[float, float] = (100.0, 130.0)) -> Clue:
    """Thirty days at 20 to 30 °C, and at another temperature in those hours, which are asked about."""
    minute = np.arange(30 * 1_440)
    temperature = 25.0 + 5.0 * np.sin(2.0 * np.pi * minute / 1_440)
    inside = (minute >= hours[0] * 60) & (minute < hours[1] * 60)
    temperature[inside] = degc
    record = make_record(level(minute.size, 7.0, 0.02, 1), temperature)
    survey = survey_of(record)
    assert survey is not None
    return elsewhere_clue(survey, T0 + round(hours[0] * HOUR), T0 + round(hours[1] * HOUR))


@pytest.mark.parametrize(
    ("degc", "elsewhere"), [(25.0, False), (39.0, False), (42.0, True), (11.0, False), (8.0, True)]
)
def test_a_temperature_beyond_its_usual_range_by_as_much_again_is_another_condition(
    degc: float, elsewhere: bool
) -> None:
    """Ninety of a hundred between 20.1 and 29.9 °C: beyond 10 to 40 the process is in another condition."""
    clue = away(degc)
    if elsewhere:
        assert clue == Clue(odds=0.3, words=f"the temperature was at {degc:.0f} °C meanwhile, else at 25 °C")
    else:
        assert clue == Clue(odds=1.0)


def test_a_moment_is_too_short_to_be_another_condition() -> None:
    assert away(60.0, (100.0, 100.02)) == Clue(odds=1.0)


def test_companions_are_the_temperature_and_the_neighbours_that_are_known() -> None:
    """A usual change is no smaller than what a recorder does not show: half a count of 0.5, or its dead band."""
    size = 4_000
    reading = coloured(size, 7.0, 0.3, 600.0, 1)
    same = make_signal(reading + level(size, 0.0, 0.01, 2), measurand="ph")
    unknown = make_signal(np.full(size, np.nan), measurand="ph")
    coarse = np.round(25.0 + 0.02 * np.random.default_rng(3).standard_normal(size) * 2.0) / 2.0
    coarse[::500] += 0.5
    record = make_record(reading, coarse, neighbours={"A2": same, "A3": unknown})
    survey = survey_of(record)
    assert survey is not None
    found = {one.name: one for one in companions(record, survey)}
    assert set(found) == {"the temperature", "A2"}
    assert (found["A2"].related, found["the temperature"].related) == (True, False)
    assert found["the temperature"].usual.size == 8
    assert (found["the temperature"].usual >= 0.25).all()
