"""The life of a probe across points, swaps and the bench, against figures worked by hand."""

from __future__ import annotations

import dataclasses
import math
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE
from excursions.conclusions import Due, HeatTally, NoiseBeside
from excursions.detect.heat.bands import tally_heat
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import Calibration, Doubt, Event, Parameter, StateLine
from excursions.report.exposures import HeatExposure, heat_exposures
from excursions.report.life import exposures_table, life_sentence, lives_table, probes_table, replacement
from excursions.report.lives import ProbeLife, probe_lives
from excursions.report.result import Levels, PointFindings, ScanResult

DAY, UTC = NS_PER_DAY, ZoneInfo("UTC")
EDGES = np.array([40.0, 60.0, 80.0, 100.0, 120.0, 130.0, 140.0])
POINTS = (Point(name="A", measurand="ph"), Point(name="B", measurand="ph"))
RATED = {
    "rating_continuous_degc": 100.0,
    "rating_sterilisation_degc": 130.0,
    "rating_sterilisation_min": 60.0,
}
P1, P2 = (
    Probe(serial="P1", measurand="ph", model="glass", **RATED),
    Probe(serial="P2", measurand="ph", **RATED),
)  # type: ignore[arg-type]


def heated(day: float, peak: float, minutes: float) -> tuple[np.ndarray, np.ndarray]:
    """Samples of a plateau between two vertical flanks of one second, at 30 degC before and after."""
    start, end = int(day * DAY), int(day * DAY + minutes * NS_PER_MINUTE)
    second = NS_PER_DAY // 86_400
    return np.array([start - second, start, end, end + second], np.int64), np.array([30.0, peak, peak, 30.0])


def noise_beside(events: tuple[Event, ...]) -> NoiseBeside:
    """Noise of 0.01 pH before each event and 0.03 after it, and other figures on its inner sides."""
    ends = np.array([t for event in events for t in (event.start, event.end)], np.int64)
    return NoiseBeside(
        time=ends, before=np.resize([0.01, 0.5], ends.size), after=np.resize([0.7, 0.03], ends.size)
    )


def findings(
    point: Point, *heat: tuple[float, float, float], events: tuple[Event, ...] = (), days: int = 20
) -> PointFindings:
    """A record of `days` at 30 degC with plateaus (day, degC, minutes); hourly levels of pH 7."""
    parts = [heated(*h) for h in heat]
    time = np.concatenate([np.array([0], np.int64), *(t for t, _ in parts), np.array([days * DAY], np.int64)])
    temp = np.concatenate([np.array([30.0]), *(v for _, v in parts), np.array([30.0])])
    hours = np.arange(days * 24, dtype=np.int64) * NS_PER_HOUR
    return PointFindings(
        point=point, start=0, end=days * DAY, samples=time.size, events=events,
        states=StateLine(start=np.array([0]), end=np.array([days * DAY]), code=np.zeros(1, np.uint8), confidence=np.ones(1), evidence=("",)),
        sampling={}, traces={}, noise_beside=noise_beside(events),
        levels=Levels(time=hours, value=np.where(hours < 5 * DAY, 7.0, 7.3), temperature=np.full(hours.size, 30.0)),
        heat=tally_heat(time, temp, EDGES, cuts=np.array([8 * DAY, 12 * DAY])),
    )  # fmt: skip


def result(points: tuple[PointFindings, ...], *rows: Installation, **more: object) -> ScanResult:
    plant = Plant(points=POINTS, probes=(P1, P2), installations=rows)
    return ScanResult(plant=plant, points=points, verdicts=(), **more)  # type: ignore[arg-type]


def calibrated(day: float, slope: float, *, point: str = "A", probe: str = "P1") -> Calibration:
    figures = {"slope": Parameter(value=slope, uncertainty=0.4, unit="%", basis="computed")}
    return Calibration(
        time=int(day * DAY), point=point, probe=probe, measurand="ph", action="calibration", as_left=figures
    )


def lives_of(made: ScanResult) -> dict[str, ProbeLife]:
    return {life.name: life for life in probe_lives(made)}


MOVED = (
    Installation(probe="P1", point="A", end=8 * DAY),
    Installation(probe="P2", point="A", start=8 * DAY),
    Installation(probe="P1", point="B", start=12 * DAY),
)


def test_heat_and_hours_follow_the_serial_number_from_point_to_point() -> None:
    # P1: 30 min at 110 at A on day 3, 12 min at 140 at B on day 15; what B saw on day 5 and A on day 10 is not its own.
    made = result(
        (
            findings(POINTS[0], (3, 110.0, 30), (10, 120.0, 60)),
            findings(POINTS[1], (5, 145.0, 60), (15, 140.0, 12)),
        ),
        *MOVED,
        calibrations=(calibrated(2, 99.0), calibrated(10, 97.0, point=""), calibrated(16, 89.0, point="B")),
    )
    lives = lives_of(made)
    p1, p2, unknown = lives["P1"], lives["P2"], lives["<B>"]
    assert p1.points == ("A", "B")
    assert p1.hours == pytest.approx(16 * 24)
    assert p2.hours == pytest.approx(12 * 24)
    assert unknown.hours == pytest.approx(12 * 24)
    assert math.fsum(p1.bands) == pytest.approx(p1.hours)
    assert p1.bands[1] * 60 == pytest.approx(30, abs=0.1)  # the flanks of a second add a few hundredths
    assert p1.bands[2] * 60 == pytest.approx(12, abs=0.1)
    assert p1.dose_h * 60 == pytest.approx(30 * 2.0 + 12 * 16.0, abs=1.0)  # 2^1 and 2^4
    assert (p1.hottest.maximum_degc, p1.hottest.point, p1.hottest.maximum_time) == (140.0, "B", 15 * DAY)  # type: ignore[union-attr]
    assert p2.hottest.maximum_degc == 120.0  # type: ignore[union-attr]
    assert [c.point for c in p1.calibrations] == ["A", "", "B"]  # the bench in between is part of its life
    assert [p.value for p in p1.tracks[0].points] == [99.0, 97.0, 89.0]
    assert p1.worn_out == "slope 89.0 % is outside its limits (USP <791>)"
    assert replacement(p1, UTC).startswith("Due for replacement or regeneration")
    assert unknown.hottest.maximum_degc == 145.0  # type: ignore[union-attr]
    assert list(lives) == ["<B>", "P1", "P2"]  # most dose first


def test_fixed_bands_add_up_and_a_level_that_was_not_tallied_is_not_guessed() -> None:
    made = result((findings(POINTS[0], (3, 110.0, 30)),), Installation(probe="P1", point="A"))
    life = lives_of(made)["P1"]
    assert math.fsum(life.fixed) == pytest.approx(20 * 24)
    assert life.fixed[4] * 60 == pytest.approx(30, abs=0.1)
    odd = dataclasses.replace(P1, rating_continuous_degc=97.0)
    other = dataclasses.replace(made, plant=dataclasses.replace(made.plant, probes=(odd,)))
    assert math.isnan(lives_of(other)["P1"].dose_h)


def test_a_swap_that_nobody_logged_cuts_the_day_in_proportion() -> None:
    # Recognised at 06:00 of day 5, on a day spent at 30 degC: no heat, but hours must neither vanish nor count twice.
    rows = (
        Installation(probe="A, probe 1", point="A", end=int(5.25 * DAY)),
        Installation(probe="A, probe 2", point="A", start=int(5.25 * DAY)),
    )
    lives = lives_of(result((findings(POINTS[0], (2, 140.0, 30), (7, 110.0, 30)),), *rows))
    first, second = lives["A, probe 1"], lives["A, probe 2"]
    assert math.fsum(first.bands) == pytest.approx(5.25 * 24)
    assert math.fsum(second.bands) == pytest.approx(14.75 * 24)
    assert [s.basis for s in (*first.stays, *second.stays)] == ["recognised", "recognised"]
    assert first.hottest.maximum_degc == 140.0  # type: ignore[union-attr]
    assert second.hottest.maximum_degc == 110.0  # type: ignore[union-attr]


def test_without_a_temperature_heat_is_not_known_and_hours_still_are() -> None:
    cold = dataclasses.replace(findings(POINTS[0]), heat=HeatTally())
    life = lives_of(result((cold,), Installation(probe="P1", point="A")))["P1"]
    assert life.hours == pytest.approx(480)
    assert math.isnan(life.dose_h)
    assert life.hottest is None
    assert "not known" in life_sentence(life, UTC)


def test_the_remaining_time_is_said_with_its_interval() -> None:
    due = Due(point="A", probe="P1", last=0, planned=None, staircase=None, staircase_days=math.nan, limit=400 * DAY,
              limit_early=300 * DAY, limit_late=None, parameter="slope", sentence="")  # fmt: skip
    made = result(
        (findings(POINTS[0]),),
        Installation(probe="P1", point="A"),
        due=(due,),
        calibrations=(calibrated(2, 99.0),),
    )
    said = replacement(lives_of(made)["P1"], UTC)
    assert (
        said
        == "Not due yet: slope reaches its limit about Feb 1971, 90 % interval from Oct 1970 with no end foreseeable."
    )


# --- exposures -----------------------------------------------------------------------------------


def steamed(
    day: float = 5.0, *, kind: str = "over_temperature", peak: float = 146.0, above: float = 12.0
) -> Event:
    start = int(day * DAY)
    return Event(
        point="A", kind=kind, start=start, end=start + 12 * NS_PER_MINUTE, size=peak, size_unit="degC", size_high=peak + 2,
        confidence=0.9, origin="probe" if above else "routine",
        details={"minutes_above_rating_min": above, "minutes_above_sterilisation_min": above, "minutes_above_110_degc_min": 16.0,
                 "f0_min": 100.0, "dose_h": 4.0, "heating_rate_k_per_min": 25.0},
    )  # fmt: skip


def doubted(error: float, *, open_end: bool) -> Doubt:
    begin, end = int(5.01 * DAY), 20 * DAY if open_end else 9 * DAY
    return Doubt(point="A", probe="P1", start=begin, end=end, open_end=open_end, knots=((begin, error), (end, error)),
                 band=(0.05, 0.05), basis="heat", hours_out_of_tolerance=9.0)  # fmt: skip


def exposures(*events: Event, **more: object) -> tuple[HeatExposure, ...]:
    return heat_exposures(
        result((findings(POINTS[0], events=events),), Installation(probe="P1", point="A"), **more)
    )


def test_a_probe_that_reads_wrong_since_is_told_in_one_sentence() -> None:
    (row,) = exposures(steamed(), doubts=(doubted(0.3, open_end=True),))
    assert row.verdict == "changed since"
    assert row.sentence == (
        "A: 146 °C on 6 Jan 00:00, 12 min above its 130 °C rating; reads about 0.30 pH high since; check before use."
    )
    assert (row.peak_degc, row.bound_degc, row.rating_degc) == (146.0, 148.0, 130.0)
    assert (row.reading_before, row.reading_after) == (7.0, 7.3)
    assert (row.noise_before, row.noise_after) == (0.01, 0.03)
    assert (row.error, row.error_band, row.calibration) == (0.3, 0.05, None)


def test_an_error_within_its_band_is_no_change_but_could_hide_one() -> None:
    (row,) = exposures(steamed(), doubts=(doubted(0.01, open_end=True),))
    assert row.verdict == "above rating, no change laid to it"
    assert "no change of the reading laid to it (a shift up to 0.05 pH could hide)" in row.sentence
    assert row.advice == "check before use"


def test_a_step_since_is_told_with_its_size() -> None:
    step = dataclasses.replace(
        steamed(5.2), kind="step", size=-0.38, size_low=-0.49, size_high=-0.27, size_unit="pH", origin="undecided",
    )  # fmt: skip
    (row,) = exposures(steamed(), step)
    assert "; step of −0.4 pH since 6 Jan 04:48; check before use." in row.sentence


def test_a_probe_is_told_the_error_of_its_point_not_the_size_of_a_step_beside_it() -> None:
    step = dataclasses.replace(
        steamed(5.2), kind="step", size=-0.54, size_low=-0.6, size_high=-0.5, size_unit="pH", origin="undecided",
    )  # fmt: skip
    grown = dataclasses.replace(doubted(-0.36, open_end=False), band=(0.4, 0.1))
    grown = dataclasses.replace(grown, knots=((grown.start, -0.09), (grown.end, -0.36)))
    (row,) = exposures(steamed(), step, doubts=(grown,), calibrations=(calibrated(9, 91.0),))
    assert "read up to 0.4 pH low until 10 Jan 00:00" in row.sentence
    assert "step of" not in row.sentence
    assert row.error == -0.36


def test_hours_above_a_rating_are_said_as_hours() -> None:
    (row,) = exposures(steamed(above=3316.0))
    assert "2 d 7 h above its 130 °C rating" in row.sentence


def test_what_a_calibration_took_out_is_in_the_past() -> None:
    (row,) = exposures(
        steamed(), doubts=(doubted(-0.3, open_end=False),), calibrations=(calibrated(9, 91.0),)
    )
    assert row.sentence.endswith("read up to 0.30 pH low until 10 Jan 00:00; calibrated on 10 Jan 00:00.")
    assert row.calibration == 9 * DAY


def test_nothing_seen_since_is_not_the_same_as_nothing_known() -> None:
    (seen,) = exposures(steamed())
    assert (seen.verdict, seen.advice) == (
        "above rating, no change laid to it",
        "verify before trusting the reading",  # as the point itself is told
    )
    bare = dataclasses.replace(findings(POINTS[0], events=(steamed(),)), levels=Levels())
    (blind,) = heat_exposures(result((bare,), Installation(probe="P1", point="A")))
    assert blind.verdict == "cannot tell"
    assert math.isnan(blind.reading_after)


def test_a_sterilisation_is_within_its_rating_and_doses_add_up_over_the_life() -> None:
    first = steamed(3, kind="sterilisation", peak=121.5, above=0.0)
    event = steamed()
    made = result((findings(POINTS[0], events=(first, event)),), Installation(probe="P1", point="A"),
                  outcomes={event.id: ("not borne out", "The calibration of 9 Jan found no shift beyond its uncertainty.")},
                  calibrations=(calibrated(9, 98.0),))  # fmt: skip
    life = lives_of(made)["P1"]
    assert [e.dose_before_h for e in life.exposures] == [0.0, 4.0]
    assert life.exposures[0].verdict == "within rating"
    assert life.exposures[1].sentence.endswith("a later calibration found no shift; nothing more to do.")
    assert (life.sterilisations, len(life.over)) == (1, 1)
    table = exposures_table(made)
    assert table["peak_degc"].to_list() == [146.0, 121.5]  # hottest first


def test_a_thermal_shock_belongs_to_the_exposure_it_happens_in() -> None:
    shock = Event(point="A", kind="thermal_shock", start=int(5 * DAY) + 10 * NS_PER_MINUTE, end=int(5 * DAY) + 14 * NS_PER_MINUTE,
                  size=45.0, size_unit="K/min", confidence=0.9, evidence=("cooled from 146 degC to 20 degC",), details={"before_degc": 146.0})  # fmt: skip
    (row,) = exposures(steamed(), shock)
    assert row.shock == "cooled from 146 degC to 20 degC"
    assert "in it 45 K/min on" in row.sentence
    (alone,) = exposures(dataclasses.replace(shock, start=9 * DAY, end=9 * DAY + 1))
    assert (alone.kind, alone.peak_degc) == ("thermal_shock", 146.0)


def test_a_sterilisation_within_its_rating_that_ended_in_a_shock_asks_for_a_look() -> None:
    calm = steamed(peak=121.5, kind="sterilisation", day=3)
    (row,) = exposures(calm)
    assert row.sentence.endswith("nothing to do.")
    shock = Event(point="A", kind="thermal_shock", start=calm.end - NS_PER_MINUTE, end=calm.end, size=67.0, size_unit="K/min", confidence=0.8)  # fmt: skip
    (row,) = exposures(calm, shock)
    assert "in it 67 K/min on" in row.sentence
    assert row.sentence.endswith("look for cracks; verify the reading.")


def test_tables_keep_a_row_an_installation_and_a_row_a_probe() -> None:
    made = result((findings(POINTS[0], (3, 110.0, 30)), findings(POINTS[1])), *MOVED)
    stays = probes_table(made)
    assert sorted(zip(stays["probe"], stays["point"], strict=True)) == [
        ("<B>", "B"),
        ("P1", "A"),
        ("P1", "B"),
        ("P2", "A"),
    ]
    table = lives_table(made)
    assert sorted(table["probe"]) == ["<B>", "P1", "P2"]
    row = table.filter(table["probe"] == "P1").to_dicts()[0]
    assert (row["points"], row["stays"], row["installed_now"]) == ("A | B", 2, "B")
    assert row["hours_100_to_120_degc_h"] * 60 == pytest.approx(30, abs=0.1)
    assert lives_table(result(())).height == 2  # probes of the register, at no point
    assert exposures_table(result(())).height == 0
