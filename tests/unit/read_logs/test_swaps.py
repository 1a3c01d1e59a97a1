"""What a log says of exchanges, and who sat there before one that names the new probe alone."""

from __future__ import annotations

from excursions.read.logs.swaps import Swap, installations_of
from excursions.records import CalibrationEntry


def _entry(time: int, probe: str, point: str = "P") -> CalibrationEntry:
    return CalibrationEntry(time=time, file="log.csv", line=time, point=point, probe=probe)


def _stays(swap: Swap, *entries: CalibrationEntry) -> list[tuple[str, int | None, int | None]]:
    return [(row.probe, row.start, row.end) for row in installations_of([swap], entries)]


def test_a_new_probe_ends_the_stay_of_the_one_that_was_calibrated_here_last() -> None:
    swap = Swap(time=50, point="P", into="NEW")
    assert _stays(swap, _entry(10, "OLD"), _entry(60, "NEW")) == [("OLD", None, 50), ("NEW", 50, None)]


def test_what_was_made_ready_on_the_bench_is_no_probe_that_sat_there() -> None:
    swap = Swap(time=50, point="P", into="NEW")
    entries = (_entry(10, "OLD"), _entry(49, "NEW"), _entry(60, "NEW"))
    assert _stays(swap, *entries) == [("OLD", None, 50), ("NEW", 50, None)]


def test_nobody_calibrated_here_before_is_nobody_known() -> None:
    swap = Swap(time=50, point="P", into="NEW")
    assert _stays(swap, _entry(10, "OTHER", "Q"), _entry(60, "NEW")) == [("NEW", 50, None)]
