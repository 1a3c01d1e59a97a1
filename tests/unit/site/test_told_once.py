"""A night tells readings found out of tolerance, and what log and record disagree in, once."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from excursions.conclusions import AuditFinding
from excursions.report.wording import audit_account
from excursions.site.ledger import open_ledger
from excursions.site.news import update_events
from tests.unit.dashboards.made_result import made_result


def test_a_stretch_out_of_tolerance_is_told_once_and_not_while_it_is_open(tmp_path: Path) -> None:
    result = made_result()
    still = dataclasses.replace(result.doubts[0], open_end=True, hours_out_of_tolerance=7.0)
    closed = dataclasses.replace(still, open_end=False)
    ledger = open_ledger(tmp_path / "ledger.sqlite")
    told: list[list[str]] = []
    for night, doubts in enumerate([(still,), (closed,), (closed,)], start=1):
        with ledger.transaction() as connection:
            connection.execute("INSERT INTO nights (night, started) VALUES (?, '')", (night,))
            changes = update_events(
                connection, dataclasses.replace(result, doubts=doubts), night=night, report_from="check"
            )
        told.append([change.sentence for change in changes if change.what == "doubted"])
    ledger.close()
    assert [len(sentences) for sentences in told] == [0, 1, 0]
    assert "out of tolerance" in told[1][0]


def test_a_disagreement_of_log_and_record_is_told_once_and_a_missing_entry_only_after_the_next(
    tmp_path: Path,
) -> None:
    result = made_result()
    last = max(c.time for c in result.calibrations)
    row = AuditFinding(
        point=result.points[0].point.name, probe="", kind="no trace", start=last, end=last, sentence="nothing seen",
        calibration="c1",
    )  # fmt: skip
    bare = dataclasses.replace(row, kind="no entry", calibration="", end=last + 1)
    ledger = open_ledger(tmp_path / "ledger.sqlite")
    told: list[list[str]] = []
    nights = [(row, bare), (row, dataclasses.replace(bare, end=last - 1)), (row, bare)]
    for night, audit in enumerate(nights, start=1):
        with ledger.transaction() as connection:
            connection.execute("INSERT INTO nights (night, started) VALUES (?, '')", (night,))
            seen = dataclasses.replace(result, audit=audit)
            changes = update_events(connection, seen, night=night, report_from="check")
        told.append([change.sentence for change in changes if change.what == "audit"])
    ledger.close()
    assert told == [["No trace: nothing seen."], ["No entry: nothing seen."], []]


def test_the_account_of_an_audit_counts_what_it_found_and_leaves_out_what_it_cannot_tell() -> None:
    said = audit_account(["no trace", "copied", "no trace", "cannot tell"])
    assert said == "2 calibrations without a trace, 1 entry with copied figures"
    assert audit_account(["cannot tell"]) == ""
