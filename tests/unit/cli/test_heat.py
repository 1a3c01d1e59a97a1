"""Heat in the terminal: a span and its length are one figure."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from dashboards.wording import Reader
from excursions.cli.heat import _calibrated, _fleet_lines, _span
from excursions.cli.heat_asked import Heat, Row, choose
from excursions.clock import NS_PER_S, minutes_text
from excursions.errors import UsageError
from excursions.plant import Plant, Point


def test_a_span_that_is_written_to_the_minute_is_as_long_as_it_is_said_to_be() -> None:
    """From 16:57:02 to 17:07:44 are 11 minutes, and so are the minutes written."""
    start = 1_779_721_022 * NS_PER_S  # 25 May 2026, 14:57:02 UTC
    end = start + 642 * NS_PER_S
    assert minutes_text(642 / 60) == "11 min"
    assert _span(start, end, Reader(tz=ZoneInfo("Europe/Vienna"))) == "25 May 2026, 16:57 to 17:08"
    late = start + 40 * NS_PER_S  # 16:57:42, which every sentence writes as 16:57
    assert _span(late, late + 642 * NS_PER_S, Reader(tz=ZoneInfo("Europe/Vienna"))).startswith(
        "25 May 2026, 16:57 to 17:08"
    )


@pytest.mark.parametrize(
    ("highest", "words"),
    [
        (
            (34.0, 27.0),
            "N1: no heat exposure in this record; 2 probes sat there (P-2, P-1).",
        ),
        (
            (34.0, None),
            "N1: no heat exposure in this record; 2 probes sat there (P-2, P-1). Of P-1 no temperature was exported.",
        ),
        (
            (None, None),
            "N1: no temperature was exported, so its heat is not known; 2 probes sat there (P-2, P-1).",
        ),
    ],
)
def test_a_point_at_which_two_probes_sat_is_answered_for_itself(
    highest: tuple[float | None, float | None], words: str
) -> None:
    def life(probe: str, point: str, top: float | None) -> Row:
        return {"probe": probe, "points": point, "maximum_degc": top, "dose_h": 0.0, "replacement": ""}

    here = [life("P-2", "N1", highest[0]), life("P-1", "N1", highest[1])]
    heat = Heat(lives=[life("P-9", "F1", 140.0), *here], exposures=[], tz=ZoneInfo("UTC"), unit="degC")
    answer = choose(heat, probe="", point="N1", at=None)
    assert answer.sentence == words
    assert answer.lives == here
    listed = " ".join(_fleet_lines(answer.lives, Reader(tz=ZoneInfo("UTC"))))
    assert "P-2 at N1" in listed
    assert "P-9" not in listed


def test_a_point_is_found_by_its_tag() -> None:
    lives = ({"probe": "P1", "points": "O2", "maximum_degc": 90.0},)
    plant = Plant(points=(Point(name="O2", value="Котёл/O2", temperature="Котёл/O2 T"),))
    heat = Heat(lives=lives, exposures=(), tz=ZoneInfo("UTC"), unit="degC", plant=plant)
    for said in ("Котёл/O2", "котёл o2", "Котёл/O2 T"):
        assert choose(heat, probe="", point=said, at=None).life == lives[0]


def test_the_name_of_a_point_given_for_a_probe_asks_about_that_point() -> None:
    lives = ({"probe": "PH-5551", "points": "D-PH", "maximum_degc": 90.0},)
    heat = Heat(lives=lives, exposures=(), tz=ZoneInfo("UTC"), unit="degC")
    assert choose(heat, probe="D-PH", point="", at=None).life == lives[0]


def test_who_asks_for_a_number_without_a_log_is_told_that_the_log_is_missing() -> None:
    lives = ({"probe": "<FE1>", "points": "FE1", "maximum_degc": 90.0},)
    heat = Heat(lives=lives, exposures=(), tz=ZoneInfo("UTC"), unit="degC")
    with pytest.raises(UsageError, match="Give the log or the register that names the serial numbers"):
        choose(heat, probe="TB-4417", point="", at=None)
    assert choose(heat, probe="FE1", point="", at=None).life == lives[0]


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "never, as far as the logs given say"),
        (1, "once, last A, next due B"),
        (3, "3 times, last A, next due B"),
    ],
)
def test_how_often_a_probe_was_calibrated_is_said_as_people_say_it(count: int, said: str) -> None:
    assert _calibrated(count, "A", "B") == said
