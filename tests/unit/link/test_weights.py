"""Weights of sets of causes against every set counted out, and draws against the normal law they come from."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from excursions.link.ageing import Ageing, Rate
from excursions.link.attribute import attribute
from excursions.link.beliefs import HEAT, OTHER, Beliefs
from excursions.link.candidates import Cause, causes
from excursions.link.effects import Variant
from excursions.link.intervals import Interval, intervals
from excursions.link.posterior import (
    AGEING,
    DRAWS,
    UNRECORDED,
    Posterior,
    Weights,
    posterior,
    seen_in,
    weigh_sets,
)
from excursions.records import Event, Link, Shift
from tests.unit.link.builders import DAY, PLANT, event, level, shift

# Ageing that is known: -0.3 % and 0.01 pH a month, spread 0.1 and 0.02, no wander.
KNOWN = Ageing(
    kinds={
        ("ph", "slope", "%"): Rate(rate=-0.3, spread=0.1, wander=0.0, shifts=9, share=False),
        ("ph", "zero_point", "pH"): Rate(rate=0.01, spread=0.02, wander=0.0, shifts=9, share=False),
    },
    probes={},
    others={},
)
PAIR = (shift(-3.2, parameter="slope", u=0.5), shift(0.32, u=0.03))


def way(
    chance: float, slope: float, zero: float, *, spread: tuple[float, float], source: str = ""
) -> Variant:
    return Variant(
        chance=chance, mean=np.array([slope, zero]), covariance=np.diag(np.square(spread)), start=5 * DAY, end=9 * DAY, source=source,
    )  # fmt: skip


def cause(day: float, *ways: Variant) -> Cause:
    return Cause(event=event("step", day, -0.3), consequences=(), variants=ways)


CAUSES = (
    cause(5.0, way(0.3, 0.0, 0.3, spread=(0.1, 0.05)), way(0.2, -3.0, 0.1, spread=(1.0, 0.1))),
    cause(8.0, way(0.4, -2.5, 0.0, spread=(1.5, 0.02), source=HEAT)),
    cause(11.0, way(0.05, -1.0, 0.2, spread=(0.5, 0.2), source=OTHER)),
)
NOTHING_UNSEEN = Beliefs(unrecorded=0.0)


def interval(shifts: tuple[Shift, ...] = PAIR) -> Interval:
    return Interval(shifts=shifts, events=())


def counted_out(observed: bool = True) -> dict[frozenset[tuple[int, int]], float]:
    """Chance of each set of (cause, way) given what was found: chance before, times the density of what was found."""
    found = np.array([s.change for s in PAIR])
    base = np.array([-0.3, 0.01])
    scatter = np.diag([0.5**2 + 0.1**2, 0.03**2 + 0.02**2])
    weights = {}
    for size in range(len(CAUSES) + 1):
        for acted in combinations(range(len(CAUSES)), size):
            for ways in product(*(range(len(CAUSES[c].variants)) for c in acted)):
                chosen = [CAUSES[c].variants[w] for c, w in zip(acted, ways, strict=True)]
                before = math.prod(v.chance for v in chosen)
                before *= math.prod(1.0 - one.chance for c, one in enumerate(CAUSES) if c not in acted)
                mean = base + sum((v.mean for v in chosen), np.zeros(2))
                law = multivariate_normal(
                    mean, scatter + sum((v.covariance for v in chosen), np.zeros((2, 2)))
                )
                weights[frozenset(zip(acted, ways, strict=True))] = before * (law.pdf(found) if observed else 1.0)  # fmt: skip
    total = sum(weights.values())
    return {key: weight / total for key, weight in weights.items()}


def weighed(observed: bool = True) -> Weights:
    return weigh_sets(interval(), CAUSES, KNOWN, NOTHING_UNSEEN, observed=observed)


@pytest.mark.parametrize("observed", [True, False])
def test_weights_are_those_of_every_set_counted_out(observed: bool) -> None:
    """What nobody recorded and a probe renewed without a word are left out of both: ways of the last column."""
    made = weighed(observed)
    names = [(c, sum(1 for d, _ in made.options[:i] if d == c)) for i, (c, _) in enumerate(made.options)]
    seen: dict[frozenset[tuple[int, int]], float] = {}
    for row, weight in zip(made.members, made.weight, strict=True):
        acted = frozenset(names[i] for i in row if i >= 0)
        if all(c < len(CAUSES) for c, _ in acted):
            seen[acted] = seen.get(acted, 0.0) + float(weight)
    total = sum(seen.values())
    assert total > 0.9
    by_hand = counted_out(observed)
    for key, weight in by_hand.items():
        assert seen.get(key, 0.0) / total == pytest.approx(weight, abs=2e-3)


def drawn(observed: bool = True) -> Posterior:
    return posterior(CAUSES, interval(), weighed(observed))


def test_the_chance_that_a_cause_acted_is_that_of_all_sets_it_is_in() -> None:
    seen = drawn()
    by_hand = counted_out()
    for c in range(len(CAUSES)):
        expected = sum(weight for key, weight in by_hand.items() if any(one == c for one, _ in key))
        assert seen.acted[c] == pytest.approx(expected, abs=0.03)
        share = float((np.abs(seen.contribution[:, c]).sum(axis=1) > 0).mean())
        assert share == pytest.approx(float(seen.acted[c]), abs=2.0 / DRAWS)
    assert seen.acted[-1] == 1.0
    assert seen.cause.tolist() == [0, 1, 2, UNRECORDED, AGEING]
    assert seen.observed


def test_draws_add_up_to_what_was_found_within_both_calibrations_noise() -> None:
    seen = drawn()
    rest = np.array([s.change for s in PAIR]) - seen.contribution.sum(axis=1)
    assert (np.abs(rest.mean(axis=0)) < np.array([0.25, 0.015])).all()
    # What is left over is no more than the noise, and less where causes could explain some of it.
    assert (rest.std(axis=0) < np.array([0.55, 0.033])).all()
    # Of what is left over the first calibration made half.
    assert seen.began.mean(axis=0) == pytest.approx(rest.mean(axis=0) / 2.0, abs=0.05)
    halves = seen.began - rest / 2.0
    assert halves.std(axis=0) == pytest.approx(np.array([0.25, 0.015]), rel=0.1)  # u/2: half of u^2/2 at each


def test_without_anything_found_draws_are_as_believed_before() -> None:
    seen = drawn(observed=False)
    assert not seen.observed
    assert seen.acted[:3] == pytest.approx([0.5, 0.4, 0.05], abs=0.03)
    ageing = seen.contribution[:, -1]
    assert ageing.mean(axis=0) == pytest.approx([-0.3, 0.01], abs=0.02)
    assert ageing.std(axis=0) == pytest.approx([0.1, 0.02], rel=0.12)
    acted = np.abs(seen.contribution[:, 1]).sum(axis=1) > 0
    assert seen.contribution[acted, 1, 0].mean() == pytest.approx(-2.5, abs=0.3)
    assert seen.contribution[acted, 1, 0].std() == pytest.approx(1.5, rel=0.2)
    assert seen.began.std(axis=0) == pytest.approx([0.5 / math.sqrt(2.0), 0.03 / math.sqrt(2.0)], rel=0.1)


def test_each_draw_says_when_a_cause_acted() -> None:
    seen = drawn()
    for c in range(2):
        acted = np.abs(seen.contribution[:, c]).sum(axis=1) > 0
        assert np.unique(seen.when[acted, c], axis=0).tolist() == [[5.0 * DAY, 9.0 * DAY]] or not acted.any()
        assert (seen.when[~acted, c] == (0.0, 30.0 * DAY)).all()
    assert (seen.when[:, -1] == (0.0, 30.0 * DAY)).all()


def test_a_symptom_marks_trouble_and_not_the_moment_of_the_shift() -> None:
    """A third at its onset, a third from it to the calibration, a third before it."""
    stuck = (cause(5.0, way(0.9, -3.0, 0.3, spread=(0.5, 0.05), source=OTHER)),)
    interval = intervals(PAIR, [stuck[0].event])[0]
    seen = posterior(stuck, interval, weigh_sets(interval, stuck, KNOWN, Beliefs()))
    acted = np.abs(seen.contribution[:, 0]).sum(axis=1) > 0
    when = seen.when[acted, 0] / DAY
    ways = [(when == spell).all(axis=1).mean() for spell in ((5.0, 5.0), (5.0, 30.0), (0.0, 5.0))]
    assert ways == pytest.approx([1 / 3] * 3, abs=0.04)
    assert sum(ways) == pytest.approx(1.0)


def test_nobody_knows_when_something_unrecorded_acted() -> None:
    """A third at any one time, a third bit by bit, a third at the calibration itself."""
    when = drawn().when[:, 3]
    whole = (when == (0.0, 30.0 * DAY)).all(axis=1)
    at_end = (when == 30.0 * DAY).all(axis=1)
    sudden = ~whole & ~at_end
    assert [part.mean() for part in (whole, at_end, sudden)] == pytest.approx([1 / 3] * 3, abs=0.003)
    assert (when[sudden, 0] == when[sudden, 1]).all()
    days = np.sort(when[sudden, 0]) / DAY
    assert 0.0 < days[0] < days[-1] < 30.0
    assert np.quantile(days, [0.25, 0.5, 0.75]) == pytest.approx([7.5, 15.0, 22.5], abs=2.0)


def test_the_unrecorded_grows_likelier_with_time() -> None:
    """0.02 a month: 1 - exp(-0.02) in a month, 1 - exp(-0.24) in a year."""
    for days, chance in ((30.0, 0.0198), (360.0, 0.2134)):
        long = tuple(replace(s, end=int(days * DAY)) for s in PAIR)
        made = weigh_sets(interval(long), (), KNOWN, Beliefs(), observed=False)
        ways = sum(v.chance for c, v in made.options if v.source != "renewed")
        assert ways == pytest.approx(chance, abs=1e-4)


def test_what_an_interval_teaches_of_the_size_of_damage() -> None:
    """One cause of damage by heat, believed 5 % in slope, found alone and certain: its square over that believed."""
    only = (Cause(event=event("step", 8.0, -0.3), consequences=(), variants=(way(0.999, 0.0, 0.0, spread=(5.0, 0.001), source=HEAT),)),)  # fmt: skip
    found = (replace(PAIR[0], after=99.0 - 10.3), replace(PAIR[1], after=7.01))
    told = seen_in(interval(found), only, weigh_sets(interval(found), only, KNOWN, NOTHING_UNSEEN))
    assert told.months == pytest.approx(1.0)
    assert told.events[0][2] == pytest.approx(1.0, abs=0.01)
    slope = [(w, size) for (key, source), w, size in told.kicks if source == HEAT and key[1] == "slope"]
    weight = sum(w for w, _ in slope)
    # Ten of five believed, measured to 0.51: the gain is 25 / 25.26, what it leaves of the variance 0.257.
    gain = 25.0 / (25.0 + 0.26)
    expected = ((10.0 * gain) ** 2 + 25.0 * (1.0 - gain)) / 25.0
    assert sum(w * size for w, size in slope) / weight == pytest.approx(expected, rel=0.01)
    assert told.unrecorded == pytest.approx(0.0, abs=1e-6)


def reasons(found: Shift, events: list[Event], which: str) -> Link:
    made = attribute([found], events, PLANT, {"ph": level(7.0)})
    return next(link for link in made if which in (link.event, link.cause))


def test_what_is_said_for_ageing_and_for_the_unrecorded() -> None:
    (span,) = intervals([shift(0.3)], [])
    assert causes(span, PLANT, {}) == ()
    ageing = reasons(shift(-0.3, parameter="slope", u=0.2), [], "ageing")
    assert ageing.reasons == (
        "ordinary ageing and scatter over 30 d would give −0.3 % ± 0.8 (assumed, common practice)",
    )
    assert (ageing.predicted, ageing.predicted_uncertainty) == (
        pytest.approx(-0.3),
        pytest.approx(math.sqrt(0.3**2 + 0.6**2 + 0.4**2)),  # probe, kind, wander
    )
    unrecorded = reasons(shift(0.3), [], "unrecorded")
    assert unrecorded.reasons == (
        "what changed a probe need not show in the record (a knock, work without an entry)",
    )
    assert unrecorded.predicted == 0.0
    assert unrecorded.predicted_uncertainty == pytest.approx(
        0.3, abs=0.03
    )  # by the table; the shift moves it a little


def test_a_slope_that_is_back_says_that_the_probe_may_be_another() -> None:
    back = replace(shift(0.0, parameter="slope", u=0.3), before=90.0, after=99.0)
    (first, *_) = reasons(back, [], "unrecorded").reasons
    assert first.startswith("the slope is back at a new probe's: another probe under this number")


@pytest.mark.parametrize(
    ("origin", "words"),
    [
        ("probe", ""),
        ("process", "by the record alone the process did it; weighed in case it was the probe"),
        ("undecided", "by the record alone it cannot be told whether the probe or the process did it"),
    ],
)
def test_what_the_record_alone_says_is_said_beside_it(origin: str, words: str) -> None:
    step = event("step", 10.0, -0.3, origin=origin)
    told = reasons(shift(0.3), [step], step.id).reasons
    assert told[-1] == words or (not words and told[-1].startswith("it "))


def test_a_heat_is_told_with_its_level_and_what_followed() -> None:
    heat, after = event("over_temperature", 10.0, 147.23), event("step", 10.2, -0.4, size_low=-0.45, size_high=-0.35)  # fmt: skip
    told = reasons(shift(0.4), [heat, after], heat.id).reasons
    assert told[0] == ("over-temperature (147 °C) on 11 Jan, zero point found +0.40 pH ± 0.02 on 31 Jan")
    assert told[1] == "step of −0.40 pH on 11 Jan followed within a day"
