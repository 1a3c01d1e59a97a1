"""Every file of the corpus gives exactly the table that lies beside it, or is refused with the words it must be."""

from __future__ import annotations

import csv
import math
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from excursions.errors import InputFileError
from excursions.read import Reading, ReadOptions, read_exports

CORPUS = Path(__file__).parents[2] / "corpus"
CASES: list[dict[str, Any]] = tomllib.loads((CORPUS / "cases.toml").read_text(encoding="utf-8"))["case"]
GOOD = [case for case in CASES if "error" not in case]
REFUSED = [case for case in CASES if "error" in case]
QUALITY = {"good": 0, "uncertain": 1, "bad": 2}


def expected_table(name: str) -> dict[str, list[tuple[int, float, int]]]:
    table: dict[str, list[tuple[int, float, int]]] = {}
    with (CORPUS / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            time = int(np.datetime64(row["time"].removesuffix("Z"), "ns").astype(np.int64))
            table.setdefault(row["tag"], []).append((time, float(row["value"]), QUALITY[row["quality"]]))
    return table


@cache
def read_again(name: str) -> Reading:
    case = next(case for case in CASES if case["name"] == name)
    return read_exports([CORPUS / "files" / case["file"]], ReadOptions(**case.get("options", {})))


def read_case(case: dict[str, Any]) -> Reading:
    return read_again(case["name"])


def rows_of(reading: Reading, tag: str) -> list[tuple[int, float, int]]:
    series = reading.series[tag]
    return list(zip(series.time.tolist(), series.value.tolist(), series.quality.tolist(), strict=True))


def same(found: tuple[int, float, int], expected: tuple[int, float, int]) -> bool:
    values_match = found[1] == expected[1] or (math.isnan(found[1]) and math.isnan(expected[1]))
    return found[0] == expected[0] and values_match and found[2] == expected[2]


def test_corpus_is_large_enough() -> None:
    assert len(CASES) >= 60
    assert {path.name for path in (CORPUS / "files").iterdir()} == {case["file"] for case in CASES}


@pytest.mark.parametrize("key", ["error", "decided", "notes"])
def test_words_that_must_be_said_are_a_list(key: str) -> None:
    """A text alone would be looked for letter by letter, and be found in any sentence."""
    assert [case["name"] for case in CASES if not isinstance(case.get(key, []), list)] == []


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case["name"])
def test_gives_the_table_beside_it(case: dict[str, Any]) -> None:
    reading = read_case(case)
    expected = expected_table(case["name"])
    assert list(reading.series) == sorted(expected)
    for tag, rows in expected.items():
        found = rows_of(reading, tag)
        assert len(found) == len(rows), tag
        assert all(same(f, e) for f, e in zip(found, rows, strict=True)), (tag, found, rows)


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case["name"])
def test_accounts_for_every_row(case: dict[str, Any]) -> None:
    reading = read_case(case)
    used = sum(len(rows) for rows in expected_table(case["name"]).values())
    assert sum(report.used for report in reading.files) == used
    assert all(report.rows == report.used + report.refused for report in reading.files)
    assert int(reading.refused["rows"].sum()) == sum(report.refused for report in reading.files)
    assert sorted(set(reading.refused["line"].to_list())) == sorted(case.get("refused", []))
    assert all(reason for reason in reading.refused["reason"].to_list())


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case["name"])
def test_says_what_was_decided(case: dict[str, Any]) -> None:
    reading = read_case(case)
    said = "\n".join(f"{decision.what}: {decision.why}" for decision in reading.decisions)
    notes = "\n".join(note for report in reading.files for note in report.notes)
    counts: dict[str, int] = {}
    for row in reading.status_words.iter_rows(named=True):
        counts[row["word"]] = counts.get(row["word"], 0) + row["count"]
    assert [words for words in case.get("decided", []) if words not in said] == []
    assert [words for words in case.get("notes", []) if words not in notes] == []
    assert {word: counts.get(word) for word in case.get("words", {})} == case.get("words", {})
    assert {tag: reading.series[tag].unit for tag in case.get("units", {})} == case.get("units", {})
    assert reading.problems == ()


@pytest.mark.parametrize("case", REFUSED, ids=lambda case: case["name"])
def test_refuses_with_a_sentence_that_mends(case: dict[str, Any]) -> None:
    with pytest.raises(InputFileError) as caught:
        read_case(case)
    error = caught.value
    assert error.file.endswith(case["file"])
    assert error.found
    assert error.expected
    assert error.mend
    assert [words for words in case["error"] if words not in str(error)] == []
