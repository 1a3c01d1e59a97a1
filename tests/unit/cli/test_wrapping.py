"""Lines of the terminal: what belongs together is not parted."""

from __future__ import annotations

import pytest

from excursions.cli.wrapping import filled, wrapped


@pytest.mark.parametrize(
    "whole", ["0.3 pH", "146 °C", "± 4", "95 % sat", "25 K/min", "413 µS/cm", "26 Jun", "QP-1107"]
)
def test_a_line_does_not_end_within(whole: str) -> None:
    for width in range(len(whole) + 4, 40):
        lines = wrapped(f"reads about {whole} since then and still so", width)
        assert any(whole in line for line in lines), width
        assert max(map(len, lines)) <= width


def test_what_stands_before_the_lines_counts() -> None:
    assert filled("one two three", 9, first="- ", then="  ") == "- one two\n  three"
