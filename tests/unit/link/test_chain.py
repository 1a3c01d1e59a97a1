"""Which entry's parameters a transmitter uses, against counting over every course by hand."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from excursions.link.chain import Move, Step, _density, kept_chances

QUIET = np.random.default_rng(5).normal(0.0, 0.1, 2000)


def step(seen: float, *jumps: float, adopted: float = 0.9, unknown: float = 0.0) -> Step:
    """One adjustment that would move the reading by so much from each earlier entry."""
    moves = tuple(Move(adopted=jump) for jump in jumps)
    return Step(adopted=adopted, moves=moves, seen=seen, ordinary=QUIET, tolerance=0.3, unknown=unknown)


def by_hand(steps: list[Step]) -> list[float]:
    """Chance that each adjustment was kept out with a known one in use, by summing over all courses."""
    total, kept = 0.0, [0.0] * len(steps)
    courses = product(product((True, False), repeat=2), repeat=len(steps))
    for course in courses:
        used, weight, known = 0, 1.0, []
        for k, (one, (taken, forgotten)) in enumerate(zip(steps, course, strict=True)):
            weight *= one.unknown if forgotten else 1.0 - one.unknown
            if forgotten:
                used = 0
            move = (Move(), *one.moves)[used]
            chance = 1.0 if used == 0 and one.adopted > 0.5 else one.adopted
            expected = move.adopted if taken else move.kept
            spreads = (0.09, 0.9) if math.isnan(expected) else (0.1 * abs(expected),)
            off = np.array([one.seen - (0.0 if math.isnan(expected) else expected)])
            likes = [float(_density(off, np.array([spread]), one)[0]) for spread in spreads]
            like = 1.0 if math.isnan(one.seen) else sum(likes) / len(likes)
            weight *= (chance if taken else 1.0 - chance) * like
            known.append(not taken and used > 0)
            used = k + 1 if taken else used
        total += weight
        kept = [old + weight * here for old, here in zip(kept, known, strict=True)]
    return [one / total for one in kept]


@pytest.mark.parametrize(
    "steps",
    [
        [step(0.0), step(0.0, 1.0)],
        [step(0.1), step(0.02, 0.4), step(-0.4, 0.8, 0.4), step(0.0, 0.1, -0.3, -0.7)],
        [step(0.0), step(math.nan, 1.0), step(0.0, 0.0, -1.0)],
        [step(0.0), step(0.0, 1.0, adopted=0.1), step(1.0, 1.0, 0.0)],
        [step(0.0), step(0.0, 1.0), step(0.0, 2.0, 1.0, unknown=1.0), step(0.0, 1.0, 0.0, 0.5)],
        [step(0.0), step(0.0, 1.0, unknown=0.03), step(0.0, 2.0, 1.0, unknown=0.2)],
    ],
)
def test_forward_and_backward_give_what_counting_every_course_gives(steps: list[Step]) -> None:
    assert [chance for chance, _ in kept_chances(steps)] == pytest.approx(by_hand(steps), abs=1e-9)


def test_a_jump_that_is_missing_was_kept_out_and_one_that_shows_was_not() -> None:
    (_, none), (missing, start), (shown, _) = kept_chances([step(0.0), step(0.0, 2.0), step(1.0, 1.0, -1.0)])
    assert none is None
    assert (missing > 0.99, start) == (True, 0)
    assert shown < 0.01


def test_what_nobody_can_see_stays_as_likely_as_before() -> None:
    (_, _), (chance, start) = kept_chances([step(0.0), step(math.nan, 2.0)])
    assert (chance, start) == (pytest.approx(0.1), 0)


def test_no_adjustment_no_answer() -> None:
    assert kept_chances([]) == []
