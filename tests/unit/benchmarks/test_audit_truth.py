"""What a perfect audit owes follows from what was done to a point, and what hides it from the record."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_data.simulator import Care, Fault, Outage, PointSpec, Sampling, Steam, Swap, Vessel
from sample_data.simulator.catalogue import CARES
from sample_data.simulator.fleet import FleetPoint
from tests.benchmarks.audit_truth import Owed, owed, with_kept, with_other_buffers
from tests.benchmarks.simulated import entries_of
from tests.unit.simulator.plain import plain

DAYS = (4.0, 12.0, 20.0, 28.0)
CARE = replace(CARES["ph"], calibrate_days=DAYS, calibrate_hour=8.0, adjust_beyond=0.0)
WARM = Vessel(name="v", temperature=(36.0,), ambient_gain=0.0)


def point(spec: PointSpec, *outages: Outage) -> FleetPoint:
    return FleetPoint(
        spec=spec, sampling=Sampling(interval_s=60.0), outages=outages, days=32.0, step_s=60.0, seed=5
    )


def told(spec: PointSpec, *outages: Outage) -> list[tuple[str, bool]]:
    made = point(spec, *outages)
    return [(one.kind, bool(one.hidden)) for one in owed(made, made.simulate())]


def care(**more: object) -> Care:
    return replace(CARE, **more)  # type: ignore[arg-type]


def test_an_honest_log_owes_nothing() -> None:
    assert told(plain("ph", care=CARE)) == []


def test_an_entry_without_a_calibration_shows_unless_heat_or_an_outage_fills_its_time() -> None:
    spec = plain("ph", care=care(untraced=(2,)))
    assert told(spec) == [("no trace", False)]
    assert told(spec, Outage(day=20.3, hours=2.0)) == [("no trace", True)]
    steam = Steam(every_days=50.0, first_day=20.0, hour=8.2, jitter_h=0.0)
    assert told(replace(spec, vessel=replace(WARM, routines=(steam,)))) == [("no trace", True)]


def test_an_unlogged_calibration_shows_by_its_standards_or_by_the_walk_to_ambient() -> None:
    spec = plain("ph", care=care(unlogged=(2,)))  # at 25 degC the bench is no colder than the line
    assert told(spec) == [("no entry", False)]
    held = replace(spec, care=replace(spec.care, hold=("calibration",)))
    assert told(held) == [("no entry", True)]
    assert told(replace(held, vessel=WARM)) == [("no entry", False)]


def test_an_exchange_that_nobody_logged_looks_like_work_that_nobody_entered() -> None:
    spec = plain("ph", care=CARE, swaps=(Swap(16.0, "S-2", logged=False),))
    assert told(spec) == [("no entry", True)]


def test_a_copy_is_what_repeats_the_entry_before_it() -> None:
    assert told(plain("ph", care=care(copied=(2,)))) == [("copied", False)]


STEP = Fault("step", 18.0, float("nan"), 0.5)


def kept(*faults: Fault, **more: object) -> list[Owed]:
    made = point(plain("ph", *faults, care=care(kept=(2,), **more)))
    return [one for one in owed(made, made.simulate()) if one.kind == "not taken over"]


@pytest.mark.parametrize(
    ("faults", "hidden"),
    [
        ((STEP,), ""),
        ((), "jump within the tolerance"),
        ((STEP, Fault("stuck", 20.0, 1.0)), "something else is wrong with the reading"),
        (
            (STEP, Fault("unrecorded", 17.0, float("nan"), 0.1)),
            "the probe changed on the bench at the same time",
        ),
    ],
)
def test_an_adjustment_that_was_kept_out_shows_by_the_jump_that_is_missing(
    faults: tuple[Fault, ...], hidden: str
) -> None:
    (one,) = kept(*faults)
    assert one.hidden == hidden


def test_without_knowing_what_was_used_nobody_can_expect_a_jump() -> None:
    (one,) = kept(STEP, unlogged=(1,))
    assert one.hidden == "what was used was set by work that nobody entered"


def test_another_buffer_is_owed_where_the_plateau_shows() -> None:
    for hold, hidden in (((), ""), (("calibration",), "output held")):
        sim = point(plain("ph", care=care(hold=hold))).simulate()
        for seed in range(50):
            entries, planted = with_other_buffers(
                replace(sim, spec=replace(sim.spec, name="P1")), entries_of(sim), seed
            )
            if planted:
                break
        assert {one.hidden for one in planted} == {hidden}
        changed = [e for e in entries if any(s.standard > 9.0 for s in e.standards)]
        assert {e.time for e in changed} == {one.time for one in planted}


def test_steps_are_planted_before_the_calibrations_whose_adjustment_may_be_kept_out() -> None:
    made = [with_kept(replace(point(plain("ph", care=CARE)), seed=seed)) for seed in range(20)]
    planted = [(one.spec.care.kept, [f for f in one.spec.faults if f.kind == "step"]) for one in made]
    assert any(kept for kept, _ in planted)
    for _, steps in planted:
        assert all(any(0.0 < day + 8.0 / 24 - f.day < 6.0 for day in DAYS[1:]) for f in steps)
        assert all(0.2 <= abs(f.size) <= 1.2 for f in steps)
    assert np.mean([bool(steps) for _, steps in planted]) > 0.5
