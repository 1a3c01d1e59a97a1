"""Corrections and rating classes by USGS Techniques and Methods 1-D3 (Wagner and others, 2006)."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, to_ns
from excursions.link import corrected
from excursions.link.proration import rating, visit
from excursions.plant import Point
from excursions.records import PRORATION, Doubt
from tests.reference.tables import rows

MEASURAND = {
    "water temperature": "temperature",
    "specific conductance": "conductivity",
    "dissolved oxygen": "oxygen",
    "pH": "ph",
    "turbidity": "turbidity",
}


@pytest.mark.parametrize(
    "row", rows("usgs_rating_classes"), ids=lambda row: f"{row['parameter']}-{row['class']}"
)
def test_rating_class_ends_at_its_bound(row: dict[str, str]) -> None:
    absolute = float(row["absolute_up_to"]) if row["absolute_up_to"] else 1e9
    percent = float(row["percent_up_to"]) if row["percent_up_to"] else 1e9
    assert rating(MEASURAND[row["parameter"]], [(absolute, percent)]) == row["class"]
    assert rating(MEASURAND[row["parameter"]], [(1.01 * absolute, 1.01 * percent)]) != row["class"]


@pytest.mark.parametrize(
    ("measurand", "absolute", "percent"),
    [
        ("temperature", 2.0, 0.0),
        ("conductivity", 0.0, 30.0),
        ("oxygen", 2.0, 20.0),
        ("ph", 2.0, 0.0),
        ("turbidity", 3.0, 30.0),
    ],
)
def test_beyond_the_maximum_allowable_limit_a_record_has_no_class(
    measurand: str, absolute: float, percent: float
) -> None:
    """Maximum allowable limits: 2 degC, 30 %, 2 mg/L or 20 %, pH 2, 3 turbidity units or 30 %; the greater applies."""
    assert rating(measurand, [(absolute, percent)]) == "poor"
    assert rating(measurand, [(1.01 * absolute + 0.001, 1.01 * percent + 0.001)]) == "beyond the limit"


@pytest.mark.parametrize(
    ("measurand", "level", "criterion"),
    [("oxygen", 4.0, 0.3), ("turbidity", 6.0, 0.5), ("turbidity", 20.0, 1.0), ("conductivity", 1000.0, 30.0)],
)
def test_the_reading_error_that_matters_is_the_correction_criterion(
    measurand: str, level: float, criterion: float
) -> None:
    """Data are corrected from 0.3 mg/L, 0.5 units or 5 %, 5 uS/cm or 3 % on (from memory); a tighter one is no error."""
    assert Point(name="x", measurand=measurand).tolerance_at(level) == pytest.approx(criterion)
    assert Point(name="x", measurand="ph").tolerance_at(7.0) <= 0.2


def test_the_greater_of_both_limits_applies() -> None:
    """0.4 mg/L is beyond 0.3 mg/L, but 4 % is within 5 %: excellent."""
    assert rating("oxygen", [(0.4, 4.0)]) == "excellent"


def test_a_record_takes_its_lowest_class() -> None:
    assert rating("ph", [(0.1, 1.0), (0.6, 8.0)]) == "fair"
    assert rating("ph", [(2.5, 30.0)]) == "beyond the limit"


def evenly_spread(start: int, end: int, at_start: float, at_end: float) -> Doubt:
    """The window of an error that grows evenly from one visit to the next."""
    return Doubt(
        point="P", probe="S1", start=start, end=end, open_end=False, knots=((start, at_start), (end, at_end)),
        band=(0.0, 0.0), basis=PRORATION, hours_out_of_tolerance=0.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        ("2024-04-29T17:00:00", 0.0),
        ("2024-05-03T04:30:00", -2.650),
        ("2024-05-06T16:00:00", -5.300),
        ("2024-05-10T03:30:00", -7.950),
        ("2024-05-13T14:59:59", -10.600),
    ],
)
def test_linear_proration_of_an_open_record(when: str, expected: float) -> None:
    """Inputs of an open tutorial of a field network that follows the report: oxygen 106.1 % before, 95.5 % after cleaning,
    29 April 17:00 to 13 May 2024 15:00 UTC; the offset by the linear rule.
    """
    from datetime import datetime

    start, end = (to_ns(datetime.fromisoformat(t)) for t in ("2024-04-29T17:00:00", "2024-05-13T15:00:00"))
    time = np.array([to_ns(datetime.fromisoformat(when))], dtype=np.int64)
    found = corrected(time, np.array([100.0]), evenly_spread(start, end, 0.0, 106.1 - 95.5))
    assert found[0] - 100.0 == pytest.approx(expected, abs=5e-4)


def test_proration_stops_at_the_ends() -> None:
    time = np.array([-NS_PER_DAY, 0, NS_PER_DAY, 2 * NS_PER_DAY, 3 * NS_PER_DAY], dtype=np.int64)
    found = corrected(time, np.zeros(time.size), evenly_spread(0, 2 * NS_PER_DAY, -1.0, -3.0))
    assert found == pytest.approx([0, 1, 2, 0, 0])  # the second visit itself reads right again


def test_errors_of_a_visit_by_the_printed_formulas() -> None:
    """E_f = (M_after - M_before) - (F_end - F_start), E_d = V_std - V_cal; figures made up to exercise them."""
    seen = visit(
        before=198.0, after=205.0, field_before=200.0, field_after=202.0, standard=1000.0, in_standard=985.0
    )
    assert (seen.fouling, seen.drift, seen.total) == pytest.approx((5.0, 15.0, 20.0))
    assert seen.total_percent == pytest.approx(4.0481, abs=5e-5)
