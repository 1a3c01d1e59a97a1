"""What became of a change of level, and what else moved when it came."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.evidence.afterwards import went_back
from excursions.detect.evidence.origin import Clue, tempered
from excursions.detect.level.step import detect_step
from excursions.detect.series.survey import survey_of
from excursions.detect.slow.drift import detect_drift
from excursions.detect.slow.response import detect_slow_response
from excursions.records import MEASURING, STEAMING
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    state_line,
    with_ramp,
    with_step,
)

N = 8_640
SEEDS = pytest.mark.parametrize("seed", range(3))
AT = np.arange(N)


def river(seed: int) -> np.ndarray:
    """Sixty days at ten minutes: wandering over hours and days."""
    return coloured(N, 7.2, 0.03, 6, seed) + coloured(N, 0.0, 0.04, 300, seed + 40) + level(N, 0, 0.003, seed)


def dip(at: int, size: float, tau: float) -> np.ndarray:
    """Down within an hour and a half, back over hours."""
    since = np.maximum(AT - at, 0)
    return np.where(at <= AT, -size * np.minimum(since / 9, 1) * np.exp(-since / tau), 0.0)


@SEEDS
def test_a_dip_that_returns_over_hours_leaves_nothing_behind(seed: int) -> None:
    found = detect_step(make_record(river(seed) + dip(4_000, 0.5, 90), every_s=600.0))
    assert all(event.went_back or event.origin == "process" for event in found)
    assert not any("did not come back" in event.evidence for event in found if event.origin != "process")


@SEEDS
def test_a_step_that_stays_says_so(seed: int) -> None:
    (event,) = detect_step(make_record(with_step(river(seed), 4_000, 0.5), every_s=600.0))
    assert "did not come back" in event.evidence
    assert not event.went_back


@SEEDS
@pytest.mark.parametrize("told_by", ["samples", "neighbour"])
def test_a_step_stays_where_the_process_took_the_reading_back(told_by: str, seed: int) -> None:
    """A probe 0.4 high from then on; a week later the process goes down by as much for good, and the probe beside it too."""
    truth = with_ramp(river(seed), 6_500, 6_560, -0.4)
    value = with_step(truth, 5_500, 0.4) + level(N, 0, 0.003, seed + 9)
    every = np.arange(70, N, 144)
    beside = {"B": make_signal(truth + level(N, 0, 0.003, seed + 5), every_s=600.0, measurand="ph")}
    drawn = {"sample_time": grid(N, 600.0)[every], "sample_value": truth[every]}
    given = drawn if told_by == "samples" else {"neighbours": beside}
    (event,) = (e for e in detect_step(make_record(value, every_s=600.0, **given)) if e.origin == "probe")
    assert abs(event.start - T0) / (600 * NS_PER_S) == pytest.approx(5_500, abs=2)
    assert not event.went_back
    assert not any("by itself" in fact for fact in event.evidence)


@SEEDS
def test_a_step_is_not_withdrawn_because_a_longer_record_passes_by_the_old_level(seed: int) -> None:
    """Three weeks, then half a year more of a medium that wanders over days as far as half the step."""
    n, at = 28_000, 3_000
    river = (
        coloured(n, 7.8, 0.05, 36, seed) + coloured(n, 0.0, 0.08, 1_000, seed + 20) + level(n, 0, 0.003, seed)
    )
    survey = survey_of(make_record(with_step(river, at, 0.5), every_s=600.0))
    assert survey is not None
    (change,) = [one for one in survey.changes if one.size > 0.4]
    before = float(np.median(survey.blocks.level[change.at - 4 : change.at]))
    assert not went_back(survey, change.at, len(survey.blocks), before, 0.5)


@SEEDS
@pytest.mark.parametrize("away", [12, 150, 1_500])
def test_what_stays_back_has_gone_back(seed: int, away: int) -> None:
    river = coloured(N, 7.8, 0.03, 36, seed) + level(N, 0, 0.003, seed)
    survey = survey_of(make_record(with_step(river, 3_000, 0.5, 3_000 + away), every_s=600.0))
    assert survey is not None
    at = survey.blocks.at(T0 + 3_000 * 600 * NS_PER_S) + 1
    assert went_back(survey, at, len(survey.blocks), 7.8, 0.5)


@SEEDS
def test_the_return_to_the_usual_level_after_steam_is_no_step(seed: int) -> None:
    """A line blown empty, and filled again five minutes after the temperature was back."""
    value = coloured(20_000, 450.0, 1.0, 60, seed) + level(20_000, 0, 0.5, seed)
    value[9_000:9_400] = 20.0 + level(400, 0, 0.5, seed)
    second = NS_PER_S
    states = state_line(
        [
            (T0, T0 + 9_000 * second, MEASURING),
            (T0 + 9_000 * second, T0 + 9_100 * second, STEAMING),
            (T0 + 9_100 * second, T0 + 20_000 * second, MEASURING),
        ]
    )
    record = make_record(value, every_s=1.0, measurand="conductivity", states=states)
    assert detect_step(record) == ()
    elsewhere = value.copy()
    elsewhere[9_400:] += 200.0  # but not to where it was
    assert len(detect_step(make_record(elsewhere, every_s=1.0, measurand="conductivity", states=states))) == 1


@SEEDS
def test_a_step_behind_a_slow_probe_amid_wandering_is_told_once(seed: int) -> None:
    """It comes within ten minutes; the process wanders as far in a day."""
    n, at = 43_200, 20_000
    base = coloured(n, 6.9, 0.08, 1_440, seed) + coloured(n, 0, 0.03, 60, seed + 7) + level(n, 0, 0.003, seed)
    late = np.where(np.arange(n) >= at, -0.5 * (1 - np.exp(-np.maximum(np.arange(n) - at, 0) / 3.3)), 0.0)
    found = [e for e in detect(make_record(base + late)) if e.origin != "process"]
    assert [event.kind for event in found] == ["step"]
    assert abs((found[0].start - T0) / NS_PER_S / 60 - at) <= 10


@SEEDS
def test_the_season_is_no_drift(seed: int) -> None:
    hour = np.arange(8_760)
    temperature = 12 - 8 * np.cos(2 * np.pi * hour / 8_760) + coloured(8_760, 0, 1.5, 60, seed)
    oxygen = 14.6 - 0.39 * temperature + 0.0055 * temperature**2  # saturation falls so (memory, not a source)
    record = make_record(oxygen, temperature, every_s=3_600.0, measurand="oxygen")
    assert [event for event in detect_drift(record) if event.origin != "process"] == []


@SEEDS
def test_a_rise_within_days_is_no_straight_walk_over_the_whole_record(seed: int) -> None:
    value = with_ramp(coloured(N, 9.1, 0.05, 12, seed) + level(N, 0, 0.004, seed), 4_000, 4_360, 0.07)
    found = detect_drift(make_record(value, every_s=600.0))
    assert not any("a straight walk over the whole record" in event.evidence for event in found)


def test_a_signal_that_never_moves_with_the_process_says_nothing_by_keeping_still() -> None:
    def still(odds: float) -> tuple[Clue, ...]:
        return (Clue(odds=odds, words="kept still", source="T"),)

    alone = tempered([still(6.0)])
    assert alone == [still(6.0)]
    among = tempered([still(6.0)] * 8)
    assert 1.0 <= among[0][0].odds < 1.5
    moving = tempered([still(6.0), *[(Clue(odds=0.15, words="moved", source="T"),)] * 7])
    assert moving[0][0].odds == 6.0


def test_a_neighbour_of_another_quantity_is_no_witness_by_keeping_still() -> None:
    """Both follow the hour of the day; that does not make them two probes for one thing."""
    day = np.sin(2 * np.pi * AT / 144)
    value = with_step(river(1) + 0.3 * day, 5_000, 0.4)
    other = 1_000 + 100 * day + coloured(N, 0, 10, 60, 5)
    same = make_record(
        value, every_s=600.0, neighbours={"B": make_signal(other / 333, every_s=600.0, measurand="ph")}
    )
    strange = make_record(
        value, every_s=600.0, neighbours={"B": make_signal(other, every_s=600.0, measurand="conductivity")}
    )
    assert max(e.confidence for e in detect_step(strange)) < max(e.confidence for e in detect_step(same))


def test_a_pair_of_equal_levels_has_no_time_constant() -> None:
    """Before and after may be the same to the last digit."""
    with np.errstate(all="raise"):
        value = np.where((AT // 500) % 2 == 0, 5.0, 6.0)
        detect_slow_response(make_record(value, every_s=600.0))


@SEEDS
def test_a_step_made_in_a_steaming_is_no_drift_that_began_before_it(seed: int) -> None:
    """The process wanders over hours; the line is steamed for two of them, and the reading stays off afterwards."""
    n, at, over = 43_200, 20_000, 20_120
    value = coloured(n, 6.9, 0.06, 120, seed) + level(n, 0, 0.004, seed)
    value[at:over] = 5.0
    value[over:] += 0.25
    states = state_line(
        [
            (T0, T0 + at * 60 * NS_PER_S, MEASURING),
            (T0 + at * 60 * NS_PER_S, T0 + over * 60 * NS_PER_S, STEAMING),
            (T0 + over * 60 * NS_PER_S, T0 + n * 60 * NS_PER_S, MEASURING),
        ]
    )
    (event,) = (
        event for event in detect(make_record(value, states=states)) if event.kind in ("step", "drift")
    )
    assert event.kind == "step"
    assert (event.start - T0) / NS_PER_S / 60 == pytest.approx(over, abs=1)
    assert event.size == pytest.approx(0.25, abs=0.06)
