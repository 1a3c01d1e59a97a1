"""The cumulative sums against a worked example and a table of run lengths.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3 (target 325, allowance 0.3175,
decision interval 4.1959); D. C. Montgomery, G. C. Runger, "Applied Statistics and Probability for Engineers",
3rd edition, Example 16-6 (target 99, allowance 1, decision interval 10) and Table 16-9 (allowance 0.5, decision intervals 4 and 5, both sides).
"""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.cusum import highest_run, signals, upper_cusum
from tests.reference.tables import rows

TARGET, ALLOWANCE, DECISION = 325.0, 0.3175, 4.1959


def columns(name: str) -> dict[str, np.ndarray]:
    table = rows(name)
    return {key: np.array([float(row[key]) for row in table]) for key in table[0]}


def test_sums_of_the_worked_example_match_to_the_printed_digit() -> None:
    table = columns("cusum_nist_6_3_2_3")
    away = table["mean"] - TARGET
    # half a unit of the second decimal, and the rounding of binary fractions
    np.testing.assert_allclose(upper_cusum(away, allowance=ALLOWANCE), table["upper"], atol=0.005 + 1e-9)
    np.testing.assert_allclose(upper_cusum(-away, allowance=ALLOWANCE), table["lower"], atol=0.005 + 1e-9)


def test_worked_example_signals_high_from_group_14_on_and_never_low() -> None:
    table = columns("cusum_nist_6_3_2_3")
    high, low = signals(table["mean"] - TARGET, allowance=ALLOWANCE, decision=DECISION)
    assert table["group"][high].tolist() == [14, 15, 16, 17, 18, 19, 20]
    assert not low.any()


def test_sums_of_a_textbook_example_match_to_the_printed_digit_and_never_signal() -> None:
    table = columns("cusum_textbook")
    away = table["value"] - 99.0
    np.testing.assert_allclose(upper_cusum(away, allowance=1.0), table["upper"], atol=1e-9)
    np.testing.assert_allclose(upper_cusum(-away, allowance=1.0), table["lower"], atol=1e-9)
    assert not any(side.any() for side in signals(away, allowance=1.0, decision=10.0))


def test_highest_run_of_the_worked_example_begins_where_the_process_moved() -> None:
    table = columns("cusum_nist_6_3_2_3")
    begin, end, height = highest_run(table["mean"] - TARGET, allowance=ALLOWANCE)
    assert (table["group"][begin], table["group"][end - 1]) == (13, 20)
    assert height == pytest.approx(19.04, abs=0.005 + 1e-9)


RUNS = columns("cusum_run_lengths")
CASES = [
    (shift, decision, RUNS[f"two_sided_h{decision:.0f}"][i])
    for i, shift in enumerate(RUNS["shift_in_sigma"])
    for decision in (4.0, 5.0)
]


@pytest.mark.parametrize(("shift", "decision", "printed"), CASES)
def test_average_run_length_matches_the_table(shift: float, decision: float, printed: float) -> None:
    chains, longest = 2_000, int(12 * printed) + 20
    lengths = run_lengths(shift, decision, chains, longest, seed=round(100 * shift + decision))
    # four standard errors of a mean of run lengths, whose scatter is at most their mean, and half a printed digit
    tolerance = 4 * lengths.std() / np.sqrt(chains) + 0.005 * printed
    assert abs(lengths.mean() - printed) < tolerance


def run_lengths(shift: float, decision: float, chains: int, longest: int, *, seed: int) -> np.ndarray:
    """Lengths of `chains` runs from a fresh start to the first signal on either side."""
    rng = np.random.default_rng(seed)
    out = np.empty(chains)
    for i in range(chains):
        high, low = signals(rng.standard_normal(longest) + shift, decision=decision)
        first = np.flatnonzero(high | low)
        out[i] = first[0] + 1 if first.size else longest
    return out
