"""Windows of doubt: shape, start, samples, and what stays open."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.link import band_at, corrected, doubt_windows, error_at
from excursions.plant import Installation, Plant, Point
from excursions.records import (
    KEPT_BEFORE,
    LABORATORY,
    LEFT_OFF,
    RETURNED,
    SHOWED_IT,
    Calibration,
    Doubt,
    Witness,
)
from excursions.report.wording import doubt_sentence
from tests.unit.link.builders import DAY, PLANT, calibration, event, level, shift

UTC = ZoneInfo("UTC")
LEFT = {"slope": 99.0, "zero_point": 7.0}


def windows(  # type: ignore[no-untyped-def]
    found, events, calibrations=(), *, plant=PLANT, samples=None, kept=(), **levels
) -> tuple[Doubt, ...]:
    return doubt_windows(found, events, calibrations, levels, plant, samples, kept=kept)


def at(*days: float) -> np.ndarray:
    return np.array([int(d * DAY) for d in days], dtype=np.int64)


def test_a_drift_grows_while_it_lasts_and_stays() -> None:
    (one,) = windows([shift(0.4)], [event("drift", 10, -0.4, length_h=240)], ph=level(7.0))
    assert one.basis == "drift"
    assert error_at(at(15, 25), one) == pytest.approx([-0.2, -0.4], abs=0.03)
    assert DAY * 11 < one.start < DAY * 13.5


def test_the_window_opens_at_the_step_that_began_the_error() -> None:
    step = event("step", 12, -0.42)
    (one,) = windows([shift(0.43)], [step], ph=level(7.0))
    assert abs(one.start - step.start) <= NS_PER_HOUR
    assert one.event == step.id


def test_a_window_does_not_open_before_what_did_it_though_something_unseen_may_have() -> None:
    """What is unseen, or weak, leaves a tenth of doubt about the time before; the event that leads marks the start."""
    lead = event("over_temperature", 20, 149.0, confidence=0.8)
    stir = event("noise_growth", 12, 10.0, confidence=0.45, origin="undecided")
    found = [shift(-0.377), shift(-6.9, parameter="slope", u=0.9)]
    (one,) = windows(found, [stir, lead], ph=level(4.5))
    assert one.event == lead.id
    assert one.start == lead.start


def test_a_calibration_within_tolerance_opens_nothing() -> None:
    assert windows([shift(0.05)], [], ph=level(7.0)) == ()


def test_of_a_reading_of_which_nobody_knows_what_error_matters_a_trifle_is_not_doubted() -> None:
    """Half a percent of it is what two bottles differ by; a tenth is an error whatever it measures."""
    plant = Plant(points=(Point(name="x", measurand="other"),))

    def found(gain: float) -> tuple[Doubt, ...]:
        one = replace(shift(gain, parameter="gain", u=0.012, point="other"), point="x")
        return windows([one], [], plant=plant, x=level(1200.0, wave=30.0))

    assert found(0.005) == ()
    assert len(found(0.1)) == 1


def test_a_slope_loss_matters_where_the_process_is_far_from_the_zero() -> None:
    lost = [shift(-9.0, parameter="slope", u=0.5)]
    assert windows(lost, [], ph=level(7.0)) == ()
    assert windows(lost, [], ph=level(4.0)) != ()


def test_the_error_follows_the_level_of_the_process() -> None:
    """Conductivity: an error of a tenth, while the level halves in mid-interval."""
    line = level(1000.0)
    value = np.where(line.time < 20 * DAY, 1000.0, 500.0)
    halved = type(line)(time=line.time, value=value, temperature=line.temperature)
    step = event("step", 5, -100.0, point="conductivity", size_unit="uS/cm")
    (one,) = windows(
        [shift(0.11, parameter="cell_constant", point="conductivity", u=0.005)], [step], conductivity=halved
    )
    assert error_at(at(15, 25), one) == pytest.approx([-110.0, -55.0], rel=0.1)


def test_readings_after_the_calibration_have_no_part_in_the_error_before_it() -> None:
    """Conductivity: an error of a tenth of 500, though the reading doubles in the hour it is set right."""
    line = level(500.0)
    value = np.where(line.time < 30 * DAY, 500.0, 1000.0)
    raised = type(line)(time=line.time, value=value, temperature=line.temperature)
    step = event("step", 5, -50.0, point="conductivity", size_unit="uS/cm")
    (one,) = windows(
        [shift(0.11, parameter="cell_constant", point="conductivity", u=0.005)], [step], conductivity=raised
    )
    assert [error for _, error in one.knots[-3:]] == pytest.approx([-55.0] * 3, rel=0.1)


def test_an_error_of_a_cell_is_also_told_as_a_share_of_the_reading() -> None:
    """K = 1.00 was used, 1.11 was true: whatever it read, it read 11 % of the reading too low; a zero has no such share."""
    step = event("step", 5, -110.0, point="conductivity", size_unit="uS/cm")
    found = shift(0.11, parameter="cell_constant", point="conductivity", u=0.005)
    (one,) = windows([found], [step], conductivity=level(1000.0))
    assert one.share == pytest.approx(-0.11, abs=0.01)
    assert "11.0 % of the reading low" in doubt_sentence(one, "uS/cm", UTC)
    (other,) = windows([shift(0.4)], [event("step", 10, -0.4)], ph=level(7.0))
    assert np.isnan(other.share)


def test_a_laboratory_sample_pins_the_error() -> None:
    """Nothing in the record: even proration puts half the error in the middle; a good sample there says it was all right."""
    plain = windows([shift(0.6)], [], ph=level(7.0))[0]
    sampled = windows([shift(0.6)], [], ph=level(7.0), samples={"ph": (at(15), np.array([7.02]))})[0]
    assert error_at(at(15), plain)[0] == pytest.approx(-0.3, abs=0.01)
    assert abs(error_at(at(16), sampled)[0] if sampled.start < 16 * DAY else 0.0) < 0.12
    assert any("1 laboratory sample in between" in reason for reason in sampled.reasons)


def test_samples_that_nothing_explains_decide_themselves() -> None:
    """Dirt that was cleaned off before the calibration: it left no shift and no event, but five samples saw it."""
    samples = {"ph": (np.array([5, 9, 13, 17, 21]) * DAY, np.array([6.98, 6.0, 6.0, 6.0, 7.02]))}
    window = windows([shift(-0.3)], [], ph=level(7.0), samples=samples)[0]
    assert window.basis == "laboratory samples"
    assert error_at(at(13), window)[0] == pytest.approx(1.0, abs=0.15)
    assert error_at(at(29.9), window)[0] == pytest.approx(0.3, abs=0.1)
    assert band_at(at(11), window)[0] > band_at(at(9), window)[0]
    assert any("so they decide" in reason for reason in window.reasons)


def test_many_samples_pin_the_error_as_closely_as_a_few() -> None:
    """Dirt that grew for 24 days and fell off before the calibration, sampled daily: no draw agrees with every sample."""
    days = np.arange(1.0, 29.0)
    dirt = np.where(days < 24.5, days / 24.0, 0.0)
    samples = {"ph": (at(*days), 7.0 - dirt)}
    (window,) = windows([shift(-0.3)], [event("drift", 2, 1.0, length_h=530)], ph=level(7.0), samples=samples)
    assert error_at(at(12, 20, 24), window) == pytest.approx([12 / 24, 20 / 24, 1.0], abs=0.12)
    assert np.all(band_at(at(12, 20, 24), window) < 0.25)


def test_what_samples_saw_is_doubted_though_the_calibration_after_it_found_nothing() -> None:
    """The window opens after the last sample that agreed, and names the event that the samples saw."""
    seen = Witness(source=LABORATORY, said=SHOWED_IT, words="samples show it")
    drift = replace(event("drift", 5, 0.8, length_h=480), witnesses=(seen,))
    samples = {"ph": (at(4, 7, 13, 19, 24), np.array([7.0, 6.98, 6.7, 6.4, 6.2]))}
    found = [shift(0.02)]
    assert windows(found, [replace(drift, witnesses=())], ph=level(7.0), samples=samples) == ()
    (window,) = windows(found, [drift], ph=level(7.0), samples=samples)
    assert (window.basis, window.event) == ("laboratory samples", drift.id)
    assert window.start == 7 * DAY
    assert error_at(at(19), window)[0] == pytest.approx(0.6, abs=0.15)
    assert window.reasons[0].startswith("found in tolerance, when samples before it had shown an error")


@pytest.mark.parametrize("calibrated", [False, True], ids=["never calibrated", "found right later"])
def test_what_samples_saw_come_and_go_is_doubted_while_it_was_there(calibrated: bool) -> None:
    """A drift that somebody took off at once and wrote nothing of: what is after it is right again."""
    seen = Witness(source=LABORATORY, said=SHOWED_IT, words="samples show it")
    drift = event("drift", 5, 0.8, length_h=480)
    drift = replace(drift, witnesses=(seen,), details={RETURNED: 20 * 86_400.0})
    samples = {"ph": (at(4, 7, 13, 19, 24, 27), np.array([7.0, 6.98, 6.7, 6.4, 6.2, 7.0]))}
    found = [shift(0.02)] if calibrated else []
    (window,) = windows(found, [drift], ph=level(7.0), samples=samples)
    assert (window.event, window.end, window.open_end) == (drift.id, 25 * DAY, False)
    assert error_at(at(19), window)[0] == pytest.approx(0.6, abs=0.15)
    assert windows(found, [replace(drift, witnesses=())], ph=level(7.0), samples=samples) == ()


@pytest.mark.parametrize(
    ("values", "opens"),
    [((7.0, 6.4, 6.4), 13), ((7.0, 7.0, 6.4), None), ((7.0, 6.4, 7.6), None), ((6.4, 6.4, 7.0), None)],
)
def test_two_last_samples_that_say_the_same_open_a_window_without_any_event(
    values: tuple[float, ...], opens: int | None
) -> None:
    found = windows([], [], ph=level(7.0), samples={"ph": (at(13, 19, 24), np.array(values))})
    assert [(window.start // DAY, window.open_end, window.basis) for window in found] == (
        [] if opens is None else [(opens, True, "laboratory samples")]
    )
    assert all(error_at(at(24), window)[0] == pytest.approx(0.6, abs=0.1) for window in found)


def test_a_window_that_samples_show_is_over_when_two_of_them_agree_again() -> None:
    seen = Witness(source=LABORATORY, said=SHOWED_IT, words="samples show it")
    drift = replace(event("drift", 5, 0.8, length_h=240), witnesses=(seen,))
    days, values = (4, 7, 11, 15, 19, 23, 27), [7.0, 6.8, 6.5, 6.2, 7.0, 7.01, 6.99]
    (window,) = windows([], [drift], ph=level(7.0), samples={"ph": (at(*days), np.array(values))})
    assert (window.event, window.open_end, window.end) == (drift.id, False, 19 * DAY)
    (still,) = windows([], [drift], ph=level(7.0), samples={"ph": (at(*days[:5]), np.array(values[:5]))})
    assert still.open_end


def test_samples_that_agree_with_the_record_leave_its_shape_alone() -> None:
    step = event("step", 10, -0.6)
    samples = {"ph": (np.array([4, 14, 24]) * DAY, np.array([7.01, 7.57, 7.62]))}
    plain = windows([shift(0.6)], [step], ph=level(7.0))[0]
    sampled = windows([shift(0.6)], [step], ph=level(7.0), samples=samples)[0]
    assert sampled.basis == "step"
    assert sampled.start == plain.start
    assert error_at(at(20), sampled)[0] == pytest.approx(error_at(at(20), plain)[0], abs=0.03)


def test_a_sample_outside_the_interval_says_nothing() -> None:
    samples = {"ph": (at(45), np.array([7.0]))}
    with_it = windows([shift(0.6)], [], ph=level(7.0), samples=samples)
    assert repr(with_it) == repr(windows([shift(0.6)], [], ph=level(7.0)))


def test_a_failed_verification_stays_open_until_somebody_adjusts() -> None:
    calibrations = [
        calibration(1.0, found=LEFT, left=LEFT),
        calibration(30.0, found={"slope": 99.0, "zero_point": 7.4}, action="verification"),
    ]
    (one,) = windows([], [], calibrations, ph=level(7.0))
    assert one.open_end
    assert one.basis == LEFT_OFF
    assert one.start == 30 * DAY
    assert error_at(at(40), one)[0] == pytest.approx(-0.4, abs=0.02)


def test_what_a_verification_found_off_stays_off_and_is_no_ageing() -> None:
    """Off by 0.4 pH at the verification, which adjusts nothing, and at the calibration after it, which finds no further shift."""
    off = {**LEFT, "zero_point": 7.4}
    rows = [calibration(1.0, found=LEFT, left=LEFT), calibration(30.0, found=off, action="verification"), calibration(45.0, found=off, left=off)]  # fmt: skip
    between = replace(shift(0.0, start=30.0, end=45.0), before=7.4, after=7.4)
    (one,) = windows([between], [], rows, ph=level(7.0))
    assert (one.start, one.end, one.basis) == (30 * DAY, 45 * DAY, LEFT_OFF)
    assert error_at(at(31, 44), one) == pytest.approx([-0.4, -0.4], abs=0.03)
    assert one.reasons[1].startswith("off already at the calibration before")
    assert "found off before and not adjusted" in doubt_sentence(one, "pH", UTC)


def test_what_a_verification_found_off_and_the_next_one_found_right_was_wrong_in_between() -> None:
    off = {**LEFT, "zero_point": 7.4}
    rows = [calibration(1.0, found=LEFT, left=LEFT), calibration(30.0, found=off, action="verification"), calibration(45.0, found=LEFT, left=LEFT)]  # fmt: skip
    between = replace(shift(-0.4, start=30.0, end=45.0), before=7.4, after=7.0)
    (one,) = windows([between], [], rows, ph=level(7.0))
    assert (one.start, one.basis) == (30 * DAY, LEFT_OFF)
    assert error_at(at(30.1, 44.9), one) == pytest.approx([-0.4, 0.0], abs=0.05)


def test_a_good_verification_leaves_nothing_open() -> None:
    calibrations = [
        calibration(1.0, found=LEFT, left=LEFT),
        calibration(30.0, found=LEFT, action="verification"),
    ]
    assert windows([], [], calibrations, ph=level(7.0)) == ()


def test_an_open_window_ends_when_the_probe_is_taken_out() -> None:
    plant = Plant(
        points=(Point(name="ph", measurand="ph"),),
        installations=(Installation(probe="S1", point="ph", end=50 * DAY),),
    )
    (one,) = windows(
        [], [event("step", 40, -0.4)], [calibration(1.0, found=LEFT, left=LEFT)], plant=plant, ph=level(7.0)
    )
    assert (one.end, one.open_end) == (50 * DAY, False)


def test_what_a_later_calibration_looked_at_is_not_open() -> None:
    rows = [calibration(1.0, found=LEFT, left=LEFT), calibration(50.0, found=LEFT, left=LEFT)]
    assert windows([], [event("step", 40, -0.4)], rows, ph=level(7.0)) == ()


def put_right(after: float) -> Levels:
    """A quiet pH 7 that an error of -0.4 pH from day 40 takes down, and that stands at `after` from day 50 on."""
    line = level(7.0, days=100, wave=0.02)
    error = np.select([line.time < 40 * DAY, line.time < 50 * DAY], [0.0, -0.4], after - 7.0)
    return replace(line, value=line.value + error)


@pytest.mark.parametrize("left", [LEFT, {}])
def test_before_a_calibration_that_wrote_down_only_what_it_left_a_step_is_doubted_up_to_it(
    left: dict[str, float],
) -> None:
    rows = [calibration(1.0, left=left), calibration(50.0, left=left)]
    step = event("step", 40, -0.4)
    (one,) = windows([], [step], rows, ph=put_right(7.0))
    assert (one.open_end, one.end, one.event) == (False, 50 * DAY, step.id)
    assert abs(one.start - step.start) <= NS_PER_HOUR
    assert error_at(at(45), one)[0] == pytest.approx(-0.4, abs=0.03)
    assert "nobody entered" in one.reasons[0]


def test_a_step_that_an_adjustment_takes_back_is_the_probes_though_the_record_alone_cannot_tell() -> None:
    rows = [calibration(1.0, left=LEFT), calibration(50.0, left=LEFT)]
    step = event("step", 40, -0.4, origin="undecided", confidence=0.4)
    (one,) = windows([], [step], rows, ph=put_right(7.0))
    assert one.event == step.id
    assert band_at(at(45), one)[0] < 0.2
    # The reading stays where it went: the process, for all that anybody knows.
    assert windows([], [step], rows, ph=put_right(6.6)) == ()
    # A check that says that all is well, and adjusts nothing, took nothing back.
    checked = [calibration(1.0, left=LEFT), calibration(50.0, action="verification")]
    assert windows([], [step], checked, ph=put_right(7.0)) == ()


def test_what_comes_back_with_an_adjustment_is_a_second_measurement_of_a_step() -> None:
    """Seen as -0.5 pH within a tenth of that, put right by 0.4 pH in a process that moves by hardly 0.01 pH itself."""
    rows = [calibration(1.0, left=LEFT), calibration(50.0, left=LEFT)]
    (one,) = windows([], [event("step", 40, -0.5)], rows, ph=put_right(7.0))
    assert error_at(at(45), one)[0] == pytest.approx(-0.4, abs=0.04)


def test_what_went_back_by_itself_leaves_nothing_open() -> None:
    rows = [calibration(1.0, found=LEFT, left=LEFT)]
    assert len(windows([], [event("step", 40, -0.4)], rows, ph=level(7.0))) == 1
    assert windows([], [event("step", 40, -0.4, details={RETURNED: 3_600.0})], rows, ph=level(7.0)) == ()


def test_a_copied_entry_looked_at_nothing() -> None:
    rows = [calibration(1.0, found=LEFT, left=LEFT), calibration(50.0, found=LEFT, left=LEFT, copied=True)]
    assert len(windows([], [event("step", 40, -0.4)], rows, ph=level(7.0))) == 1


TWO = Plant(
    points=(Point(name="ph", measurand="ph"), Point(name="other", measurand="ph")),
    installations=(
        Installation(probe="S1", point="other", end=28 * DAY),
        Installation(probe="S1", point="ph", start=28 * DAY),
    ),
)


def test_the_doubt_falls_where_the_probe_stood_when_it_went_wrong() -> None:
    """Stepped at its old point on day 12, moved on day 28, found off at the new one on day 30."""
    step = event("step", 12, -0.42, point="other")
    old, new = windows([shift(0.43)], [step], plant=TWO, other=level(7.0), ph=level(7.0))
    assert (old.point, old.end) == ("other", 28 * DAY)
    assert abs(old.start - step.start) <= NS_PER_HOUR
    assert (new.point, new.start, new.end) == ("ph", 28 * DAY, 30 * DAY)


def test_what_nobody_verified_goes_with_the_probe_to_its_next_point() -> None:
    rows = [calibration(1.0, found=LEFT, left=LEFT)]
    step = event("step", 12, -0.42, point="other")
    old, new = windows([], [step], rows, plant=TWO, other=level(7.0), ph=level(7.0))
    assert (old.point, old.end, old.open_end) == ("other", 28 * DAY, False)
    assert (new.point, new.start, new.open_end) == ("ph", 28 * DAY, True)


def test_a_doubtful_step_has_a_band_that_reaches_zero() -> None:
    (one,) = windows(
        [],
        [event("step", 40, -0.4, origin="undecided")],
        [calibration(1.0, found=LEFT, left=LEFT)],
        ph=level(7.0),
    )
    middle, half = error_at(at(45), one)[0], band_at(at(45), one)[0]
    assert middle - half <= -0.35
    assert middle + half >= 0.0


def test_a_correction_never_touches_the_original() -> None:
    (one,) = windows([shift(0.42)], [event("step", 12, -0.42)], ph=level(7.0))
    time, value = at(5, 20), np.array([7.0, np.nan])
    made = corrected(time, value, one)
    assert made is not value
    assert made[0] == 7.0
    assert np.isnan(made[1])


def test_a_window_without_knots_corrects_nothing() -> None:
    empty = Doubt(
        point="ph",
        probe="",
        start=0,
        end=DAY,
        open_end=False,
        knots=(),
        band=(),
        basis="step",
        hours_out_of_tolerance=0.0,
    )
    assert error_at(at(0.5), empty) == pytest.approx([0.0])


def test_without_levels_a_ph_error_is_told_at_ph_7() -> None:
    (one,) = windows([shift(0.42)], [])
    assert error_at(at(29.9), one)[0] == pytest.approx(-0.42, abs=0.01)


def test_without_levels_a_conductivity_error_cannot_be_told() -> None:
    assert windows([shift(0.2, parameter="cell_constant", point="conductivity")], []) == ()


def test_a_drift_that_goes_on_after_the_last_calibration_is_open_for_the_rest() -> None:
    """Ten days of -0.5 pH, calibrated after two: four fifths are still to come; a little less for the chance of none."""
    rows = [calibration(1.0, found=LEFT, left=LEFT), calibration(30.0, found=LEFT, left=LEFT)]
    (one,) = windows([], [event("drift", 28, -0.5, length_h=240)], rows, ph=level(7.0))
    assert one.open_end
    assert error_at(at(45), one)[0] == pytest.approx(-0.4, abs=0.12)


def test_after_an_adjustment_that_was_not_taken_over_the_reading_stays_wrong() -> None:
    """Zero 7.0 used, 7.3 true and entered on day 30, and the reading never moved: it goes on 0.3 pH too low."""
    rows = [calibration(5.0, found=LEFT, left=LEFT), calibration(30.0, found={**LEFT, "zero_point": 7.3}, left={**LEFT, "zero_point": 7.3})]  # fmt: skip
    (one,) = windows([], [], rows, kept=[rows[1].id], ph=level(6.0))
    assert (one.start, one.open_end, one.basis) == (30 * DAY, True, KEPT_BEFORE)
    assert error_at(at(31, 50), one) == pytest.approx([-0.3, -0.3], abs=0.02)
    assert any("does not show the adjustment" in reason for reason in one.reasons)
    assert windows([], [], rows, ph=level(6.0)) == ()


def test_what_was_put_right_by_itself_before_the_next_calibration_was_wrong_all_the_same() -> None:
    """7.3 entered but never set; found at 7.02 three weeks later: in order then, and 0.3 pH low at the beginning."""
    off = {**LEFT, "zero_point": 7.3}
    rows = [calibration(5.0, found=LEFT, left=LEFT), calibration(30.0, found=off, left=off), calibration(50.0, found={**LEFT, "zero_point": 7.02}, left={**LEFT, "zero_point": 7.02})]  # fmt: skip
    between = replace(shift(-0.28, start=30.0, end=50.0), before=7.3, after=7.02)
    (one,) = windows([between], [], rows, kept=[rows[1].id], ph=level(6.0))
    assert (one.start, one.basis) == (30 * DAY, KEPT_BEFORE)
    assert error_at(at(30.1, 49.9), one) == pytest.approx([-0.3, -0.02], abs=0.03)
    assert one.reasons[0].startswith("left out of tolerance: reading off by −0.3")


def test_what_the_next_calibration_finds_is_reckoned_with_the_parameters_really_used() -> None:
    """The next one finds 7.3 still: no shift since day 30, and yet all readings between were 0.3 pH low."""
    off = {**LEFT, "zero_point": 7.3}
    rows = [calibration(5.0, found=LEFT, left=LEFT), calibration(30.0, found=off, left=off), calibration(50.0, found=off, left=off)]  # fmt: skip
    between = replace(shift(0.0, start=30.0, end=50.0), before=7.3, after=7.3)
    (one,) = windows([between], [], rows, kept=[rows[1].id], ph=level(6.0))
    assert (one.start, one.end, one.open_end) == (30 * DAY, 50 * DAY, False)
    assert error_at(at(40), one)[0] == pytest.approx(-0.3, abs=0.03)
    assert one.reasons[0].startswith("found out of tolerance: reading off by −0.3")


def test_a_log_without_numbers_is_that_of_the_probe_that_sat_there() -> None:
    """As above with nothing but the point in the log: the register says that S1 sat there all the time."""
    off = {**LEFT, "zero_point": 7.3}
    rows = [
        calibration(5.0, found=LEFT, left=LEFT, probe=""),
        calibration(30.0, found=off, left=off, probe=""),
        calibration(50.0, found=off, left=off, probe=""),
    ]
    between = replace(shift(0.0, start=30.0, end=50.0), before=7.3, after=7.3)
    plant = replace(PLANT, installations=(Installation(probe="S1", point="ph"),))
    (one,) = windows([between], [], rows, kept=[rows[1].id], plant=plant, ph=level(6.0))
    assert (one.start, one.end, one.probe) == (30 * DAY, 50 * DAY, "S1")
    assert error_at(at(40), one)[0] == pytest.approx(-0.3, abs=0.03)


def test_a_quantity_that_is_no_probes_has_no_parameters_to_doubt() -> None:
    flow = Plant(points=(Point(name="ph", measurand="other"),))
    step = event("step", 28, -0.42)
    assert windows([], [step], (), plant=flow, ph=level(7.0)) == ()
    assert windows([], [step], (), ph=level(7.0)) != ()


def test_a_drift_whose_onset_is_vague_may_have_begun_before_it_was_seen() -> None:
    """Ends known to two days: just before it was seen the band holds what had grown by then, well before it and after it does not."""
    found, rows = [shift(-0.5)], [calibration(0.0, found=LEFT, left=LEFT), calibration(30.0, left=LEFT)]

    def told(unsure_d: float) -> Doubt:
        slow = event("drift", 12.0, 0.5, length_h=240, onset_uncertainty_s=unsure_d * 86_400.0)
        (one,) = windows(found, [slow], rows, ph=level(7.0))
        return one

    sharp, vague = told(0.0), told(2.0)
    assert vague.start < sharp.start
    assert band_at(at(14.0), vague)[0] > 2.0 * band_at(at(14.0), sharp)[0]
    assert error_at(at(17.0, 29.0), vague) == pytest.approx(error_at(at(17.0, 29.0), sharp), abs=0.03)
    assert band_at(at(29.0), vague)[0] == pytest.approx(band_at(at(29.0), sharp)[0], abs=0.02)


def test_readings_in_standards_tell_their_error_at_the_first_look_already() -> None:
    """Buffers read against nominal parameters: pH 6.6 in buffer 7.0 is 0.4 pH too low, whatever was set before."""
    checks = [
        replace(one, as_found={n: replace(p, basis="relative") for n, p in one.as_found.items()})
        for one in (calibration(day, found={"slope": 100.0, "zero_point": 7.4}, action="verification") for day in (5.0, 30.0))
    ]  # fmt: skip
    between = replace(shift(0.0, start=5.0, end=30.0), before=7.4, after=7.4)
    closed, opened = windows([between], [], checks, ph=level(7.0))
    assert (closed.start, closed.end, opened.start, opened.open_end) == (5 * DAY, 30 * DAY, 30 * DAY, True)
    assert error_at(at(20.0, 50.0), closed)[0] == pytest.approx(-0.4, abs=0.03)
    assert error_at(at(50.0), opened)[0] == pytest.approx(-0.4, abs=0.03)


def test_what_was_set_before_the_first_raw_values_is_a_guess_and_said_to_be() -> None:
    checks = [calibration(5.0, found=LEFT, action="verification"), calibration(30.0, found={**LEFT, "zero_point": 7.4}, left=LEFT)]  # fmt: skip
    (one,) = windows([shift(0.4, start=5.0)], [], checks, ph=level(7.0))
    assert one.reasons[-1].startswith("no adjustment before it is in the log")
    known = [replace(checks[0], action="calibration", as_left=checks[0].as_found), checks[1]]
    (one,) = windows([shift(0.4, start=5.0)], [], known, ph=level(7.0))
    assert not any("no adjustment before it" in reason for reason in one.reasons)


def first_look(zero: float, basis: str) -> list[Calibration]:
    """The only calibration of a log, on day 50."""
    one = calibration(
        50.0, found={"slope": 100.0, "zero_point": zero}, left={"slope": 100.0, "zero_point": 7.0}
    )
    return [replace(one, as_found={n: replace(p, basis=basis) for n, p in one.as_found.items()})]


def test_a_step_before_the_first_calibration_of_a_log_is_doubted_up_to_it() -> None:
    """Nothing before it to compare with; the reading comes back with the adjustment, and that tells how far it was off."""
    (one,) = windows([], [event("step", 40, -0.4)], first_look(7.4, "computed"), ph=put_right(7.0))
    assert (one.start, one.end, one.basis) == (40 * DAY, 50 * DAY, "step")
    assert error_at(at(45.0), one)[0] == pytest.approx(-0.4, abs=0.05)
    assert one.reasons[0].startswith("no calibration before the one at its end to compare with")


def test_readings_in_standards_bear_out_or_refute_what_came_before_the_first_calibration() -> None:
    step = event("step", 40, -0.4, origin="undecided")
    (one,) = windows([], [step], first_look(7.4, "relative"), ph=level(7.0))
    assert error_at(at(45.0), one)[0] == pytest.approx(-0.4, abs=0.05)
    assert band_at(at(45.0), one)[0] < 0.1
    assert windows([], [step], first_look(7.0, "relative"), ph=level(7.0)) == ()


def test_samples_are_told_once_where_a_one_point_calibration_parts_the_interval_of_the_zero_alone() -> None:
    """The slope goes on from day 0, the zero from day 30: what samples show since then is no error of the days before."""
    slope = shift(-0.1, parameter="slope", u=0.6, end=60)
    zero = shift(-0.3, start=30, end=60)
    seen = Witness(words="laboratory samples show it", source=LABORATORY, said=SHOWED_IT)
    drift = event("drift", 31, 0.3, length_h=24, witnesses=(seen,))
    day = np.arange(33, 60, 4)
    told = windows([slope, zero], [drift], ph=level(7.0), samples={"ph": (day * DAY, np.full(day.size, 6.7))})
    assert all(one.start >= 30 * DAY for one in told)
    assert len(told) == 1
