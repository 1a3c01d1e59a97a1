"""Each state is found where it was made, and nothing is found where nothing was made."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.plant import Plant, Point
from excursions.records import (
    CALIBRATING,
    CLEANING,
    HOLD,
    MEASURING,
    NO_DATA,
    RECOVERING,
    STEAMING,
    WASHING,
    StateLine,
)
from excursions.states import recognise
from excursions.states.walk import Walk
from tests.builders import T0, coloured, grid, level, make_signal, on_exception, quantised, swinging_door
from tests.scenes import DAY_S, Scene, at_ns, record_of, scene, spans_of

SEEDS = range(3)
STANDARDS = {
    "ph": (6.8, (7.0, 4.01)),
    "redox": (350.0, (220.0, 470.0)),
    "conductivity": (500.0, (1413.0,)),
    "oxygen": (2.0, (8.7,)),
    "oxygen_saturation": (30.0, (100.0, 0.0)),
    "turbidity": (5.0, (20.0, 100.0)),
}


def covers(found: list[tuple[float, float]], start: float, end: float, slack: float) -> bool:
    return any(abs(a - start) <= slack and abs(b - end) <= slack for a, b in found)


def assert_contiguous(states: StateLine) -> None:
    assert (states.start[1:] == states.end[:-1]).all()
    assert (states.end > states.start).all()
    assert len(states.evidence) == states.code.size == states.confidence.size
    assert ((states.confidence > 0) & (states.confidence <= 1)).all()


# --- steam and cleaning --------------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0, 300.0])
def test_steam_from_the_start_of_heating_to_the_end_of_steam(every_s: float, seed: int) -> None:
    made = scene(3, every_s=every_s, seed=seed)
    made.steam(1.5 * DAY_S)
    ((start, end),) = spans_of(record_of(made).states, STEAMING)
    up, down = (121.5 - 37) / 3, (121.5 - 95) / 2
    slack = 180 + every_s
    assert start == pytest.approx(1.5 * DAY_S, abs=slack)
    assert end == pytest.approx(1.5 * DAY_S + 60 * (up + 25 + down), abs=slack)


def test_heating_that_the_temperature_does_not_show_is_steam_from_the_begin_of_the_gap() -> None:
    made = scene(3)
    made.steam(1.5 * DAY_S)
    hot = 1.5 * DAY_S + 60 * (121.5 - 37) / 3
    made.temperature[(made.second > 1.5 * DAY_S) & (made.second < hot)] = np.nan
    states = record_of(made).states
    ((start, _),) = spans_of(states, STEAMING)
    assert start == pytest.approx(1.5 * DAY_S, abs=120)


def test_cooling_after_steam_is_recovering_until_the_temperature_has_settled() -> None:
    made = scene(3)
    made.steam(1.5 * DAY_S)
    states = record_of(made).states
    ((_, steam_end),) = spans_of(states, STEAMING)
    ((start, end),) = spans_of(states, RECOVERING)
    assert start == steam_end
    cooled = 1.5 * DAY_S + 60 * ((121.5 - 37) / 3 + 25 + (121.5 - 37) / 2)
    assert end == pytest.approx(cooled, abs=720)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_reading_that_settles_slowly_keeps_recovering(seed: int) -> None:
    made = scene(3, wander=0.01, seed=seed)
    made.steam(1.5 * DAY_S)
    cooled = 1.5 * DAY_S + 60 * ((121.5 - 37) / 3 + 25 + (121.5 - 37) / 2)
    late = made.second > cooled
    made.value[late] += 0.6 * np.exp(-(made.second[late] - cooled) / 1800)
    ((_, end),) = spans_of(record_of(made).states, RECOVERING)
    assert end - cooled > 3600  # two time constants: 0.08 pH are left


@pytest.mark.parametrize("seed", SEEDS)
def test_caustic_cleaning_is_known_by_heat_and_chemistry(seed: int) -> None:
    made = scene(3, seed=seed)
    made.clean(1.5 * DAY_S)
    states = record_of(made).states
    ((start, end),) = spans_of(states, CLEANING)
    assert start == pytest.approx(1.5 * DAY_S, abs=240)
    assert end == pytest.approx(1.5 * DAY_S + 60 * 55, abs=600)
    assert any("caustic" in text for text in states.evidence)


def test_one_warm_stretch_without_chemistry_stays_measuring_but_a_family_is_cleaning() -> None:
    once, often = scene(3), scene(8)
    once.clean(1.5 * DAY_S, reading=None)
    for day in (1, 3, 5):
        often.clean((day + 0.5) * DAY_S, reading=None)
    assert spans_of(record_of(once).states, CLEANING) == []
    assert len(spans_of(record_of(often).states, CLEANING)) == 3


@pytest.mark.parametrize("degc", [85.0, 112.0, 125.0])
def test_a_process_that_lives_hot_is_neither_cleaned_nor_steamed(degc: float) -> None:
    made = scene(6, warm=degc)
    made.temperature += coloured(made.temperature.size, 0.0, 2.0, 40, 5)
    assert record_of(made).states.code.tolist() == [MEASURING]


def test_caustic_is_known_without_a_temperature_when_it_recurs() -> None:
    made = scene(9)
    for day in (1, 3, 5, 7):
        made.clean((day + 0.5) * DAY_S)
    found = spans_of(record_of(made, with_temperature=False).states, CLEANING)
    assert [round(a / DAY_S - 0.5) for a, _ in found] == [1, 3, 5, 7]


# --- calibrations --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("measurand", STANDARDS)
def test_a_calibration_is_known_by_its_standards_and_the_walk_to_room(measurand: str, seed: int) -> None:
    at, standards = STANDARDS[measurand]
    made = scene(3, at=at, noise=0.002 * at, wander=0.004 * at, seed=seed)
    made.calibrate(1.5 * DAY_S, standards)
    record = record_of(made, measurand=measurand, value_step=1e-4 * at)
    ((start, end),) = spans_of(record.states, CALIBRATING)
    assert start == pytest.approx(1.5 * DAY_S, abs=300)
    assert end == pytest.approx(1.5 * DAY_S + 60 * (10 + 18 * len(standards)), abs=420)


@pytest.mark.parametrize("measurand", ["ph", "redox", "oxygen_saturation", "turbidity"])
def test_two_standards_are_enough_without_a_temperature(measurand: str) -> None:
    at, standards = STANDARDS[measurand]
    made = scene(3, at=at, noise=0.002 * at, wander=0.004 * at)
    made.calibrate(1.5 * DAY_S, standards)
    record = record_of(made, measurand=measurand, value_step=1e-4 * at, with_temperature=False)
    assert len(spans_of(record.states, CALIBRATING)) == 1


def test_a_reading_frozen_while_the_temperature_goes_to_room_is_a_hidden_calibration() -> None:
    made = scene(3)
    made.warm(1.5 * DAY_S, [(0, 37), (5, 22), (40, 22), (46, 37)])
    where = made.inside(1.5 * DAY_S, 46)
    made.value[where] = made.value[where][0]
    states = record_of(made).states
    ((start, end),) = spans_of(states, CALIBRATING)
    assert start == pytest.approx(1.5 * DAY_S, abs=240)
    assert end == pytest.approx(1.5 * DAY_S + 46 * 60, abs=420)


def test_a_frozen_reading_alone_stays_for_the_detectors() -> None:
    made = scene(3)
    where = made.inside(1.5 * DAY_S, 46)
    made.value[where] = made.value[where][0]
    assert record_of(made).states.code.tolist() == [MEASURING]


def test_frozen_calibrations_show_beside_the_frozen_cleanings_of_the_same_point() -> None:
    """A point whose output is held in every cleaning too: long freezes are not this signal's own habit."""
    made = scene(12)
    for day in range(1, 11):
        where = made.inside(day * DAY_S, 40)
        made.value[where] = made.value[where][0]
    made.warm(5.0 * DAY_S, [(0, 37), (5, 22), (35, 22), (40, 37)])
    ((start, _),) = spans_of(record_of(made).states, CALIBRATING)
    assert start == pytest.approx(5.0 * DAY_S, abs=300)


def test_a_walk_towards_room_shows_though_the_process_is_that_cool_at_other_times() -> None:
    """37 °C for days, 24 °C for a day: 22 °C for half an hour is nothing new, but the way there and back is."""
    made = scene(6)
    made.warm(1.0 * DAY_S, [(0, 37), (300, 24), (1500, 24), (1800, 37)])
    made.warm(4.0 * DAY_S, [(0, 37), (6, 22), (35, 22), (41, 37)])
    made.value[made.inside(4.0 * DAY_S, 41)] += 0.8
    ((start, _),) = spans_of(record_of(made).states, CALIBRATING)
    assert start == pytest.approx(4.0 * DAY_S, abs=400)


def test_steam_often_does_not_hide_the_walks_of_a_probe_that_is_taken_out() -> None:
    """A cold process, steamed every other day: what passes room temperature on its way from steam is no walk to it."""
    made = scene(20, at=350.0, warm=12.0, noise=1.0, wander=2.0)
    for day in range(1, 20, 2):
        made.steam((day + 0.1) * DAY_S)
    made.calibrate(9.6 * DAY_S, (300.0,), room=19.0)  # no solution in common use
    states = record_of(made, measurand="redox", value_step=0.1).states
    ((start, _),) = spans_of(states, CALIBRATING)
    assert start == pytest.approx(9.6 * DAY_S, abs=600)


def test_standards_of_a_quantity_that_has_none_in_common_use_are_learned_from_what_the_log_enters() -> None:
    """Three calibrations of a CO2 probe at the temperature of the room, two of them entered: the third is known."""
    made = scene(20, at=2500.0, warm=22.0, noise=10.0, wander=30.0)
    for day in (3, 9, 15):
        made.calibrate((day + 0.5) * DAY_S, (154.0,))
    when = tuple(at_ns((day + 0.52) * DAY_S) for day in (3, 9))
    found = spans_of(record_of(made, measurand="co2", value_step=1.0, noted=when).states, CALIBRATING)
    assert [round(a / DAY_S - 0.5, 1) for a, _ in found] == [3, 9, 15]
    alone = record_of(made, measurand="co2", value_step=1.0, noted=when[:1])
    assert [round(a / DAY_S - 0.5, 1) for a, _ in spans_of(alone.states, CALIBRATING)] == [3]


def test_a_reading_pinned_at_its_end_when_a_log_enters_a_calibration_is_no_hold() -> None:
    for pinned, found in ((14.0, 0), (6.7, 1)):
        made = scene(6, warm=22.0)
        made.value[made.second > 3.5 * DAY_S] += pinned - 6.8  # and does not come back
        made.value[made.inside(3.5 * DAY_S, 30)] = pinned
        states = record_of(made, noted=(at_ns(3.51 * DAY_S),), range=(0.0, 14.0)).states
        assert len(spans_of(states, CALIBRATING)) == found


def test_a_held_output_shows_no_standard_though_the_process_sits_at_one() -> None:
    """Redox at 475 mV, held while the probe stands in 220 mV, adjusted to 310 mV: no 470 mV solution was used."""
    made = scene(6, at=475.0, noise=0.5, wander=1.0)
    made.value[made.second > 3.5 * DAY_S] -= 165.0
    held = made.inside(3.5 * DAY_S - 1800, 30)
    made.value[held] = 475.3
    flag = held.astype(float)
    record = record_of(made, measurand="redox", value_step=0.1, hold=flag, noted=(at_ns(3.5 * DAY_S),))
    spans = np.flatnonzero(record.states.code == CALIBRATING)
    assert spans.size
    assert not any(record.states.standards_in(int(i)) for i in spans)


def test_a_process_that_sits_at_a_buffer_is_not_calibrated_because_a_log_says_so() -> None:
    made = scene(3, at=7.0, noise=0.03, wander=0.01, warm=21.0)
    calm = made.inside(1.5 * DAY_S, 20)
    made.value[calm] = 7.0 + 0.1 * (made.value[calm] - made.value[calm].mean())
    began = int(record_of(made).states.start[0])
    noted = (began + int(1.5 * DAY_S * 1e9),)
    assert CALIBRATING not in record_of(made, noted=noted).states.code


def test_a_calibration_straight_after_a_cleaning_is_known_when_the_log_enters_it() -> None:
    """The hour before the work is all heat: the levels are those before the cleaning."""
    made = scene(6, at=500.0, warm=30.0, noise=1.0, wander=3.0)
    made.clean(3.5 * DAY_S, reading=30_000.0)
    made.calibrate(3.5 * DAY_S + 65 * 60, (1250.0,))  # a cell that reads its standard low
    when = (at_ns(3.5 * DAY_S + 90 * 60),)
    states = record_of(made, measurand="conductivity", value_step=1.0, noted=when).states
    ((start, end),) = spans_of(states, CALIBRATING)
    assert start == pytest.approx(3.5 * DAY_S + 65 * 60, abs=900)
    assert end == pytest.approx(3.5 * DAY_S + 92 * 60, abs=900)
    assert len(spans_of(states, CLEANING)) == 1


def test_a_held_output_and_a_walk_to_room_are_a_calibration_of_a_pinned_reading_too() -> None:
    made = scene(6, warm=35.0)
    made.value[made.second > 2.5 * DAY_S] = 14.0
    made.warm(4.5 * DAY_S, [(0, 35), (5, 22), (40, 22), (46, 35)])
    flag = made.inside(4.5 * DAY_S, 46).astype(float)
    states = record_of(made, hold=flag, range=(0.0, 14.0)).states
    ((start, _),) = spans_of(states, CALIBRATING)
    assert start == pytest.approx(4.5 * DAY_S, abs=300)
    made.warm(4.5 * DAY_S, [(0, 35), (46, 35)])
    assert CALIBRATING not in record_of(made, hold=flag, range=(0.0, 14.0)).states.code


@pytest.mark.parametrize(("off", "rests"), [(0.4, ("pH 4", "pH 7")), (0.0, ()), (1.2, ())])
def test_a_probe_far_off_leaves_the_buffer_it_may_have_been_in(off: float, rests: tuple[str, ...]) -> None:
    made = scene(6, at=5.6)
    made.calibrate(3.5 * DAY_S, (7.0 + off, 4.01 + off))
    states = record_of(made, noted=(at_ns(3.52 * DAY_S),)).states
    (span,) = np.flatnonzero(states.code == CALIBRATING).tolist()
    assert states.rests_in(span) == rests
    assert ("pH 4" in states.standards_in(span)) == (off == 0.0)


def test_a_temperature_element_that_jumps_and_takes_the_reading_along_is_no_walk() -> None:
    """A compensated conductivity: 17 K more make it a third less, and it goes on as restlessly as before."""
    for lively, found in ((True, 0), (False, 1)):
        made = scene(6, at=830.0, warm=9.0, noise=4.0, wander=20.0)
        where = made.inside(3.5 * DAY_S, 70)
        made.temperature[where] += 17.0
        made.value[where] = made.value[where] * 0.67 if lively else 555.0
        states = record_of(made, measurand="conductivity", value_step=1.0).states
        assert len(spans_of(states, CALIBRATING)) == found


def test_a_reading_pinned_at_its_end_is_not_calm_in_a_standard() -> None:
    """An oxygen reading at 0 for three quarters of an hour: a zero solution, or a signal that is lost."""
    for end, found in ((0.0, 0), (-1.0, 1)):
        made = scene(6, at=5.0, warm=16.0, noise=0.02, wander=0.1)
        made.value[made.inside(3.5 * DAY_S, 45)] = 0.0
        states = record_of(made, measurand="oxygen", value_step=0.01, range=(end, 20.0)).states
        assert len(spans_of(states, CALIBRATING)) == found


def test_a_hold_for_a_wash_of_half_a_minute_bears_out_no_calibration() -> None:
    made = scene(6, at=7.0, noise=0.03, wander=0.01, warm=27.0)
    calm = made.inside(3.5 * DAY_S, 60)
    made.value[calm] = 7.0 + 0.1 * (made.value[calm] - made.value[calm].mean())
    noted = (at_ns(3.5 * DAY_S + 1800),)
    for minutes, known in ((3.0, False), (40.0, True)):
        flag = made.inside(3.5 * DAY_S + 600, minutes).astype(float)
        states = record_of(made, hold=flag, noted=noted).states
        assert (CALIBRATING in states.code) is known


def test_a_process_that_lies_near_a_buffer_does_not_lengthen_the_work_in_it() -> None:
    """A calm hour at pH 6.87 before buffer 7.00 and after buffer 4.01 is the process: the work begins where the reading went."""
    noted = (at_ns(3.5 * DAY_S + 600),)
    for seed in SEEDS:
        made = scene(6, at=6.87, noise=0.01, wander=0.005, seed=seed)
        made.calibrate(3.5 * DAY_S, (7.0, 4.01))
        for after in (-55, -40, -25, 75, 95):
            made.value[made.inside(3.5 * DAY_S + 60 * after, 12)] = level(12, 6.87, 0.001, seed)
        ((start, end),) = spans_of(record_of(made, noted=noted, value_step=0.001).states, CALIBRATING)
        assert start == pytest.approx(3.5 * DAY_S, abs=900)
        assert end == pytest.approx(3.5 * DAY_S + 46 * 60, abs=420)


def test_a_process_that_goes_on_at_a_buffer_is_no_visit_to_it() -> None:
    """The set point goes to pH 7.18 just when a log enters a calibration, calm at first, and stays there for half a day."""
    noted = (at_ns(3.5 * DAY_S + 1800),)
    for hours, known in ((12.0, False), (0.5, True)):
        made = scene(6, at=7.6, noise=0.02, wander=0.01, warm=21.0)
        stays = made.inside(3.5 * DAY_S, 60 * hours)
        made.value[stays] += 7.18 - 7.6
        made.value[made.inside(3.5 * DAY_S, 30)] = level(30, 7.18, 0.002, 5)
        assert (CALIBRATING in record_of(made, noted=noted).states.code) is known


def test_what_the_log_adds_to_a_span_is_a_field_of_it() -> None:
    made = scene(6)
    made.calibrate(3.5 * DAY_S, (7.0, 4.01))
    for noted, helped in (((), 0.0), ((at_ns(3.52 * DAY_S),), 3.0)):
        states = record_of(made, noted=noted).states
        (span,) = np.flatnonzero(states.code == CALIBRATING).tolist()
        assert states.helped_in(span) == helped
        assert all(states.helped_in(i) == 0.0 for i in range(states.code.size) if i != span)


def test_where_nobody_would_have_looked_without_the_entry_it_alone_makes_the_span() -> None:
    """Twenty-five minutes in something at pH 5.6 that is no buffer, in a line as warm as the room."""
    made = scene(6, at=7.6, noise=0.02, wander=0.01, warm=21.0)
    made.value[made.inside(3.5 * DAY_S, 25)] = level(25, 5.6, 0.02, 5)
    assert CALIBRATING not in record_of(made).states.code
    states = record_of(made, noted=(at_ns(3.51 * DAY_S),)).states
    (span,) = np.flatnonzero(states.code == CALIBRATING).tolist()
    assert states.helped_in(span) == math.inf


@pytest.mark.parametrize(
    ("before", "there", "stayed"), [(37, 37, True), (18, 80, True), (18, 19, False), (80, 21, False)]
)
def test_no_probe_is_read_in_a_standard_where_it_is_hot(before: float, there: float, stayed: bool) -> None:
    assert Walk(before=before, there=there, out_and_back=False).stayed is stayed


def test_a_vessel_that_cools_slowly_and_comes_back_is_no_calibration() -> None:
    made = scene(3)
    made.warm(1.5 * DAY_S, [(0, 37), (80, 20), (120, 20), (200, 37)])
    where = made.inside(1.5 * DAY_S, 200)
    made.value[where] += 0.8
    assert CALIBRATING not in record_of(made).states.code


def test_a_step_to_a_set_point_that_happens_to_be_a_buffer_stays_measuring() -> None:
    made = scene(6)
    made.value[made.inside(2 * DAY_S, 60 * 30)] -= 2.8  # thirty hours at pH 4.0
    assert record_of(made).states.code.tolist() == [MEASURING]


# --- flags, washes, silence ----------------------------------------------------------------------


@pytest.mark.parametrize("polarity", [1.0, -1.0])
def test_a_hold_flag_is_believed_whatever_its_polarity(polarity: float) -> None:
    made = scene(2)
    flag = np.zeros(made.second.size)
    flag[1000:1100] = 1
    states = record_of(made, hold=flag if polarity > 0 else 1 - flag).states
    ((start, end),) = spans_of(states, HOLD)
    assert (start, end) == (60_000.0, 66_000.0)


def test_a_flag_that_never_changes_says_nothing() -> None:
    made = scene(2)
    assert record_of(made, hold=np.ones(made.second.size)).states.code.tolist() == [MEASURING]


def test_a_wash_flag_is_washing() -> None:
    made = scene(2)
    flag = np.zeros(made.second.size)
    flag[500:503] = flag[1200:1203] = 1
    assert len(spans_of(record_of(made, wash=flag).states, WASHING)) == 2


def test_steam_under_hold_is_steam() -> None:
    made = scene(3)
    made.steam(1.5 * DAY_S)
    states = record_of(made, hold=made.inside(1.5 * DAY_S - 600, 160).astype(float)).states
    assert len(spans_of(states, STEAMING)) == 1
    assert len(spans_of(states, HOLD)) >= 1


@pytest.mark.parametrize("seed", SEEDS)
def test_washes_are_known_by_their_rhythm(seed: int) -> None:
    made = scene(4, every_s=10.0, seed=seed)
    starts = np.arange(0.3, 95.0, 4.0) * 3600
    for start in starts:
        made.read(start, 40 / 60, 8.4, 0.01)
    found = spans_of(record_of(made).states, WASHING)
    assert len(found) == pytest.approx(starts.size, abs=1)
    assert all(np.abs(starts - a).min() <= 20 for a, _ in found)


@pytest.mark.parametrize("seed", SEEDS)
def test_spikes_without_a_rhythm_are_no_washes(seed: int) -> None:
    made = scene(4, every_s=10.0, seed=seed)
    rng = np.random.default_rng(seed)
    scattered = rng.integers(100, made.value.size - 100, 40)
    burst = 9000 + rng.integers(0, 3000, 40)
    made.value[np.concatenate([scattered, burst])] += 1.5
    assert WASHING not in record_of(made).states.code


def test_visits_to_a_standard_several_times_a_day_are_washes_but_what_a_log_enters_is_not() -> None:
    """A fitting draws the probe back into cold acid of pH 2 three times a day; once a log enters a calibration."""
    made = scene(12, warm=52.0)
    for shift in range(1, 36):
        made.warm(shift * DAY_S / 3, [(0, 52), (1, 24), (4, 24), (5, 52)])
        made.read(shift * DAY_S / 3 + 60, 3, 2.0, 0.002)
    made.calibrate(6.5 * DAY_S, (7.0, 4.01))
    states = record_of(made, noted=(at_ns(6.51 * DAY_S),)).states
    ((start, _),) = spans_of(states, CALIBRATING)
    assert start == pytest.approx(6.5 * DAY_S, abs=600)
    assert len(spans_of(states, WASHING)) == 35


def test_silences_and_bad_stretches_are_no_data() -> None:
    n = 3000
    keep = np.ones(n, bool)
    keep[1000:1100] = False
    quality = np.zeros(n, int)
    quality[2000:2060] = 2
    value = make_signal(level(n, 7, 0.01)[keep], time=grid(n)[keep], quality=quality[keep], measurand="ph")
    point = Point(name="A1", measurand="ph")
    states = recognise(point, Plant(points=(point,)), value, None, None, None)
    assert_contiguous(states)
    assert spans_of(states, NO_DATA) == [(1000 * 60.0, 1100 * 60.0), (2000 * 60.0, 2060 * 60.0)]


# --- nothing there -------------------------------------------------------------------------------

DAILY = np.sin(np.arange(20_000) / 229.0)
QUIET_RECORDS = {
    "random walk": ("other", np.cumsum(level(20_000, 0, 0.05, 3)) + 50, None),
    "random walk in pH": ("ph", 7 + np.cumsum(level(20_000, 0, 0.005, 3)), None),
    "room": ("other", coloured(20_000, 400, 100, 200, 5), 20 + 6 * DAILY + coloured(20_000, 0, 0.5, 100, 4)),
    "river oxygen": ("oxygen", 9 + 2 * DAILY + coloured(20_000, 0, 0.2, 200, 5), 12 + 3 * DAILY),
    "turbid floods": ("turbidity", np.exp(coloured(20_000, 2, 1.0, 300, 6)), None),
    "conductivity with tides": ("conductivity", 20_000 + 9000 * DAILY + level(20_000, 0, 50, 1), None),
    "constant": ("ph", level(20_000, 7.0), level(20_000, 25.0)),
    "batches of pH": ("ph", 4 + 3 * (np.arange(20_000) % 2000 / 2000) + level(20_000, 0, 0.02, 8), None),
    "set-points": ("ph", np.repeat(level(20, 7, 1.2, 9), 1000) + level(20_000, 0, 0.01, 9), 30 + DAILY),
}


@pytest.mark.parametrize("name", QUIET_RECORDS)
@pytest.mark.parametrize("every_s", [10.0, 60.0, 3600.0])
def test_records_without_a_probe_s_routine_are_measuring_throughout(name: str, every_s: float) -> None:
    measurand, x, warmth = QUIET_RECORDS[name]
    point = Point(name="A1", measurand=measurand)
    value = make_signal(x, every_s=every_s, measurand=measurand)
    temperature = None if warmth is None else make_signal(warmth, every_s=every_s, measurand="temperature")
    states = recognise(point, Plant(points=(point,)), value, temperature, None, None)
    assert states.code.tolist() == [MEASURING]


@pytest.mark.parametrize("n", [0, 1, 2, 5])
@pytest.mark.parametrize("value", [7.0, float("nan")])
def test_tiny_records(n: int, value: float) -> None:
    signal = make_signal([value] * n, measurand="ph")
    warmth = make_signal([value * 18] * n, measurand="temperature")
    point = Point(name="A1", measurand="ph")
    states = recognise(point, Plant(points=(point,)), signal, warmth, signal, signal)
    assert_contiguous(states)
    assert states.code.size <= 1
    assert not n or int(states.end[-1]) == int(signal.time[-1]) + 1


# --- recording rules -----------------------------------------------------------------------------


@pytest.mark.parametrize("rule", [on_exception, swinging_door])
def test_states_survive_compression(rule) -> None:
    made = scene(10, every_s=10.0)
    made.steam(2.5 * DAY_S)
    made.clean(4.5 * DAY_S)
    made.calibrate(6.5 * DAY_S, (7.0, 4.01))
    point = Point(name="A1", measurand="ph")
    time = grid(made.value.size, 10.0)
    signals = [
        make_signal(kept, time=when, measurand=measurand)
        for measurand, (when, kept) in (
            ("ph", rule(time, quantised(made.value, 0.01), 0.03, 3600.0)),
            ("temperature", rule(time, quantised(made.temperature, 0.1), 0.4, 3600.0)),
        )
    ]
    states = recognise(point, Plant(points=(point,)), signals[0], signals[1], None, None)
    assert_contiguous(states)
    for code, day in ((STEAMING, 2.5), (CLEANING, 4.5), (CALIBRATING, 6.5)):
        ((start, _),) = spans_of(states, code)
        assert start == pytest.approx(day * DAY_S, abs=900)


def test_the_same_record_gives_the_same_line_twice() -> None:
    made = scene(4)
    made.steam(1.5 * DAY_S)
    made.calibrate(2.5 * DAY_S, (7.0, 4.01))
    first, second = record_of(made).states, record_of(made).states
    np.testing.assert_array_equal(first.start, second.start)
    assert first.evidence == second.evidence


def cleaned(made: Scene, *at_s: float, noted: tuple[float, ...] = ()) -> StateLine:
    record = record_of(made, noted=tuple(T0 + int(when * NS_PER_S) for when in noted))
    plant = replace(record.plant, cleaned=tuple(("A1", T0 + int(when * NS_PER_S)) for when in at_s))
    return recognise(record.point, plant, record.value, record.temperature, None, None)


def test_a_cleaning_by_hand_that_only_the_log_shows_is_cleaning_about_its_entry() -> None:
    ((start, end),) = spans_of(cleaned(scene(4), 2.5 * DAY_S), CLEANING)
    assert start < 2.5 * DAY_S < end
    assert end - start <= 3600


def test_what_looks_like_a_calibration_is_the_cleaning_the_log_enters_unless_it_enters_both() -> None:
    made = scene(6)
    made.calibrate(2.5 * DAY_S, (7.0, 4.01))
    only, both = cleaned(made, 2.51 * DAY_S), cleaned(made, 2.51 * DAY_S, noted=(2.51 * DAY_S,))
    assert (len(spans_of(only, CLEANING)), len(spans_of(only, CALIBRATING))) == (1, 0)
    assert (len(spans_of(both, CLEANING)), len(spans_of(both, CALIBRATING))) == (0, 1)
