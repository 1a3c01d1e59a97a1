"""Written numbers to the last digit, and what is no number."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from excursions.read.exports.cells.decimals import Tally, decimal_evidence
from excursions.read.exports.cells.values import STATE_OFF, STATE_ON, looks_numeric, parse_values, understand
from excursions.read.exports.files.frametable import shortest_decimals
from excursions.records import BAD, GOOD, UNCERTAIN


@given(
    st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20), st.sampled_from(".,")
)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_every_double_comes_back(numbers: list[float], decimal: str) -> None:
    found = parse_values(pl.Series([repr(number).replace(".", decimal) for number in numbers]), decimal)
    assert found.value.tolist() == numbers
    assert found.ok.all()
    assert not found.quality.any()


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [("7.02", ".", 7.02), ("7,02", ",", 7.02), ("1,234.5", ".", 1234.5), ("1.234,5", ",", 1234.5), ("1'234.5", ".", 1234.5), ("1 234,5", ",", 1234.5),
     ("1\u00a0234,5", ",", 1234.5), ("12,345,678", ".", 12345678.0), ("−5", ".", -5.0), (" +7.5 ", ".", 7.5), (".5", ".", 0.5), ("5.", ".", 5.0), ("1E-3", ".", 0.001), ("25.2k", ".", 25200.0), ("1,413k", ",", 1413.0)],
)  # fmt: skip
def test_numbers_as_people_write_them(text: str, decimal: str, value: float) -> None:
    found = understand(text, decimal)
    assert found is not None
    assert found.value == value
    assert found.quality == GOOD


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("7.0.2", "."),
        ("7,02", "."),
        ("7.02", ","),
        ("12,34,567", "."),
        ("1.23,4", ","),
        ("12:30", "."),
        ("2024-01-01", "."),
        ("+-3", "."),
        ("0x10", "."),
        ("1_000", "."),
        ("7.02 7.03", "."),
        ("--5", "."),
    ],
)
def test_broken_numbers_are_refused_rather_than_guessed(text: str, decimal: str) -> None:
    assert understand(text, decimal) is None


@pytest.mark.parametrize(
    "text",
    [
        "Bad",
        "No Data",
        "I/O Timeout",
        "###",
        "#DIV/0!",
        "-",
        "n/a",
        "NaN",
        "inf",
        "anything else",
        "BadSensorFailure",
        "Störung",
        "1.#QNAN",
    ],
)
def test_status_words_are_bad_and_listed(text: str) -> None:
    found = understand(text, ".")
    assert found is not None
    assert math.isnan(found.value)
    assert (found.quality, found.word) == (BAD, text)


def test_marks_units_and_flags_beside_numbers() -> None:
    read = {
        text: understand(text, ".")
        for text in ("<0.1", "> 14", "7.02 pH", "12 %", "7.02*", "7.02 (Bad)", "5 mg/L")
    }
    assert {t: (m.value, m.quality) for t, m in read.items() if m and t != "7.02 (Bad)"} == {
        "<0.1": (0.1, UNCERTAIN), "> 14": (14.0, UNCERTAIN), "7.02 pH": (7.02, GOOD), "12 %": (12.0, GOOD), "7.02*": (7.02, UNCERTAIN), "5 mg/L": (5.0, GOOD)
    }  # fmt: skip
    bad = read["7.02 (Bad)"]
    assert bad is not None
    assert bad.quality == BAD
    assert [m.unit for m in read.values() if m] == ["", "", "pH", "%", "", "", "mg/L"]


def test_two_state_words_wait_for_the_whole_tag() -> None:
    found = parse_values(pl.Series(["ON", "off", "7.0"]), ".")
    assert found.quality.tolist() == [STATE_ON, STATE_OFF, GOOD]


def test_empty_cells_are_told_from_words_and_refusals() -> None:
    found = parse_values(pl.Series(["7", "", None, "  ", "Bad", "7..1"]), ".")
    assert found.empty.tolist() == [False, True, True, True, False, False]
    assert found.ok.tolist() == [True, True, True, True, True, False]
    assert [text for text, _, _ in found.odd] == ["Bad", "7..1"]


@pytest.mark.parametrize(
    ("texts", "mark"),
    [(["7,02", "8"], ","), (["7.02", "8"], "."), (["1.234,5"], ","), (["1,234.5"], "."), (["7,025", "8,113"], ","), (["7,025", "8"], ""), (["1,234,567"], "."), (["8", "9"], "."), (["0,125"], ",")],
)  # fmt: skip
def test_the_decimal_mark_is_decided_from_all_numbers(texts: list[str], mark: str) -> None:
    assert decimal_evidence(texts).decide()[0] == mark
    tally = Tally()
    tally.add(pl.Series(texts, dtype=pl.String), (), 1)
    assert tally.evidence() == decimal_evidence(texts)


@pytest.mark.parametrize("mark", ["<", ">", "≤", "≥", "~", "≈", "=", "?", "*", "!"])
def test_a_mark_before_a_number_hides_no_decimal_comma(mark: str) -> None:
    texts = [f"{mark}7,025", f"{mark} 8,113"]
    assert all(map(looks_numeric, texts))
    assert decimal_evidence(texts).decide()[0] == ","
    tally = Tally()
    tally.add(pl.Series(texts), (), 1)
    assert tally.evidence() == decimal_evidence(texts)
    assert parse_values(pl.Series(texts), ",").value.tolist() == [7.025, 8.113]


def test_a_point_before_three_digits_beside_whole_hundreds_marks_thousands() -> None:
    assert decimal_evidence(["950", "985", "1.010", "1.230"]).decide(";")[0] == ","
    assert decimal_evidence(["950", "985", "1.010", "1.2"]).decide(";")[0] == "."
    assert decimal_evidence(["7.012", "7.013"]).decide(";") == (
        ".",
        "every number has a point before exactly three digits: thousands are possible too",
    )
    assert decimal_evidence(["0", "7.012", "7.013"]).decide(";")[0] == "."
    assert decimal_evidence(["1.234.567", "950"]).decide(";")[0] == ","


def test_whole_numbers_of_another_tag_say_nothing_of_this_ones_marks() -> None:
    tally = Tally()
    tally.add(pl.Series(["7.012", "250", "7.015", "260"]), [pl.Series(["pH", "mV", "pH", "mV"])], 2)
    assert tally.evidence().decide(";")[0] == "."
    other = Tally()
    other.add(pl.Series(["7,012", "250", "7,015", "260"]), [pl.Series(["pH", "mV", "pH", "mV"])], 2)
    assert other.evidence().decide(";")[0] == ","


def test_typed_columns() -> None:
    found = parse_values(pl.Series([1.5, None, float("nan"), float("inf")]), ".")
    assert found.empty.tolist() == [False, True, False, False]
    assert found.quality.tolist() == [GOOD, BAD, BAD, BAD]
    assert parse_values(pl.Series([True, False, None]), ".").value.tolist()[:2] == [1.0, 0.0]
    assert parse_values(pl.Series([1, 2], dtype=pl.Int16), ".").value.tolist() == [1.0, 2.0]


@given(st.lists(st.decimals(min_value=-9999, max_value=9999, places=3), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_32_bit_numbers_give_back_the_decimal_they_were_written_from(decimals: list[object]) -> None:
    numbers = np.array([float(str(number)) for number in decimals])
    assert shortest_decimals(numbers.astype(np.float32)).tolist() == [
        float(f"{number:.3f}") for number in numbers
    ]


def test_32_bit_numbers_without_a_short_decimal_stay_as_they_are() -> None:
    numbers = np.array([1 / 3, np.pi * 1e20, 1e-38, np.nan, np.inf, 0.0, -0.0, 16777217.0], np.float32)
    np.testing.assert_array_equal(shortest_decimals(numbers).astype(np.float32), numbers)
