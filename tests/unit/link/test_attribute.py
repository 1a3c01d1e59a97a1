"""Which cause a shift is laid to, and why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.link import attribute
from excursions.link.attribute import _amount
from excursions.link.candidates import grouped
from excursions.records import Event, Link, Shift
from tests.unit.link.builders import DAY, PLANT, event, level, shift


def links(found: list[Shift], events: list[Event], **levels: object) -> dict[tuple[str, str], Link]:
    made = attribute(found, events, PLANT, levels)  # type: ignore[arg-type]
    by_id = {s.id: s.parameter for s in found}
    return {(by_id[link.shift], link.event or link.cause): link for link in made}


def first(found: Shift, events: list[Event]) -> str:
    return next(link.event or link.cause for link in attribute([found], events, PLANT) if link.rank == 1)


def test_probabilities_sum_to_one_for_each_shift() -> None:
    found = [shift(0.3), shift(-2.0, parameter="slope", u=0.8), shift(0.1, start=30, end=60)]
    events = [event("step", d, s) for d, s in ((5, -0.3), (9, 0.2), (40, -0.1))] + [
        event("over_temperature", 12, 140)
    ]
    made = attribute(found, events, PLANT)
    for one in found:
        mine = [link for link in made if link.shift == one.id]
        assert sum(link.probability for link in mine) == pytest.approx(1.0)
        assert [link.rank for link in mine] == list(range(1, len(mine) + 1))
        assert [link.probability for link in mine] == sorted(
            (link.probability for link in mine), reverse=True
        )


def test_two_steps_that_add_up_are_found_together() -> None:
    steps = [event("step", 5, -0.3), event("step", 15, -0.2)]
    assert first(shift(0.5), steps) == steps[0].id
    assert first(shift(0.2), steps) == steps[1].id


@pytest.mark.parametrize(
    ("point", "parameter", "change", "u", "size", "unit"),
    [
        ("ph", "zero_point", 0.42, 0.02, -0.42, "pH"),
        ("redox", "offset", 40.0, 4.0, 40.0, "mV"),
        ("conductivity", "cell_constant", 0.1, 0.01, -91.0, "uS/cm"),
        ("turbidity", "zero", 1.2, 0.04, 1.2, "NTU"),
    ],
)
def test_the_sign_is_right_for_every_measurand(
    point: str, parameter: str, change: float, u: float, size: float, unit: str
) -> None:
    """A step of this size and sign explains the shift; the same step turned round does not."""
    where = {point: level(1000.0 if point == "conductivity" else 7.0)}
    found = shift(change, parameter=parameter, point=point, u=u)
    right = event("step", 10, size, point=point, size_unit=unit)
    wrong = replace(right, size=-size, start=15 * DAY, end=15 * DAY)
    made = attribute([found], [right, wrong], PLANT, where)
    assert made[0].event == right.id
    assert made[0].probability > 0.9


def test_the_process_is_not_blamed_for_what_the_calibration_did_not_find() -> None:
    step = event("step", 10, -0.42, origin="process")
    assert first(shift(0.01), [step]) == "ageing"


def test_routine_sterilisations_are_ordinary_ageing() -> None:
    steam = [event("sterilisation", d, 125.0, origin="routine") for d in range(1, 29)]
    assert first(shift(-1.0, parameter="slope", u=0.7), steam) == "ageing"


def test_a_loss_that_nothing_explains_is_told_with_the_sterilisations_that_lie_in_between() -> None:
    def reasons(count: int) -> tuple[str, ...]:
        steamed = [
            event("sterilisation", 2.0 + 2.0 * i, 123.0, length_h=0.5, origin="routine") for i in range(count)
        ]
        found = links([shift(-6.0, parameter="slope", u=0.6)], steamed)
        return found["slope", "unrecorded"].reasons

    assert reasons(10)[0].startswith("10 normal sterilisations lie in between")
    assert reasons(2) == reasons(0)


def test_heat_leads_what_follows_within_a_day() -> None:
    heat, step, late = event("over_temperature", 10, 148.0), event("step", 10.2, -0.4), event("step", 14, 0.2)
    pairs = {lead.id: [f.id for f in followers] for lead, followers in grouped([heat, step, late])}
    assert pairs == {heat.id: [step.id], late.id: []}


def test_a_step_of_the_process_after_heat_stands_for_itself() -> None:
    heat, step = event("over_temperature", 10, 148.0), event("step", 10.2, -0.4, origin="process")
    assert len(grouped([heat, step])) == 2


def test_what_the_heat_left_in_the_reading_sharpens_it() -> None:
    heat, step = event("over_temperature", 10, 148.0), event("step", 10.1, -0.42)
    seen = links([shift(0.42)], [heat, step])["zero_point", heat.id]
    blind = links([shift(0.42)], [heat])["zero_point", heat.id]
    assert abs(seen.predicted - 0.42) < abs(blind.predicted - 0.42)
    assert any("followed within a day" in reason for reason in seen.reasons)


def test_a_drift_that_began_before_the_calibration_counts_for_what_came_after() -> None:
    """Ten days of -0.4 pH, the calibration after eight of them: a fifth is left for the next interval."""
    drift = event("drift", 22, -0.4, length_h=240)
    second = links([shift(0.08, start=30, end=60)], [drift])["zero_point", drift.id]
    assert second.predicted == pytest.approx(0.08, abs=0.02)
    assert second.rank == 1


@pytest.mark.parametrize(("kind", "length_h", "cause"), [("drift", 240, "event"), ("step", 0, "unrecorded")])
def test_what_the_reading_showed_of_a_slow_change_may_be_part_of_it(
    kind: str, length_h: float, cause: str
) -> None:
    """A step is seen whole, or it is not what the calibration found."""
    found = shift(0.9)
    rows = attribute([found], [event(kind, 12, -0.4, length_h=length_h)], PLANT, {"ph": level(8.0)})
    assert rows[0].cause == cause
    assert rows[0].probability > 0.75


def test_a_dead_probe_is_laid_to_the_reading_that_stood_still() -> None:
    stuck = event("stuck", 10, 7.0, length_h=400)
    assert first(shift(-95.0, parameter="slope", u=0.5), [stuck]) == stuck.id


def test_a_zero_that_jumped_unseen_does_not_take_an_unchanged_slope_along() -> None:
    """A spoilt reference moves the zero by far; the slope, found within its uncertainty, is still ordinary ageing."""
    made = links([shift(0.9), shift(-0.5, parameter="slope", u=0.8)], [])
    assert made["zero_point", "unrecorded"].rank == 1
    assert made["slope", "ageing"].rank == 1


def test_reasons_name_sizes_and_days() -> None:
    step = event("step", 10, -0.42)
    reasons = links([shift(0.45)], [step])["zero_point", step.id].reasons
    assert reasons[0] == "step of −0.42 pH on 11 Jan, zero point found +0.45 pH ± 0.02 on 31 Jan"
    assert reasons[1].startswith("it would give +0.4")


@pytest.mark.parametrize(
    ("off", "said", "hint"),
    [(-0.4, False, False), (0.4, True, True), (1.5, True, False), (np.nan, False, False)],
)
def test_a_step_against_what_was_found_is_said_with_what_may_be_wrong_in_the_log(
    off: float, said: bool, hint: bool
) -> None:
    heat, step = (
        event("over_temperature", 10, 148.0),
        replace(event("step", 10.1, -0.42), size_low=-0.45, size_high=-0.39),
    )
    found = replace(shift(-0.42), reading_error=off, reading_error_uncertainty=0.03)
    reasons = " ".join(links([found], [heat, step])["zero_point", heat.id].reasons)
    assert ("the other way" in reasons) is said
    assert ("the other sign" in reasons) is hint


def test_the_order_of_events_changes_nothing() -> None:
    events = [event("step", d, s) for d, s in ((5, -0.3), (9, 0.2), (12, -0.1), (20, 0.05))]
    found = [shift(0.3), shift(-1.0, parameter="slope", u=0.7)]
    assert attribute(found, events, PLANT) == attribute(found, events[::-1], PLANT)


def test_one_plant_twice_is_the_same() -> None:
    found, events = [shift(0.3)], [event("step", 5, -0.3), event("drift", 9, 0.2, length_h=100)]
    assert attribute(found, events, PLANT) == attribute(found, events, PLANT)


def test_many_events_are_all_weighed() -> None:
    events = [event("step", 1 + d, 0.02 * d - 0.3) for d in range(25)]
    assert sum(link.probability for link in attribute([shift(0.3)], events, PLANT)) == pytest.approx(1.0)


def test_no_shifts_no_links() -> None:
    assert attribute([], [event("step", 5, -0.3)], PLANT) == ()


def test_a_length_of_time_is_told_as_everywhere_else() -> None:
    lost = Event(point="P", kind="dropout", start=0, end=1, size=4.983, size_unit="h", confidence=0.9)
    assert _amount(lost) == "4 h 59 min"
    assert _amount(replace(lost, kind="over_temperature", size=146.07, size_unit="degC")) == "146 °C"
