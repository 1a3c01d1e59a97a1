"""Lines of the terminal: a figure keeps its unit, and machines get sentences in the unit asked for."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from dashboards.wording import Reader
from excursions.cli.answer import spoken
from excursions.cli.heat_asked import at
from excursions.cli.wrapping import wrapped


@pytest.mark.parametrize(
    "held", ["± 4 mV", "110 °C", "0.3 pH", "48 % sat", "20 min", "1750 µS/cm", "5 K/min"]
)
def test_a_figure_and_its_unit_are_never_parted_at_the_end_of_a_line(held: str) -> None:
    text = f"reads up to {held} more than it should"
    for width in range(14, len(text) + 1):
        assert any(held in line for line in wrapped(text, width)), width
        assert " ".join(wrapped(text, width)) == text


def test_a_serial_number_stays_whole_at_its_hyphen() -> None:
    assert wrapped("the probe QP-1131 sits there", 14) == ["the probe", "QP-1131 sits", "there"]


def test_sentences_for_machines_are_in_the_unit_asked_for_and_figures_as_they_were() -> None:
    words = Reader(tz=ZoneInfo("UTC"), temperature="degF").text
    facts = {
        "sentence": "to 146 °C, up 5 K", "point": "TI 12 K", "peak_degc": 146.0, "start": "2026-03-03T02:15:00Z",
        "causes": [{"words": "highest 100 degC", "reasons": ("at 0 °C",), "event": "10 K"}],
    }  # fmt: skip
    assert spoken(facts, words) == {
        "sentence": "to 295 °F, up 9 °F", "point": "TI 12 K", "peak_degc": 146.0, "start": "2026-03-03T02:15:00Z",
        "causes": [{"words": "highest 212 °F", "reasons": ["at 32 °F"], "event": "10 K"}],
    }  # fmt: skip


def test_a_probe_without_a_number_is_named_by_its_place() -> None:
    assert at("<V12.PH>", "V12.PH") == "the probe at V12.PH"
    assert at("QP-1131", "F1-PH2") == "QP-1131 at F1-PH2"
