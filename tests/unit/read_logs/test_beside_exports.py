"""What the exports of the same run settle for a log: the order of its dates; and what its own words leave open."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from excursions.clock import to_ns
from excursions.read.logs.log import read_calibrations
from excursions.read.model import ReadOptions

LOG = (
    "Date,Point,Phase,Slope %,Zero pH\n03/06/2026 02:45,A1,{0},98.0,7.01\n04/07/2026 02:50,A1,{1},97.1,7.02\n"
)


def read(tmp_path: Path, text: str, options: ReadOptions):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_calibrations(path, options=options)


def end(text: str) -> int:
    return to_ns(datetime.fromisoformat(text).replace(tzinfo=UTC))


@pytest.mark.parametrize(
    ("orders", "until", "order", "why"),
    [
        ([["month-first"]], None, "month-first", "the exports beside it are written so"),
        ([["day-first"], ["year-first"]], None, "day-first", "the exports beside it are written so"),
        ([], "2026-04-12", "month-first", "only so do they lie before the end of the exported record"),
        ([["day-first"]], "2026-04-12", "month-first", "only so do they lie before the end of the exported record"),
    ],
)  # fmt: skip
def test_exports_settle_an_open_order(tmp_path: Path, orders, until, order: str, why: str) -> None:
    options = ReadOptions(tz="UTC").with_exports(orders, end(until) if until else None)
    found = read(tmp_path, LOG.format("as left", "as left"), options)
    assert not found.problems
    assert [(d.what, d.why) for d in found.decisions if d.option == "--date-order"] == [
        (f"dates are {order}", why)
    ]
    month = 3 if order == "month-first" else 6
    assert datetime.fromtimestamp(found.entries[0].time / 1e9, UTC).month == month


@pytest.mark.parametrize(("orders", "until"), [([], None), ([["day-first"], ["month-first"]], "2027-01-01")])
def test_what_exports_leave_open_stays_refused(tmp_path: Path, orders, until) -> None:
    options = ReadOptions(tz="UTC").with_exports(orders, end(until) if until else None)
    found = read(tmp_path, LOG.format("as left", "as left"), options)
    assert not found.entries
    assert found.refused.height == 2
    assert "--date-order" in str(found.problems[0])


def test_an_unknown_word_for_a_phase_is_told_with_its_line(tmp_path: Path) -> None:
    options = ReadOptions(tz="UTC", date_order="month-first")
    found = read(tmp_path, LOG.format("wie gefunden", "endgueltig"), options)
    assert [entry.phase for entry in found.entries] == ["as_found", "as_left"]
    (problem,) = found.problems
    assert (problem.line, problem.column) == (3, "phase")
    assert 'phase "endgueltig" (1 row), taken as left' in str(problem)


@pytest.mark.parametrize(
    "header", ["Serien-Nr.", "Ser.-Nr.", "S/N", "SN", "Seriennr.", "Serial no", "Sensor-Nr."]
)
def test_serial_numbers_by_any_of_their_headers(tmp_path: Path, header: str) -> None:
    text = f"Date,Point,{header},Slope %,Zero pH\n2026-03-06,A1,KP-3341,98.0,7.01\n"
    assert [entry.probe for entry in read(tmp_path, text, ReadOptions(tz="UTC")).entries] == ["KP-3341"]
