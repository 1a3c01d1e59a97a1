"""A digest says one thing once: under one heading, and not again in the words of the answer above it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.records import Event
from excursions.report.result import ScanResult
from excursions.site.changes import WITHDRAWN, Change
from excursions.site.digest import as_html, as_text, digest_facts
from excursions.site.ledger import open_ledger
from excursions.site.news import update_events
from tests.unit.dashboards.made_result import made_result

BEGAN = 1_780_000_000 * 10**9


def _event(**known: object) -> Event:
    base = {
        "kind": "drift",
        "start": BEGAN,
        "end": BEGAN + 20 * NS_PER_DAY,
        "size": -1.7,
        "size_unit": "pH",
        "confidence": 0.97,
    }
    return Event(point=made_result().points[0].point.name, **(base | known))  # type: ignore[arg-type]


def _told(tmp_path: Path, *nights: Event) -> list[Change]:
    """What the last of some nights tells of the event."""
    result = made_result()
    ledger = open_ledger(tmp_path / "ledger.sqlite")
    changes: list[Change] = []
    for night, event in enumerate(nights, start=1):
        with ledger.transaction() as connection:
            connection.execute("INSERT INTO nights (night, started) VALUES (?, '')", (night,))
            changes = update_events(connection, _with(result, event), night=night, report_from="check")
    ledger.close()
    return [change for change in changes if change.told]


def _with(result: ScanResult, event: Event) -> ScanResult:
    first = dataclasses.replace(result.points[0], events=(event,))
    return dataclasses.replace(result, points=(first,), verdicts=(), doubts=(), audit=(), due=(), outcomes={})


def test_a_level_that_no_longer_moves_is_not_over(tmp_path: Path) -> None:
    still = _event(open_end=True)
    assert not _told(tmp_path, still, dataclasses.replace(still, open_end=False))


def test_what_passes_is_told_when_it_is_over(tmp_path: Path) -> None:
    stuck = _event(kind="stuck", open_end=True)
    told = _told(tmp_path, stuck, dataclasses.replace(stuck, open_end=False))
    assert [change.what for change in told] == ["resolved"]


def test_an_event_that_is_different_in_several_ways_has_one_line(tmp_path: Path) -> None:
    first = _event(origin="undecided")
    told = _told(tmp_path, first, dataclasses.replace(first, origin="probe", severity="act"))
    assert [change.what for change in told] == ["worse"]
    assert "Before: drift (undecided); now: drift (probe)." in told[0].sentence


@pytest.mark.parametrize(("moved", "told"), [(1.5 * NS_PER_DAY, 0), (4 * NS_PER_DAY, 1)])
def test_the_onset_of_what_lasts_is_news_beyond_a_tenth_of_it(
    tmp_path: Path, moved: float, told: int
) -> None:
    first = _event()
    assert len(_told(tmp_path, first, dataclasses.replace(first, start=first.start + int(moved)))) == told


@pytest.mark.parametrize(("moved", "told"), [(NS_PER_HOUR // 2, 0), (30 * NS_PER_DAY, 1)])
def test_a_standing_doubt_that_begins_elsewhere_is_told(tmp_path: Path, moved: int, told: int) -> None:
    result = made_result()
    verdict = dataclasses.replace(
        next(v for v in result.verdicts if v.point == result.points[0].point.name),
        verdict="doubt", since=result.points[0].end - 40 * NS_PER_DAY,
    )  # fmt: skip
    bare = dataclasses.replace(
        result, points=(dataclasses.replace(result.points[0], events=()),), doubts=(), audit=(), due=()
    )
    ledger = open_ledger(tmp_path / "ledger.sqlite")
    for night, since in enumerate((verdict.since, verdict.since + moved), start=1):  # type: ignore[operator]
        with ledger.transaction() as connection:
            connection.execute("INSERT INTO nights (night, started) VALUES (?, '')", (night,))
            seen = dataclasses.replace(bare, verdicts=(dataclasses.replace(verdict, since=since),))
            changes = update_events(connection, seen, night=night, report_from="check")
    ledger.close()
    assert len([change for change in changes if change.told and "dated anew" in change.sentence]) == told


@pytest.mark.parametrize("more", ["", " Before: drift (undecided); now: drift (probe)."])
def test_an_answer_is_not_told_again_below_itself(more: str) -> None:
    event = "Drift of −1.7 pH from 18 May 17:15 over 22 d"
    verdict = dataclasses.replace(
        made_result().verdicts[0],
        point="P",
        verdict="doubt",
        sentence=f"{event}; reads about 1.9 pH low since 23 May.",
    )
    new = Change(
        what="new",
        point="P",
        event="c5",
        severity="act",
        sentence=f"{event} (the probe, 97 % sure).{more}",
        told=True,
    )
    other = dataclasses.replace(new, event="d6", sentence="Step of −1 pH on 3 May (the probe, 90 % sure).")
    facts = digest_facts(
        [new, other], [], night=1, finished="2026-01-01T00:00:00Z", plant="", state={}, verdicts=(verdict,)
    )
    for shown in (as_text(facts), as_html(facts)):
        words = " ".join(shown.split())
        assert words.count(event) == 1
        assert f"as it stands above (the probe, 97 % sure).{more}" in words
        assert "Step of −1 pH on 3 May (the probe, 90 % sure)." in words
    assert facts["news"]["new"][0]["sentence"] == new.sentence  # programs get all of it


def test_nobody_is_asked_to_act_on_what_the_record_no_longer_shows() -> None:
    gone = Change(
        what="changed",
        point="P",
        severity="act",
        after=WITHDRAWN,
        sentence="Nothing is left of it.",
        told=True,
    )
    facts = digest_facts([gone], [], night=2, finished="2026-01-01T00:00:00Z", plant="", state={})
    assert facts["news"]["changed"][0]["weight"] == "gone"
