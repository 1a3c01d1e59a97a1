"""A night tells the readings that a calibration found out of tolerance, once."""

from __future__ import annotations

import dataclasses
from pathlib import Path

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
