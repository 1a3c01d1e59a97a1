"""A signal that stops arriving, and an inbox that stays empty, are told once; what is usual here is not."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, iso
from excursions.site.feed import BEHIND, FEEDING, TOLD, Feed, looked_at
from excursions.site.health import dry_since, health
from excursions.site.layout import Site
from excursions.site.ledger import Ledger, open_ledger
from excursions.site.settings import Schedule
from tests.sites import NOW, ledger_rows, run

DAY = NS_PER_DAY


def _walk(lasts: list[int], ends: list[int], silence: int = 0) -> list[str]:
    """States of a tag looked at after each night; lasts and ends in days."""
    feed: Feed | None = None
    states = []
    for last, end in zip(lasts, ends, strict=True):
        feed = looked_at(feed, last * DAY, end * DAY, patience=DAY, silence=silence)
        states.append(feed.state)
    return states


def test_a_signal_that_stops_is_told_and_comes_back() -> None:
    assert _walk([1, 2, 2, 2, 5], [1, 2, 3, 4, 5]) == [FEEDING, FEEDING, FEEDING, TOLD, FEEDING]


def test_what_comes_once_a_week_is_told_once_and_then_known() -> None:
    ends = list(range(1, 22))
    states = _walk([end // 7 * 7 for end in ends], ends)
    assert states[6:13] == [FEEDING] * 7  # seven days behind were learned before
    assert TOLD not in states[6:]


def test_a_signal_out_of_service_when_the_site_began_is_not_told() -> None:
    assert _walk([1, 1, 1], [400, 401, 402]) == [BEHIND] * 3


def test_years_out_of_service_teach_no_patience() -> None:
    assert _walk([1, 1, 402, 402, 402], [400, 401, 402, 403, 404]) == [BEHIND, BEHIND, FEEDING, FEEDING, TOLD]


def test_a_signal_that_is_often_silent_for_days_is_given_that_time() -> None:
    assert _walk([1, 1, 1, 1], [1, 2, 3, 4], silence=3 * DAY) == [FEEDING] * 4


@pytest.mark.slow
def test_a_night_without_one_of_the_signals_says_which_and_since_when(
    site: Site, later: Path, tmp_path: Path
) -> None:
    rows = pl.read_csv(later)
    rows.filter(~pl.col("tag").str.starts_with("B2")).write_csv(site.inbox / "part.csv")
    told = run(site).digest["news"]["silent"]
    assert [row["point"] for row in told] == ["B2", "B2"]
    assert "value (B2.PV)" in told[0]["sentence"]
    assert "silent" not in run(site).digest.get("news", {})
    rows.filter(pl.col("tag").str.starts_with("B2")).write_csv(site.inbox / "rest.csv")
    back = run(site).digest["news"]["resolved"]
    assert any("B2.T) arrive again" in row["sentence"] for row in back)
    assert len(ledger_rows(site, "SELECT 1 FROM changes WHERE what = 'silent'")) == 2


def _ledger_with_files_on(path: Path, days: list[float]) -> Ledger:
    ledger = open_ledger(path)
    with ledger.transaction() as connection:
        for night, day in enumerate(days, start=1):
            connection.execute(
                "INSERT INTO nights (night, started, files) VALUES (?, ?, 1)",
                (night, iso(NOW + int(day * DAY))),
            )
    return ledger


@pytest.mark.parametrize(
    ("days", "asked", "dry"),
    [
        ([0, 1, 2, 3], 4.4, False),
        ([0, 1, 2, 3], 4.6, True),  # half a day later than one a day
        ([0, 7, 14, 21], 31, False),  # one a week
        ([0, 7, 14, 21], 32, True),
        ([0, 1, 2], 30, False),  # too few to know
    ],
)
def test_an_inbox_that_stays_empty_longer_than_usual_is_said(
    tmp_path: Path, days: list[float], asked: float, dry: bool
) -> None:
    ledger = _ledger_with_files_on(tmp_path / "ledger.sqlite", days)
    sentence = dry_since(ledger, NOW + int(asked * DAY), Schedule())
    ledger.close()
    assert bool(sentence) is dry
    if dry:
        assert iso(NOW + int(days[-1] * DAY)) in sentence


def test_the_look_whether_it_ran_says_that_files_stay_away(site: Site) -> None:
    ledger = open_ledger(site.ledger)
    with ledger.transaction() as connection:
        connection.execute("UPDATE nights SET finished = ?, started = ?", (iso(NOW), iso(NOW)))
        for night in range(2, 6):
            at = iso(NOW + night * DAY)
            connection.execute(
                "INSERT INTO nights (night, started, finished, files) VALUES (?, ?, ?, 1)", (night, at, at)
            )
        at = iso(NOW + 9 * DAY)
        connection.execute("INSERT INTO nights (night, started, finished) VALUES (9, ?, ?)", (at, at))
    ledger.close()
    found = health(site.root, now_ns=NOW + 9 * DAY + NS_PER_HOUR)
    assert not found.healthy
    assert "No file has come since" in found.sentence
