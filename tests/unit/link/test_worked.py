"""Figures of the link's small parts worked by hand: rates over time, chances, sizes, corrections, times left."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from excursions.kinds import KINDS
from excursions.link import next_due
from excursions.link.ageing import Rate, learn, months_of, owner_of
from excursions.link.beliefs import Beliefs, Seen, updated
from excursions.link.candidates import grouped
from excursions.link.correct import band_at, corrected, error_at, hours_beyond
from excursions.link.due import staircase_days
from excursions.link.intervals import intervals, is_of
from excursions.link.priors import expected, lasting_chance
from excursions.link.proration import rating, visit
from excursions.plant import Installation, Plant, Point
from excursions.records import Doubt, Event, Parameter, Shift
from tests.unit.link.builders import DAY, PLANT, calibration, event, level, shift

HOUR = DAY // 24


def test_what_a_rate_makes_of_four_months() -> None:
    """-0.3 a month is -1.2; its spread of 0.4 a month grows to 1.6, wander of 0.2 a root of a month to 0.4."""
    rate = Rate(rate=-0.3, spread=0.4, wander=0.2, shifts=0, share=False)
    long = shift(0.0, parameter="slope", end=120.0)
    mean, variance = rate.over(long)
    assert mean == pytest.approx(-1.2)
    assert variance == pytest.approx(1.6**2 + 0.4**2)
    share = replace(rate, share=True).over(replace(long, before=-50.0))
    assert share == pytest.approx((-60.0, 2500.0 * variance))


def test_an_interval_is_never_nothing() -> None:
    assert months_of(shift(0.0, end=45.0)) == pytest.approx(1.5)
    assert months_of(shift(0.0, end=0.0)) == pytest.approx(0.001)


def test_a_probe_without_a_number_is_the_one_at_its_point() -> None:
    assert owner_of(shift(0.0)) == "S1"
    assert owner_of(shift(0.0, probe="")) == "at ph"
    rows = [shift(-2.0, parameter="slope", u=0.1, start=30 * k, end=30 * k + 30, probe="") for k in range(6)]
    assert learn(rows).probes[("ph", "slope", "%"), "at ph"].shifts == 6


def test_before_any_shift_ageing_is_what_the_table_says() -> None:
    """-0.3 % a month, as much from kind to kind and from probe to probe: 0.42 together."""
    rate = learn([]).of(shift(0.0, parameter="slope"))
    assert (rate.rate, rate.wander, rate.shifts, rate.share) == (-0.3, 0.4, 0, False)
    assert rate.spread == pytest.approx(0.3 * math.sqrt(2.0))
    assert learn([]).of(shift(0.0, parameter="gain", point="turbidity")).share


def test_one_shift_draws_the_rate_of_its_probe_more_than_that_of_the_kind() -> None:
    """Two levels by hand, one shift of -3 % in one month known to 0.3 %.

    Wander 0.4 and noise 0.3 are 0.5, and what Student's weights make of a far shift only widens it, so that a probe moves
    from -0.3 by less than 0.81 of the way (0.36 + 0.09 over that and 0.25, with 0.6 for the kind), and its kind by less.
    """
    far = shift(-3.0, parameter="slope", u=0.3)
    learned = learn([far])
    own = learned.probes[("ph", "slope", "%"), "S1"]
    kind = learned.kinds["ph", "slope", "%"]
    assert -3.0 < own.rate < kind.rate < -0.3
    most = 0.45 / (0.45 + 0.25)
    assert own.rate > -0.3 - most * 2.7
    near = learn([shift(-0.4, parameter="slope", u=0.3)]).probes[("ph", "slope", "%"), "S1"]
    # A shift this near has a weight of 1.25 at the most: its variance is 0.25 / 1.25, with the wander drawn to a little less.
    assert (near.rate + 0.3) / -0.1 == pytest.approx(0.45 / (0.45 + 0.2), abs=0.03)
    assert near.spread < 0.45**0.5


def test_many_probes_say_how_much_probes_of_a_kind_differ_and_wander() -> None:
    """Sixty probes of ten months each at -0.5 % a month and no scatter but that of the calibrations, 0.05 %."""
    random = np.random.default_rng(4)
    rows = [
        shift(
            -0.5 + float(random.normal(0.0, 0.05)),
            parameter="slope",
            u=0.05,
            start=30 * k,
            end=30 * k + 30,
            probe=f"S{n}",
        )
        for n in range(60)
        for k in range(10)
    ]
    kind = learn(rows).kinds["ph", "slope", "%"]
    assert kind.rate == pytest.approx(-0.5, abs=0.02)
    assert kind.spread == pytest.approx(0.3, abs=0.01)  # an unseen probe still differs by what the table says
    assert kind.shifts == 600
    assert kind.wander < 0.1
    coarse = [replace(s, after=s.after + float(random.normal(0.0, 0.3)), uncertainty=0.3) for s in rows]
    assert (
        learn(coarse).kinds["ph", "slope", "%"].wander < 0.15
    )  # that is the calibrations' scatter, not the probe's
    wild = [replace(s, after=s.after + float(random.normal(0.0, 0.8))) for s in rows]
    assert learn(wild).kinds["ph", "slope", "%"].wander == pytest.approx(0.8, abs=0.15)


def test_a_rate_that_is_a_share_is_learned_as_one() -> None:
    """A slope of 0.25 nA/hPa and one of 25 that lose 2 % a month both: the rate is -0.02 whatever the current is."""
    for before in (0.25, 25.0):
        rows = [
            replace(
                shift(
                    0.0, parameter="slope", point="oxygen", u=0.0005 * before, start=30 * k, end=30 * k + 30
                ),
                unit="nA/hPa",
                before=before,
                after=0.98 * before,
            )
            for k in range(20)
        ]
        rate = learn(rows).probes[("oxygen", "slope", "nA/hPa"), "S1"]
        assert rate.share
        assert rate.rate == pytest.approx(-0.02, abs=0.001)
        assert rate.over(rows[0])[0] == pytest.approx(-0.02 * before, rel=0.05)


def test_what_is_unknown_or_disturbed_teaches_nothing() -> None:
    rows = [shift(-2.0, parameter="slope", u=0.1, start=30 * k, end=30 * k + 30) for k in range(4)]
    unknown = replace(rows[0], after=math.nan, start=200 * DAY, end=230 * DAY)
    assert learn([*rows, unknown]) == learn(rows)
    assert learn(rows, disturbed=[rows[0].id]) == learn(rows[1:])


@pytest.mark.parametrize(
    ("origin", "confidence", "share"),
    [
        ("probe", 0.8, 0.8),
        ("probe", 1.5, 1.0),
        ("probe", -0.5, 0.0),
        ("process", 0.8, 0.1),  # half of the chance that it was not the process
        ("undecided", 0.8, 0.5),
        ("record", 0.8, 0.1),
        ("routine", 0.8, 0.0),
    ],
)
def test_how_likely_an_event_left_something_by_who_did_it(
    origin: str, confidence: float, share: float
) -> None:
    one = event("step", 1.0, -0.3, origin=origin, confidence=confidence)
    assert lasting_chance(one) == pytest.approx(share * KINDS["step"].lasting)


def test_a_normal_sterilisation_wears_a_little_whoever_did_it() -> None:
    for origin in ("routine", "probe"):
        one = event("sterilisation", 1.0, 125.0, origin=origin, confidence=0.5)
        assert lasting_chance(one) == KINDS["sterilisation"].lasting
    assert lasting_chance(event("no such kind", 1.0, 1.0)) == 0.0


@pytest.mark.parametrize(
    ("key", "ageing", "kick", "share"),
    [
        (("ph", "slope", "%"), -0.3, 5.0, False),
        (("redox", "offset", "mV"), 0.0, 25.0, False),
        (("conductivity", "cell_constant", "1/cm"), 0.0, 0.08, True),
        (("oxygen", "slope", "%"), -0.7, 10.0, False),
        (("oxygen", "slope", "nA/hPa"), -0.005, 0.12, True),
        (("oxygen", "zero", "deg"), -0.15, 2.5, False),
        (("oxygen", "zero", "nA"), 0.0, 2.0, False),
        (("oxygen", "zero", "mg/L"), 0.0, 0.3, False),
        (("turbidity", "gain", ""), -0.005, 0.12, True),
        (("turbidity", "span", "NTU"), -0.005, 0.12, True),
        (("ph", "whatever", ""), -0.005, 0.12, True),
    ],
)
def test_what_each_parameter_is_expected_to_do(
    key: tuple[str, str, str], ageing: float, kick: float, share: bool
) -> None:
    """By the rows of the measurands and the two rows of their own (common practice, no source)."""
    row = expected(*key)
    assert (row.ageing, row.kick, row.share) == (ageing, kick, share)


def test_what_was_learned_stays_within_reason() -> None:
    """A hundred that never acted, of 0.5 expected each: 3 / 53; a thousand expected: not below a fiftieth."""
    family, key = ("step", "probe", False), (("ph", "slope", "%"), "heat")

    def told(count: int, acted: float, size: float = 1.0) -> Beliefs:
        one = Seen(events=((family, 0.5, acted),), months=2.0, unrecorded=0.1, kicks=((key, 0.5, size),))
        return updated([one] * count, Beliefs(kick={key: 2.0}))

    assert told(100, 0.0).chance[family] == pytest.approx(3.0 / 53.0)
    assert told(1000, 0.0).chance[family] == 0.02
    assert told(10_000, 10_000.0).chance[family] == 20.0
    assert told(50, 0.5).unrecorded == pytest.approx((2.0 + 5.0) / (100.0 + 100.0))
    # Fifty times half a damage of as big a square as believed, twice the table's: (25 x 4 + 6) / (25 + 6).
    assert told(50, 0.5).kick[key] == pytest.approx(math.sqrt(106.0 / 31.0))
    assert told(50, 0.5, 1e6).kick[key] == 10.0
    assert told(10_000, 0.5, 0.0).kick[key] == 0.1
    both = updated(
        [
            Seen(events=((family, 0.5, 1.0),), months=0.0, unrecorded=0.0, kicks=()),
            Seen(events=((family, 0.25, 0.0),), months=0.0, unrecorded=0.0, kicks=()),
        ],
        Beliefs(heat={key[0]: (-0.1, 0.02)}),
    )
    assert both.chance[family] == pytest.approx(4.0 / 3.75)
    assert both.heat == {key[0]: (-0.1, 0.02)}


def led(*events: Event) -> list[tuple[str, list[str]]]:
    return [
        (f"{one.kind} {one.start // HOUR}", [f"{e.kind} {e.start // HOUR}" for e in rest])
        for one, rest in grouped(events)
    ]


def test_what_begins_within_a_day_after_heat_is_what_the_heat_led_to() -> None:
    heat = event("over_temperature", 10.0, 140.0, length_h=2.0)
    during, last, late = (event("step", 10.0 + h / 24.0, -0.3) for h in (0.0, 26.0, 26.5))
    assert led(heat, during, last, late) == [("over_temperature 240", ["step 240", "step 266"]), ("step 266", [])]  # fmt: skip


def test_a_change_follows_the_heat_closest_before_it_at_its_own_point() -> None:
    first, second = (event("over_temperature", day, 140.0, length_h=1.0) for day in (10.0, 10.4))
    other = event("over_temperature", 10.45, 140.0, length_h=1.0, point="redox")
    step = event("step", 10.5, -0.3)
    before = event("step", 9.9, -0.3)
    assert led(before, first, second, other, step) == [
        ("step 237", []),
        ("over_temperature 240", []),
        ("over_temperature 249", ["step 252"]),
        ("over_temperature 250", []),
    ]


@pytest.mark.parametrize("origin", ["routine", "process"])
def test_heat_does_not_lead_what_is_laid_to_the_process_or_to_routine(origin: str) -> None:
    heat, step = event("over_temperature", 10.0, 140.0), event("step", 10.1, -0.3, origin=origin)
    assert [len(rest) for _, rest in grouped((heat, step))] == [0, 0]


def test_a_normal_sterilisation_leads_nothing() -> None:
    step = event("step", 10.1, -0.3)
    for heat in (
        event("sterilisation", 10.0, 125.0),
        event("over_temperature", 10.0, 140.0, origin="routine"),
    ):
        assert [len(rest) for _, rest in grouped((heat, step))] == [0, 0]  # fmt: skip


def test_an_event_belongs_to_an_interval_if_it_began_in_it_or_still_went_on() -> None:
    rows = [
        event("step", day, 0.1) for day in (0.0, 0.5, 29.9, 30.0)
    ] + [
        event("drift", -2.0, 0.1, length_h=72.0),  # to day 1
        event("drift", -2.0, 0.1, length_h=48.0, size_unit="x"),  # to day 0
        event("drift", 0.0, 0.1, length_h=24.0),
        event("step", -1.0, 0.1, length_h=48.0),
    ]  # fmt: skip
    (span,) = intervals([shift(0.1)], rows)
    assert [(e.kind, e.start / DAY) for e in span.events] == [
        ("drift", -2.0),
        ("drift", 0.0),
        ("step", 0.5),
        ("step", pytest.approx(29.9)),
    ]
    assert (span.start, span.end) == (0, 30 * DAY)


def test_events_follow_the_probe_and_where_nobody_names_one_the_point() -> None:
    mine, elsewhere, others, nameless = (
        event("step", 1.0, 0.1),
        event("step", 2.0, 0.1, point="redox"),
        event("step", 3.0, 0.1, probe="S2"),
        event("step", 4.0, 0.1, probe=""),
    )
    rows = (mine, elsewhere, others, nameless)
    (known,) = intervals([shift(0.1)], rows)
    assert known.events == (mine, elsewhere, nameless)
    (unknown,) = intervals([shift(0.1, probe="")], rows)
    assert unknown.events == (mine, others, nameless)
    assert [is_of(e, "S1", "ph") for e in rows] == [True, True, False, True]
    assert [is_of(e, "", "ph") for e in rows] == [True, False, True, True]


def window(**more: object) -> Doubt:
    facts: dict[str, object] = {
        "point": "ph", "probe": "S1", "start": 0, "end": 4 * HOUR, "open_end": False, "basis": "step",
        "knots": ((0, 0.2), (2 * HOUR, 0.2), (4 * HOUR, 0.6)), "band": (0.1, 0.1, 0.3), "hours_out_of_tolerance": 4.0,
    }  # fmt: skip
    return Doubt(**(facts | more))  # type: ignore[arg-type]


def test_errors_and_bands_run_straight_from_knot_to_knot_and_end_with_the_window() -> None:
    since_2024 = 19_723 * DAY
    moved = window(
        start=since_2024,
        end=since_2024 + 4 * HOUR,
        knots=tuple((since_2024 + at, error) for at, error in window().knots),
    )
    time = since_2024 + np.array([-1, 0, HOUR, 2 * HOUR, 3 * HOUR, 4 * HOUR - 1, 4 * HOUR], dtype=np.int64)
    assert error_at(time, moved) == pytest.approx([0.0, 0.2, 0.2, 0.2, 0.4, 0.6, 0.0], abs=1e-9)
    assert band_at(time, moved) == pytest.approx([0.0, 0.1, 0.1, 0.1, 0.2, 0.3, 0.0], abs=1e-9)
    value = np.full(time.size, 7.0)
    assert corrected(time, value, moved) == pytest.approx([7.0, 6.8, 6.8, 6.8, 6.6, 6.4, 7.0], abs=1e-9)
    later = replace(moved, knots=((since_2024, -0.1), (since_2024 + 4 * HOUR, -0.1)), band=(0.0, 0.0), start=since_2024 + 2 * HOUR)  # fmt: skip
    assert corrected(time, value, (moved, later)) == pytest.approx([7.0, 6.8, 6.8, 7.1, 7.1, 7.1, 7.0])
    assert value.tolist() == [7.0] * 7


@pytest.mark.parametrize(
    ("errors", "hours"),
    [
        ((0.0, 0.4), 1.5),  # beyond 0.1 for three quarters of two hours
        ((-0.4, 0.0), 1.5),
        ((-0.2, 0.2), 1.0),  # beyond at both ends, a quarter each
        ((0.3, 0.2), 2.0),
        ((-0.3, -0.2), 2.0),
        ((0.1, 0.1), 0.0),
        ((0.2, 0.2), 2.0),
        ((-0.2, -0.2), 2.0),
        ((-0.1, 0.1), 0.0),
    ],
)
def test_hours_beyond_the_tolerance(errors: tuple[float, float], hours: float) -> None:
    assert hours_beyond([(5 * HOUR, errors[0]), (7 * HOUR, errors[1])], 0.1) == pytest.approx(hours)


def history(days: float, error: float, **more: object) -> list[object]:
    return [
        calibration(1.0, found={"zero_point": 5.0}, left={"zero_point": 7.0}),
        calibration(1.0 + days, found={"zero_point": 7.0 + error}, left={"zero_point": 7.0}, **more),
    ]


POINT = Point(name="ph", measurand="ph")


@pytest.mark.parametrize(
    ("days", "error", "next_days"),
    [
        (40.0, 0.0799, 50.0),  # 80 % of 0.1 pH is within
        (40.0, 0.081, 40.0),
        (40.0, 0.0999, 40.0),
        (40.0, -0.11, 28.0),
        (5.0, 0.5, 7.0),  # never under a week
        (390.0, 0.0, 400.0),  # nor over 400 days
    ],
)
def test_the_staircase_keeps_within_its_steps(days: float, error: float, next_days: float) -> None:
    rows = history(days, error)
    assert staircase_days(rows, POINT, {"ph": level(7.0, days=500.0)}) == pytest.approx(next_days)  # type: ignore[arg-type]


def test_the_next_step_of_the_staircase_counts_from_the_last_calibration() -> None:
    rows = history(40.0, 0.05)
    (due,) = next_due(rows, [], {"ph": level(7.0, days=500.0)}, PLANT)  # type: ignore[arg-type]
    assert (due.last, due.staircase, due.staircase_days) == (41 * DAY, 91 * DAY, 50.0)
    assert due.sentence.startswith("50 days to the next calibration by ILAC-G24")
    (unknown,) = next_due(rows, [], {}, PLANT)  # type: ignore[arg-type]
    assert unknown.staircase is None


def test_the_staircase_needs_an_error_that_can_be_told() -> None:
    rows = history(40.0, 0.05)
    assert math.isnan(staircase_days(rows, POINT, {}))  # type: ignore[arg-type]
    relative = {"zero_point": Parameter(value=7.0, uncertainty=0.01, unit="pH", basis="relative")}
    assert math.isnan(staircase_days([replace(rows[0], as_left=relative), rows[1]], POINT, {"ph": level(7.0)}))  # type: ignore[type-var, list-item]  # fmt: skip
    assert math.isnan(staircase_days(rows, replace(POINT, tolerance=0.0), {"ph": level(7.0)}))  # type: ignore[arg-type]
    verified = [replace(rows[0], as_left={}), rows[1]]  # type: ignore[type-var]
    # What was found then, pH 5, is what stood in the transmitter: two pH off now.
    assert staircase_days(verified, POINT, {"ph": level(7.0)}) == pytest.approx(28.0)  # type: ignore[arg-type]


def losing(count: int, a_month: float = -1.0, probe: str = "S1") -> list[Shift]:
    return [
        shift(a_month, parameter="slope", u=0.1, start=30 * k, end=30 * k + 30, probe=probe)
        for k in range(count)
    ]


def test_the_limit_is_reached_where_the_mean_rate_and_both_ends_of_its_interval_meet_it() -> None:
    rate = learn(losing(12)).probes[("ph", "slope", "%"), "S1"]
    (due,) = next_due([calibration(360.0, found={"slope": 98.0}, left={"slope": 97.0})], losing(12), {}, PLANT)  # fmt: skip
    assert (due.point, due.probe, due.last, due.parameter) == ("ph", "S1", 360 * DAY, "slope")
    assert due.limit is not None
    assert due.limit_early is not None
    assert due.limit_late is not None
    room, unsure = 7.0, 1.645 * 0.01
    for found, months in (
        (due.limit, room / -rate.rate),
        (due.limit_early, (room - unsure) / (-rate.rate + 1.645 * rate.spread)),
        (due.limit_late, (room + unsure) / (-rate.rate - 1.645 * rate.spread)),
    ):
        assert (found - due.last) / (30 * DAY) == pytest.approx(months, rel=1e-6)
    assert "slope reaches its limit about 7 months after the last calibration (90 % interval 6 to 8)" in due.sentence  # fmt: skip


def test_a_slope_that_hardly_falls_may_have_no_end() -> None:
    (due,) = next_due([calibration(90.0, left={"slope": 97.0})], losing(3, -0.2), {}, PLANT)
    assert due.limit is not None
    assert due.limit_late is None
    assert "to no end foreseeable)" in due.sentence
    (rising,) = next_due([calibration(90.0, left={"slope": 97.0})], losing(12, 0.5), {}, PLANT)
    assert rising.limit is None
    (one,) = next_due([calibration(90.0, left={"slope": 97.0})], losing(1), {}, PLANT)
    assert one.limit is None
    (slowest,) = next_due([calibration(90.0, left={"slope": 104.0})], losing(60, -0.001), {}, PLANT)
    assert slowest.limit == 90 * DAY + 1200 * 30 * DAY  # a century is as good as never


def test_at_its_limit_a_slope_is_beyond_it() -> None:
    (due,) = next_due([calibration(90.0, left={"slope": 90.0})], losing(3), {}, PLANT)
    assert (due.limit, due.limit_early, due.limit_late) == (90 * DAY,) * 3
    assert due.sentence == "slope is beyond its limit already"


def test_what_has_no_limit_or_no_value_of_its_own_is_not_carried_on() -> None:
    zero = [shift(0.1, start=30 * k, end=30 * k + 30) for k in range(6)]
    (due,) = next_due([calibration(180.0, left={"zero_point": 7.0})], zero, {}, PLANT)
    assert due.limit is None
    relative = {"slope": Parameter(value=97.0, uncertainty=0.1, unit="%", basis="relative")}
    rows = [replace(calibration(90.0), as_left=relative)]
    assert next_due(rows, losing(6), {}, PLANT)[0].limit is None


def test_a_probe_without_shifts_of_its_own_is_carried_on_as_its_kind() -> None:
    fleet = [s for n in range(8) for s in losing(6, -1.0, probe=f"S{n}")]
    kind = learn(fleet).kinds["ph", "slope", "%"]
    (due,) = next_due([calibration(90.0, left={"slope": 98.0}, probe="NEW")], fleet, {}, PLANT)
    assert due.limit is not None
    assert (due.limit - due.last) / (30 * DAY) == pytest.approx(8.0 / -kind.rate, rel=1e-6)


def test_due_is_told_where_the_probe_sits_now() -> None:
    stays = (
        Installation(probe="S1", point="ph", end=20 * DAY),
        Installation(probe="S1", point="redox", start=20 * DAY),
        Installation(probe="S2", point="ph", start=20 * DAY, end=40 * DAY),
    )
    plant = Plant(points=PLANT.points, installations=stays)
    rows = [
        calibration(10.0, left={"slope": 98.0}),
        calibration(30.0, left={"slope": 98.0}, probe="S2"),
        calibration(25.0, left={"slope": 98.0}, probe="S9", point="conductivity"),
        calibration(26.0, left={"slope": 98.0}, probe="S9", point="no such point"),
    ]
    assert [(due.point, due.probe) for due in next_due(rows, [], {}, plant)] == [("redox", "S1")]
    nameless = [calibration(30.0, left={"slope": 98.0}, probe="")]
    assert next_due(nameless, [], {}, plant) == ()  # it was S2, taken out since
    assert next_due(nameless, [], {}, PLANT)[0].probe == ""


def test_errors_of_a_visit_whatever_their_signs() -> None:
    """Dirt made it read 7 high while the water fell by 3, and it reads 20 high in the standard."""
    seen = visit(
        before=200.0, after=190.0, field_before=100.0, field_after=97.0, standard=980.0, in_standard=1000.0
    )
    assert (seen.fouling, seen.fouling_percent) == pytest.approx((-7.0, -3.5))
    assert (seen.drift, seen.drift_percent) == pytest.approx((-20.0, -2.0))
    assert (seen.total, seen.total_percent) == pytest.approx((27.0, 5.5))


def test_a_record_without_corrections_is_excellent_and_what_the_source_does_not_rate_is_not_rated() -> None:
    assert rating("ph", []) == "excellent"
    assert rating("ph", [(-0.6, 1.0)]) == "fair"
    assert rating("redox", [(5.0, 1.0)]) == ""
