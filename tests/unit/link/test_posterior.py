"""Draws of causes against hand-worked normal algebra; array errors against their scalar twin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.calibrations import models
from excursions.link.ageing import learn
from excursions.link.beliefs import Beliefs, Seen, updated
from excursions.link.candidates import causes
from excursions.link.effects import table_chance
from excursions.link.errors import reading_errors
from excursions.link.intervals import intervals
from excursions.link.posterior import posterior, weigh_sets
from excursions.link.shape import weighted_quantile
from excursions.records import Event, Shift
from tests.unit.calibrations.test_models import CASES
from tests.unit.link.builders import PLANT, event, shift


def drawn(found: list[Shift], events: list[Event]):  # type: ignore[no-untyped-def]
    (span,) = intervals(found, events)
    rows = causes(span, PLANT, {})
    return posterior(rows, span, weigh_sets(span, rows, learn([]), Beliefs()))


def test_contributions_add_up_to_what_was_found_within_its_noise() -> None:
    seen = drawn([shift(0.4, u=0.02)], [event("step", 10, -0.38)])
    total = seen.contribution.sum(axis=(1, 2))
    assert total.mean() == pytest.approx(0.4, abs=0.005)
    assert total.std() == pytest.approx(0.02, rel=0.15)


def test_two_measurements_of_one_step_are_averaged_by_their_weights() -> None:
    """The reading says 0.40 with u from size and tolerance, the calibration 0.50 with u 0.05; normal average by hand."""
    seen = drawn([shift(0.5, u=0.05)], [event("step", 10, -0.4)])
    seen_u2 = (0.1 * 0.4) ** 2 + (0.2 * 0.1) ** 2
    wide2, age2 = 0.3**2, 0.015**2 + (0.01**2 + 0.01**2)
    mean, var = 0.4 * wide2 / (wide2 + seen_u2), wide2 * seen_u2 / (wide2 + seen_u2)
    by_hand = mean + var / (var + age2 + 0.05**2) * (0.5 - mean)
    acted = seen.contribution[:, 0, 0][seen.contribution[:, 0, 0] != 0]
    assert acted.mean() == pytest.approx(by_hand, abs=0.005)


def test_a_determination_at_the_start_is_half_to_blame() -> None:
    """Nothing but noise: of a found change of two uncertainties, each calibration made half."""
    seen = drawn([shift(0.2, u=0.1)], [])
    quiet = np.abs(seen.contribution[:, 0, 0]) == 0
    assert seen.began[quiet, 0].mean() == pytest.approx(0.1, abs=0.02)


@pytest.mark.parametrize("name", CASES)
def test_array_errors_equal_their_scalar_twin(name: str) -> None:
    measurand, units, used, real, level = CASES[name]
    shape = models.form(measurand, units)
    scalar = models.reading_error(shape, level, used=used, real=real, temp_degc=31.0)
    arrays = {key: np.full((3, 2), value) for key, value in real.items()}
    found = reading_errors(shape, np.full((3, 2), level), used=used, real=arrays, temp_degc=31.0)
    assert found == pytest.approx(np.full((3, 2), scalar), rel=1e-9)


def test_beliefs_move_with_the_record_and_stay_put_without_one() -> None:
    assert updated([], Beliefs()) == Beliefs()
    often = Seen(events=((("step", "probe", False), 0.5, 1.0),), months=1.0, unrecorded=0.0, kicks=())
    learned = updated([often] * 100, Beliefs())
    assert learned.chance["step", "probe", False] == pytest.approx((100 + 3) / (50 + 3))
    assert learned.unrecorded == pytest.approx(0.02 * 100 / 200)


def test_each_source_of_damage_has_a_size_of_its_own() -> None:
    """Found 9 times the squared size believed, 100 times: (900 + 6) / (100 + 6), on top of what was believed."""
    key = ("ph", "slope", "%")
    told = Seen(events=(), months=0.0, unrecorded=0.0, kicks=(((key, "heat"), 1.0, 9.0),))
    learned = updated([told] * 100, Beliefs()).kick
    assert learned == {(key, "heat"): pytest.approx((906 / 106) ** 0.5)}


def test_heat_that_no_change_followed_is_less_likely_to_have_done_damage() -> None:
    """Of heat that does damage six in ten show at once: 0.5 before, (0.5 x 0.4) / (0.5 x 0.4 + 0.5) after."""
    heat = replace(event("over_temperature", 10, 140.0), confidence=1.0)
    assert table_chance(heat, ()) == pytest.approx(0.2 / 0.7)
    step = replace(event("step", 10.1, -0.3), confidence=1.0)
    assert table_chance(heat, (step,)) == pytest.approx(0.85)


def test_a_small_step_behind_two_bigger_ones_is_found_too() -> None:
    """Three causes with several ways each: the exact answer needs all three together."""
    three = [event("step", 5, -0.30), event("step", 10, -0.25), event("step", 15, -0.10)]
    seen = drawn([shift(0.65, u=0.01)], three)
    acted = (seen.contribution[:, :3, 0] != 0).all(axis=1).mean()
    assert acted > 0.9


def test_weighted_quantile_of_equal_weights_is_the_ordinary_one() -> None:
    values = np.random.default_rng(3).standard_normal((501, 2))
    found = weighted_quantile(values, np.full(501, 1 / 501), 0.5)
    assert found == pytest.approx(np.median(values, axis=0))


def test_weighted_quantile_follows_the_weights() -> None:
    assert weighted_quantile(np.array([[1.0], [2.0], [3.0]]), np.array([0.05, 0.05, 0.9]), 0.5)[0] == 3.0


def test_ageing_is_learned_by_kind_and_probe() -> None:
    """Ten probes that lose 0.8 % a month, one that loses 2 %: each is drawn to its own, little to the kind."""
    rows = [
        shift(
            -(2.0 if probe == 0 else 0.8),
            parameter="slope",
            u=0.2,
            start=30 * k,
            end=30 * k + 30,
            probe=f"S{probe}",
        )
        for probe in range(11)
        for k in range(8)
    ]
    ageing = learn(rows)
    assert ageing.kinds["ph", "slope", "%"].rate == pytest.approx(-0.9, abs=0.1)
    assert ageing.of(rows[0]).rate < -1.4
    assert ageing.of(rows[-1]).rate == pytest.approx(-0.8, abs=0.1)


def test_a_shift_never_teaches_what_to_expect_of_itself() -> None:
    rows = [shift(0.2, u=0.01), shift(0.01, u=0.01, start=30, end=60)]
    alone, both = learn(rows[1:]).of(rows[0]), learn(rows).of(rows[0])
    assert both.rate == pytest.approx(alone.rate, abs=0.003)
    assert both.shifts == 1


def test_leaving_one_out_equals_learning_without_it() -> None:
    """The closed form against learning from the others alone, with equal weights and no outlier."""
    rows = [
        shift(-0.4 - 0.02 * k, parameter="slope", u=0.4, start=30 * k, end=30 * k + 30, probe=f"S{k % 3}")
        for k in range(9)
    ]
    for one in rows:
        left = learn([s for s in rows if s is not one])
        assert learn(rows).of(one).rate == pytest.approx(
            left.probes[("ph", "slope", "%"), one.probe].rate, abs=0.01
        )


def test_damage_does_not_teach_ageing() -> None:
    rows = [shift(-0.3, parameter="slope", u=0.2, start=30 * k, end=30 * k + 30) for k in range(10)]
    hurt = shift(-30.0, parameter="slope", u=0.2, start=300, end=330)
    calm, shaken = learn(rows).of(rows[0]), learn([*rows, hurt]).of(rows[0])
    assert shaken.rate == pytest.approx(calm.rate, abs=0.1)
    assert shaken.wander < 3 * calm.wander + 0.5
