"""Laboratory samples beside a reading that moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.detect.evidence.laboratory import disagreements, sample_errors, samples_clue
from excursions.detect.series.survey import survey_of
from excursions.detect.slow.drift import detect_drift
from excursions.detect.slow.walks import Walk, _contradicted
from excursions.records import Record
from tests.builders import T0, coloured, level, make_record


def sampled(seed: int, *, drift: float = 0.0) -> tuple[Record, np.ndarray]:
    """Ninety days at a minute with set-points every second day; a sample a week, one of them while the reading is on its way."""
    n = 90 * 1_440
    at = np.arange(n)
    medium = 45.0 + coloured(n, 0.0, 0.6, 30, seed)
    for number, when in enumerate(range(700, n, 2_880)):
        medium += np.where(at >= when, (-1) ** number * 15.0 * (1 - np.exp(-(at - when).clip(0) / 8.0)), 0.0)
    when = T0 + 2 * NS_PER_HOUR + 7 * NS_PER_DAY * np.arange(1, 12, dtype=np.int64)
    when[5] = T0 + (700 + 14 * 2_880 + 3) * 60 * 10**9  # three minutes after a set-point
    place = (when - T0) // (60 * 10**9)
    value = medium[place - 2] + level(when.size, 0.0, 0.2, seed + 3)  # noted two minutes late
    reading = medium + drift * np.clip((at - 60_000) / 30_000, 0, 1) + level(n, 0.0, 0.2, seed + 5)
    record = make_record(reading, measurand="oxygen_saturation", sample_time=when, sample_value=value)
    return record, when


@pytest.mark.parametrize("seed", range(4))
def test_a_sample_drawn_while_the_reading_is_on_its_way_says_nothing(seed: int) -> None:
    record, when = sampled(seed)
    survey = survey_of(record)
    assert survey is not None
    errors = sample_errors(record, survey)
    assert when[5] not in errors.time
    assert errors.time.size == when.size - 1
    assert np.abs(errors.error).max() < 3.0
    assert disagreements(record, survey) == ()


@pytest.mark.parametrize("seed", range(4))
def test_samples_still_show_an_error_that_grows(seed: int) -> None:
    record, _ = sampled(seed, drift=-12.0)
    survey = survey_of(record)
    assert survey is not None
    (found,) = disagreements(record, survey)
    assert found.shift == pytest.approx(-12.0, abs=2.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("taken_off", [True, False])
def test_an_error_that_went_at_once_ends_where_it_went(seed: int, taken_off: bool) -> None:
    """Growing over forty days, then taken off at once between two samples, or left."""
    n, day = 90 * 144, 144
    at = np.arange(n)
    gone = 70 * day + 30
    truth = 45.0 + coloured(n, 0.0, 0.6, 300, seed)
    error = 12.0 * np.clip((at - 30 * day) / (40 * day), 0, 1) * ((at < gone) | (not taken_off))
    when = np.arange(1, 90, 4) * day + 60
    record = make_record(
        truth + error + level(n, 0.0, 0.05, seed + 1),
        every_s=600.0,
        measurand="oxygen_saturation",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=truth[when] + level(when.size, 0.0, 0.2, seed + 2),
    )
    survey = survey_of(record)
    assert survey is not None
    (found,) = disagreements(record, survey)
    events = [e for e in detect_drift(record) if e.origin == "probe"]
    if not taken_off:
        assert found.taken_at < 0
        assert not any(e.went_back for e in events)
        return
    assert abs(survey.blocks.first[found.taken_at] - gone) <= 2 * survey.blocks.width_s / 600
    assert found.end < T0 + gone * 600 * 10**9
    (event,) = events
    assert event.back_at == event.end
    assert abs(event.end - (T0 + gone * 600 * 10**9)) <= 2 * survey.blocks.width


@pytest.mark.parametrize("seed", range(4))
def test_a_saw_tooth_is_cut_at_each_cleaning_and_its_last_tooth_stays(seed: int) -> None:
    """Three teeth of four weeks each, a sample every third day; nobody takes the last one off."""
    n, day = 100 * 144, 144
    at = np.arange(n)
    cleaned = np.array([10, 38, 66]) * day + 70
    since = (at[:, None] - cleaned[None, :]).astype(float)
    since = np.where(since >= 0, since, np.inf).min(axis=1)
    truth = 45.0 + coloured(n, 0.0, 0.6, 300, seed)
    error = 12.0 * np.where(np.isfinite(since), np.clip((since - 6 * day) / (22 * day), 0, 1), 0.0)
    when = np.arange(1, 99, 3) * day + 60
    record = make_record(
        truth + error + level(n, 0.0, 0.05, seed + 1),
        every_s=600.0,
        measurand="oxygen_saturation",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=truth[when] + level(when.size, 0.0, 0.2, seed + 2),
    )
    survey = survey_of(record)
    assert survey is not None
    found = sorted(disagreements(record, survey), key=lambda one: one.start)
    ends = [int(survey.blocks.first[one.taken_at]) if one.taken_at >= 0 else -1 for one in found]
    for end, gone in zip(ends, cleaned[1:], strict=False):
        assert abs(end - gone) <= 2 * survey.blocks.width_s / 600
    assert len(found) == 3
    assert ends[-1] == -1


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("days", [0, 3])
def test_what_a_cleaning_left_of_an_error_and_stands_is_no_error_of_its_own(days: int, seed: int) -> None:
    """Off by twelve from day 15, by a third of it once it was cleaned, at once or by and by, by nothing from day 80."""
    n, day = 100 * 144, 144
    at = np.arange(n)
    truth = 45.0 + coloured(n, 0.0, 0.6, 300, seed)
    cleaned = 12.0 - 8.0 * np.clip((at - 38 * day) / max(days * day, 1), 0, 1)
    error = np.where((at >= 15 * day) & (at < 80 * day), cleaned, 0.0)
    when = np.arange(1, 99, 5) * day + 60
    record = make_record(
        truth + error + level(n, 0.0, 0.05, seed + 1),
        every_s=600.0,
        measurand="oxygen_saturation",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=truth[when] + level(when.size, 0.0, 0.5, seed + 2),
    )
    survey = survey_of(record)
    assert survey is not None
    (found,) = disagreements(record, survey)
    assert found.end < T0 + 41 * NS_PER_DAY
    assert found.shift == pytest.approx(12.0, abs=3.0)


def test_a_walk_does_not_begin_while_samples_agree_for_long() -> None:
    """Straight over the whole record, 110 blocks of it; samples part from block 40 on."""
    walk = Walk(lo=0, hi=110, before=45.0, size=28.0, spread=1.0, expected=1e-3, straight=True)
    parted = replace(walk, lo=40, hi=108, size=24.0, straight=False, sampled=24.0)
    every_four = np.arange(3, 110, 4)
    assert _contradicted(walk, [parted], every_four)
    assert not _contradicted(walk, [parted], every_four[every_four > 38])  # no sample says that they agreed
    assert not _contradicted(replace(walk, lo=20), [parted], every_four)


def test_an_error_that_samples_show_after_a_calibration_did_not_begin_before_it() -> None:
    """Right on day 42, set wrong on day 46, off on day 49: the four days before it were as right as those before them."""
    wrong = T0 + 46 * NS_PER_DAY
    begun: dict[bool, list[int]] = {False: [], True: []}
    for seed in range(4):
        record, _ = sampled(seed)
        assert record.value is not None
        value = record.value.value + 12.0 * (record.value.time >= wrong)
        record = replace(record, value=replace(record.value, value=value))
        entered = replace(record, plant=replace(record.plant, noted=((record.point.name, wrong),)))
        for noted, asked in ((False, record), (True, entered)):
            begun[noted] += [e.start for e in detect_drift(asked) if e.kind == "drift" and e.size > 6]
    assert min(begun[False]) < wrong  # where the log says nothing
    assert min(begun[True]) >= wrong


def dirty(seed: int, *, clean_weeks: int) -> tuple[Record, np.ndarray]:
    """Seven weeks every ten minutes: clean at first, then six NTU of dirt from Friday to Friday; a sample on each Monday."""
    n, week = 7 * 1_008, 1_008
    at = np.arange(n)
    since = (at + 3 * 144) % week  # of the last cleaning
    dirt = np.where(at >= clean_weeks * week - 3 * 144, 6.0 * since / week, 0.0)
    medium = 5.0 + coloured(n, 0.0, 0.05, 60, seed)
    when = np.arange(60, n, week)
    record = make_record(
        medium + dirt + level(n, 0.0, 0.03, seed + 1),
        every_s=600.0,
        measurand="turbidity",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=medium[when] + level(when.size, 0.0, 0.03, seed + 2),
    )
    return record, at * 600 * 10**9 + T0


@pytest.mark.parametrize("seed", range(4))
def test_samples_that_agree_are_not_the_error_of_those_that_do_not(seed: int) -> None:
    """Most were taken behind dirt: what is usual then is the error, and the clean weeks before are none."""
    record, _ = dirty(seed, clean_weeks=2)
    survey = survey_of(record)
    assert survey is not None
    errors = sample_errors(record, survey).error
    assert np.count_nonzero(np.abs(errors) < 0.5) == 2
    assert disagreements(record, survey) == ()


@pytest.mark.parametrize("seed", range(4))
def test_samples_between_which_dirt_came_and_went_did_not_go_along_with_the_cleaning(seed: int) -> None:
    record, time = dirty(seed, clean_weeks=1)
    survey = survey_of(record)
    assert survey is not None
    cleaning = int(time[5 * 1_008 - 3 * 144])
    assert samples_clue(record, survey, cleaning, cleaning + 14 * NS_PER_DAY, -6.0) == ()


@pytest.mark.parametrize("seed", range(4))
def test_one_sample_that_agrees_by_chance_cuts_no_error_that_stands(seed: int) -> None:
    """Off by six from day 30 to day 80; one sample in the middle was drawn badly and says that all is well."""
    n, day = 100 * 144, 144
    at = np.arange(n)
    truth = 45.0 + coloured(n, 0.0, 0.6, 300, seed)
    error = np.where((at >= 30 * day) & (at < 80 * day), 6.0, 0.0)
    when = np.arange(1, 99, 6) * day + 60
    value = truth[when] + level(when.size, 0.0, 0.4, seed + 2)
    value[8] += 6.0
    record = make_record(
        truth + error + level(n, 0.0, 0.05, seed + 1),
        every_s=600.0,
        measurand="oxygen_saturation",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=value,
    )
    survey = survey_of(record)
    assert survey is not None
    (found,) = disagreements(record, survey)
    assert found.end > T0 + 78 * NS_PER_DAY


@pytest.mark.parametrize("seed", range(4))
def test_an_error_that_came_at_once_does_not_begin_with_what_the_process_did_later(seed: int) -> None:
    """Off by seven at an instant between two samples; two hours later the process goes down by five, then up again for ten days."""
    n, day = 120 * 144, 144
    at = np.arange(n)
    back = -5.0 * (at >= 60 * day + 12) + 5.0 * np.clip((at - 62 * day) / (10 * day), 0, 1)
    truth = 30.0 + coloured(n, 0.0, 0.3, 200, seed) + back
    when = np.arange(1, 120, 14) * day + 60
    record = make_record(
        truth + 7.0 * ((at >= 60 * day) & (at < 90 * day)) + level(n, 0.0, 0.05, seed + 1),
        every_s=600.0,
        measurand="oxygen_saturation",
        sample_time=T0 + when.astype(np.int64) * 600 * 10**9,
        sample_value=truth[when] + level(when.size, 0.0, 0.05, seed + 2),
    )
    (walk,) = detect_drift(record)
    assert walk.start <= T0 + 60 * NS_PER_DAY < walk.end
