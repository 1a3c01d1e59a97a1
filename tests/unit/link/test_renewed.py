"""A slope that comes back to a new probe's is no event's doing."""

from __future__ import annotations

import pytest

from excursions.link import attribute
from excursions.link.renewed import came_back
from excursions.records import Link, Shift
from tests.unit.link.builders import PLANT, event, level, shift


def first(shifts: list[Shift], *sizes: float) -> dict[str, Link]:
    """Likeliest cause of each parameter's shift, with a drift for each size."""
    drifts = [event("drift", 15.0, size, length_h=100.0) for size in sizes]
    found = attribute(shifts, drifts, PLANT, {"ph": level(8.0)})
    names = {s.id: s.parameter for s in shifts}
    return {names[link.shift]: link for link in found if link.rank == 1}


def moved(slope: float, zero: float, *, before: float = 95.5) -> list[Shift]:
    rise = shift(slope, parameter="slope", u=0.7)
    return [
        Shift(**{**{f: getattr(rise, f) for f in rise.__dataclass_fields__}, "before": before, "after": before + slope}),
        shift(zero),
    ]  # fmt: skip


@pytest.mark.parametrize("drift", [-0.2, 0.2])
def test_a_slope_that_came_back_is_not_laid_to_a_drift(drift: float) -> None:
    links = first(moved(3.5, -drift), drift)
    assert links["slope"].cause == "unrecorded"
    assert links["slope"].reasons[0].startswith("the slope is back at a new probe's")
    assert links["zero_point"].cause == "event"  # the drift goes on explaining what it did


def test_a_slope_that_was_lost_in_a_drift_is_laid_to_it_as_before() -> None:
    links = first(moved(-5.0, 0.0, before=98.0), -0.14)
    assert links["slope"].cause == "event"


def test_an_unchanged_slope_near_a_new_one_is_ageing() -> None:
    links = first(moved(0.4, 0.0, before=98.5))
    assert {link.cause for link in links.values()} == {"ageing"}
    assert not any("new probe" in reason for link in links.values() for reason in link.reasons)


@pytest.mark.parametrize(
    ("slope", "before", "back"),
    [(3.5, 95.5, True), (1.5, 97.0, False), (6.0, 85.0, False), (-3.5, 102.5, False)],
)
def test_back_at_a_new_one_is_a_clear_rise_to_where_new_ones_are(
    slope: float, before: float, back: bool
) -> None:
    assert came_back(moved(slope, 0.0, before=before)[0]) is back


def test_a_cell_constant_has_no_new_figure_to_come_back_to() -> None:
    assert not came_back(shift(0.3, parameter="cell_constant", point="conductivity"))
