"""The point page carries what the audit says of its log, and when its probe is due."""

from __future__ import annotations

import dataclasses
from zoneinfo import ZoneInfo

from dashboards.content.fleet import audit_row, due_row, in_use
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.conclusions import AUDIT_KINDS, AuditFinding, Due
from excursions.plant import Installation, Plant

READER = Reader(tz=ZoneInfo("Europe/Vienna"), temperature="degC")
DUE = Due(
    point="ph", probe="S1", last=0, planned=30 * NS_PER_DAY, staircase=None, staircase_days=float("nan"), limit=None,
    limit_early=None, limit_late=None, parameter="", sentence="not enough calibrations to say",
)  # fmt: skip


def test_every_kind_of_the_audit_has_words() -> None:
    told = {
        kind: audit_row(AuditFinding(point="ph", probe="", kind=kind, start=0, end=0, sentence="x"), READER, {}, {}).kind
        for kind in AUDIT_KINDS
    }  # fmt: skip
    assert len(set(told.values())) == len(AUDIT_KINDS)
    assert told["other plateaus"] == "other standards seen"
    assert told["not taken over"] == "adjustment not seen"


def test_a_finding_stands_under_the_instant_of_its_entry_not_where_its_search_began() -> None:
    searched = AuditFinding(
        point="ph", probe="", kind="no trace", start=8 * NS_PER_HOUR, end=12 * NS_PER_HOUR, sentence="x", calibration="c1"
    )  # fmt: skip
    row = audit_row(searched, READER, {}, {"c1": 10 * NS_PER_HOUR})
    assert (row.when, row.instant) == (READER.moment(10 * NS_PER_HOUR), 10 * NS_PER_HOUR)
    assert audit_row(searched, READER, {}, {}).instant == 8 * NS_PER_HOUR


def test_a_date_that_is_over_says_by_how_much() -> None:
    row = due_row(DUE, 40 * NS_PER_DAY, READER, {})
    assert row.planned.endswith("over by 10 d at the end of the record")


def test_a_probe_that_left_is_due_nowhere() -> None:
    stays = (Installation(probe="S2", point="ph", start=10 * NS_PER_DAY),)
    assert not in_use(DUE, Plant(installations=stays), 40 * NS_PER_DAY)
    assert in_use(DUE, Plant(), 40 * NS_PER_DAY)


def test_without_a_plan_and_without_an_interval_the_next_calibration_is_not_known() -> None:
    bare = dataclasses.replace(DUE, planned=None, staircase=None)
    assert due_row(bare, 40 * NS_PER_DAY, READER, {}).when.startswith("not known, because no plan is stated")
    found = dataclasses.replace(bare, staircase=50 * NS_PER_DAY)
    assert due_row(found, 40 * NS_PER_DAY, READER, {}).when.startswith("by the last results ")
