"""What the whole plant teaches, and when it declines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.link import attribute, fleet_heat, weigh
from excursions.link.attribute import Weighed, Weighing
from excursions.link.candidates import causes
from excursions.link.lessons import clustered, heat_per_hour
from excursions.link.posterior import posterior, weigh_sets
from excursions.records import Event, Link, Shift
from tests.unit.link.builders import PLANT, event, shift


def plant_record(probes: int, seed: int = 1) -> tuple[list[Shift], list[Event]]:
    """Each probe loses 0.5 % a month and 0.1 % an hour of dose; noise 0.3 %."""
    random = np.random.default_rng(seed)
    shifts, events = [], []
    for p in range(probes):
        for k in range(5):
            loss = 0.5
            if random.random() < 0.5:
                dose = float(random.uniform(5.0, 40.0))
                loss += 0.1 * dose
                events.append(
                    event("over_temperature", 30.0 * k + 10, 140.0, probe=f"S{p}", details={"dose_h": dose})
                )
            change = -loss + random.normal(0.0, 0.3)
            shifts.append(
                shift(change, parameter="slope", u=0.3, start=30 * k, end=30 * k + 30, probe=f"S{p}")
            )
    return shifts, events


def test_what_heat_and_time_cost() -> None:
    (lesson,) = fleet_heat(*plant_record(20), PLANT)
    cost = {c.term: c for c in lesson.coefficients}
    assert cost["dose"].value == pytest.approx(-0.1, abs=0.01)
    assert cost["dose"].low < -0.1 < cost["dose"].high
    assert cost["month"].value == pytest.approx(-0.5, abs=0.15)
    assert "from 100 shifts of 20 probes" in lesson.sentence


@pytest.mark.parametrize("probes", [1, 2, 4])
def test_too_few_probes_teach_nothing(probes: int) -> None:
    (lesson,) = fleet_heat(*plant_record(probes), PLANT)
    assert not lesson.enough
    assert lesson.sentence.startswith("not enough calibrations to say: ")


def test_without_heat_nothing_is_said_of_heat() -> None:
    shifts, _ = plant_record(20)
    (lesson,) = fleet_heat(shifts, [], PLANT)
    assert "0 of 5 shifts with an over-temperature" in lesson.sentence


def test_intervals_with_another_damage_are_left_out() -> None:
    shifts, events = plant_record(20)
    steps = [event("step", 30.0 * k + 5, -0.4, probe=f"S{p}") for p in range(20) for k in range(5)]
    (declined,) = fleet_heat(shifts, [*events, *steps], PLANT) or (None,)
    assert declined is None


def test_the_learned_figure_is_handed_on() -> None:
    value, error = heat_per_hour(fleet_heat(*plant_record(20), PLANT))["ph", "slope", "%"]
    assert value == pytest.approx(-0.1, abs=0.01)
    assert 0 < error < 0.02


def test_one_cluster_left_out_by_hand() -> None:
    """Two clusters of one row each, slope through the origin: 2 and 4 left out give 4 and 2; variance (1/2)(1 + 1)."""
    value, covariance = clustered(
        np.array([[1.0], [1.0]]), np.array([2.0, 4.0]), np.ones(2), np.array([0, 1])
    )
    assert value[0] == pytest.approx(3.0)
    assert covariance[0, 0] == pytest.approx(0.5 * (1.0 + 1.0))


def test_what_was_learned_sharpens_single_links_and_blames_nobody_more() -> None:
    """Heat whose damage grows with the dose: with the lesson the right dose explains a loss, and ageing stays ageing."""
    shifts, events = plant_record(20)
    done = weigh(shifts, events, PLANT, {})
    assert done.beliefs.heat[("ph", "slope", "%")][0] == pytest.approx(-0.1, abs=0.02)
    taught = attribute(shifts, events, PLANT, weighing=done)
    plain = attribute(shifts, events, PLANT, weighing=_without_lesson(shifts, events, done))
    heated = {s.id: e for s in shifts for e in events if s.probe == e.probe and s.start < e.start < s.end}

    def log_score(links: tuple[Link, ...]) -> float:
        """Mean log probability of the true cause (the heat where there was any, else ageing)."""
        right = [
            link.probability
            for link in links
            if link.event == (heated[link.shift].id if link.shift in heated else "")
            and link.cause != "unrecorded"
        ]
        return float(np.mean(np.log(np.maximum(right, 1e-6))))

    def blamed(links: tuple[Link, ...]) -> int:
        return sum(link.rank == 1 and link.cause == "event" and link.shift not in heated for link in links)

    assert log_score(taught) > log_score(plain)
    assert blamed(taught) <= blamed(plain)

    def spread(links: tuple[Link, ...]) -> float:
        return float(np.median([link.predicted_uncertainty for link in links if link.cause == "event"]))

    assert spread(taught) < spread(plain)


def _without_lesson(shifts: list[Shift], events: list[Event], done: Weighing) -> Weighing:
    """The same weighing with the table's guess of heat damage instead of the plant's own."""
    beliefs = replace(done.beliefs, heat={})
    spans = [one.interval for one in done.weighed]
    rows = [causes(span, PLANT, {}, beliefs) for span in spans]
    weighed = tuple(
        Weighed(
            interval=span,
            causes=row,
            posterior=posterior(row, span, weigh_sets(span, row, done.ageing, beliefs)),
        )
        for span, row in zip(spans, rows, strict=True)
    )
    return Weighing(weighed=weighed, ageing=done.ageing, beliefs=beliefs)
