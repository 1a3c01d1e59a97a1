"""Packing changes the size of an array, never a value."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards.figures.pack import pack_array, unpack_array


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ([7.01, 7.02, 6.99], "i2"),
        ([7.0013, 71.5], "i4"),
        ([0.1 + 0.2], "f8"),
        ([1e300, 1.0], "f8"),
        ([np.nan, np.nan], "i2"),
        ([], "i2"),
        ([-0.5, np.nan, 3e5], "i4"),
    ],
)
def test_the_smallest_type_that_is_exact_is_taken(values: list[float], kind: str) -> None:
    packed = pack_array(np.array(values, dtype=np.float64))
    assert packed["type"] == kind
    np.testing.assert_array_equal(unpack_array(packed), np.array(values, dtype=np.float64))


@given(
    st.lists(
        st.one_of(st.floats(width=64, allow_infinity=False), st.decimals(-9999, 9999, places=3).map(float)),
        max_size=50,
    )
)
def test_any_array_comes_back_exactly(values: list[float]) -> None:
    array = np.array(values, dtype=np.float64)
    np.testing.assert_array_equal(unpack_array(pack_array(array)), array)


def test_whole_seconds_take_four_bytes_and_come_back() -> None:
    time = np.array(["2026-01-01T00:00", "2026-01-01T00:01:07", "2027-01-01T00:00"], dtype="datetime64[ms]")
    packed = pack_array(time)
    assert packed["type"] == "i4"
    np.testing.assert_array_equal(unpack_array(packed), time.astype(np.int64).astype(np.float64))


def test_parts_of_a_second_survive() -> None:
    time = np.array(["2026-01-01T00:00:00.000", "2026-01-01T00:00:00.250"], dtype="datetime64[ms]")
    np.testing.assert_array_equal(unpack_array(pack_array(time)), time.astype(np.int64).astype(np.float64))


def test_a_clock_set_back_keeps_its_times() -> None:
    time = np.array(["2025-10-26T02:59", "2025-10-26T02:00"], dtype="datetime64[ms]")
    np.testing.assert_array_equal(unpack_array(pack_array(time)), time.astype(np.int64).astype(np.float64))
