"""Quality codes of the open standards, and words."""

from __future__ import annotations

import polars as pl
import pytest

from excursions.read.text.quality import (
    QualityPlan,
    parse_quality,
    quality_of,
    scheme_of,
    user_words,
)
from excursions.records import BAD, GOOD, UNCERTAIN

# OPC Data Access: quality flags, two high bits of the low byte; limit bits and the high byte change nothing.
CLASSIC = {0: BAD, 4: BAD, 8: BAD, 12: BAD, 16: BAD, 20: BAD, 24: BAD, 28: BAD, 32: BAD, 64: UNCERTAIN, 68: UNCERTAIN, 80: UNCERTAIN,
           84: UNCERTAIN, 88: UNCERTAIN, 192: GOOD, 216: GOOD, 195: GOOD, 65: UNCERTAIN, 0x01C0: GOOD, 0x0118: BAD}  # fmt: skip
# OPC 10000-4 / 10000-6: status codes and names.
UA = {"Good": 0, "Uncertain": 0x40000000, "Bad": 0x80000000, "GoodClamped": 0x00300000, "GoodLocalOverride": 0x00960000,
      "UncertainLastUsableValue": 0x40900000, "UncertainSensorNotAccurate": 0x40930000, "UncertainSubNormal": 0x40950000,
      "BadNoCommunication": 0x80310000, "BadWaitingForInitialData": 0x80320000, "BadNotConnected": 0x808A0000,
      "BadDeviceFailure": 0x808B0000, "BadSensorFailure": 0x808C0000, "BadOutOfService": 0x808D0000}  # fmt: skip


@pytest.mark.reference
@pytest.mark.parametrize("code", sorted(CLASSIC))
def test_opc_classic(code: int) -> None:
    plan = QualityPlan(scheme="classic")
    assert quality_of(str(code), plan) == CLASSIC[code]
    assert quality_of(f"0x{code:X}", plan) == CLASSIC[code]


@pytest.mark.reference
@pytest.mark.parametrize("name", sorted(UA))
def test_opc_ua(name: str) -> None:
    expected = GOOD if name.startswith("Good") else UNCERTAIN if name.startswith("Uncertain") else BAD
    plan = QualityPlan(scheme="ua")
    signed = UA[name] - 2**32 if UA[name] >= 2**31 else UA[name]
    assert [quality_of(text, plan) for text in (name, str(UA[name]), f"0x{UA[name]:08X}", str(signed))] == [
        expected
    ] * 4


@pytest.mark.parametrize(
    ("texts", "header", "scheme"),
    [({"192", "0"}, "Q", "classic"), ({"0", "2147483648"}, "Status", "ua"), ({"-2147483648"}, "Status", "ua"), ({"Good", "Bad"}, "Q", "words"),
     ({"0", "1"}, "is good", "good_is_1"), ({"0", "1"}, "Fault", "good_is_0"), ({"1"}, "Status", "good_is_1"), ({"0"}, "Status", "good_is_0"),
     ({"0", "100", "50"}, "Percent Good", "percent"), ({"100"}, "q", "percent"), ({"24", "28"}, "q", "classic")],
)  # fmt: skip
def test_the_scheme_is_found_from_codes_and_header(texts: set[str], header: str, scheme: str) -> None:
    assert scheme_of(sorted(texts), header)[0] == scheme


def test_words_in_any_spelling() -> None:
    plan = QualityPlan()
    assert {
        quality_of(text, plan) for text in ("Good", "GOOD ", "ok", "Good, non-specific", "gültig", '"Good"')
    } == {GOOD}
    assert {
        quality_of(text, plan)
        for text in ("Bad", "bad [sensor failure]", "Comm Failure", "ungültig", "I/O Timeout")
    } == {BAD}
    assert {quality_of(text, plan) for text in ("Uncertain", "questionable", "Substituted", "fraglich")} == {
        UNCERTAIN
    }
    assert quality_of("never heard", plan) is None


def test_the_users_words_go_first() -> None:
    plan = QualityPlan(scheme="classic", own=user_words({"192": "bad", "frisch": "good", "x": "nonsense"}))
    assert quality_of("192", plan) == BAD
    assert quality_of("Frisch", plan) == GOOD
    assert quality_of("x", plan) is None


def test_a_column_with_empty_and_unknown_cells() -> None:
    codes, table = parse_quality(pl.Series(["Good", None, "never heard", "Bad"]), QualityPlan())
    assert codes.tolist() == [GOOD, GOOD, UNCERTAIN, BAD]
    assert table["never heard"] == (UNCERTAIN, False)
    assert parse_quality(pl.Series([True, False]), QualityPlan())[0].tolist() == [GOOD, BAD]


def test_noughts_in_most_rows_are_good_where_no_code_is() -> None:
    assert scheme_of(["0", "8"], "status", "0")[0] == "good_is_0"
    assert scheme_of(["0", "8"], "status", "8")[0] == "classic"
    assert scheme_of(["0", "192"], "status", "0")[0] == "classic"
