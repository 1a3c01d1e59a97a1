"""Each shift explained by its candidate causes, with probabilities that sum to one.

Candidates are the events of that probe between the two calibrations, ordinary ageing, and something that is not
in the record.  Each predicts the change of the parameter; the posterior weighs how well the prediction fits the
change found by how often such a thing happens (Bayes' rule over exclusive causes).  Ageing goes on in any case,
so its mean and spread are part of every prediction.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, to_datetime
from excursions.link.ageing import Ageing, learn
from excursions.link.predict import OFTEN, Prediction, predict
from excursions.plant import Plant
from excursions.records import Event, Link, Shift

AGEING_WEIGHT = 1.0
UNRECORDED_WEIGHT = 0.05
# Something not in the record may move a parameter by about this many tolerances of the reading (cp).
UNRECORDED_TOLERANCES = 5.0
ECHO_H = 24.0
HEAT = ("over_temperature", "thermal_shock")
ECHOES = ("step", "drift")


def attribute(shifts: Sequence[Shift], events: Sequence[Event], plant: Plant) -> tuple[Link, ...]:
    """Give every shift its candidate causes, the most probable first.

    Returns
    -------
    tuple of Link
        In the order of `shifts`; the probabilities of one shift sum to 1.
    """
    found = {shift.id: candidates(shift, events) for shift in shifts}
    ageing = learn(
        shifts, {shift: not [e for e in mine if e.kind != "sterilisation"] for shift, mine in found.items()}
    )
    return tuple(link for shift in shifts for link in _links(shift, found[shift.id], ageing[shift.id], plant))


def candidates(shift: Shift, events: Sequence[Event]) -> list[Event]:
    """Events of the shift's probe between its two calibrations that could have left a mark."""
    return [
        event
        for event in events
        if event.kind in OFTEN
        and event.origin in ("probe", "undecided", "routine")
        and shift.start <= event.start < shift.end
        and (event.probe == shift.probe if event.probe and shift.probe else event.point == shift.point)
    ]


def echoes(events: Sequence[Event]) -> dict[str, Event]:
    """Heat event id -> the step or drift that began within a day of it on the same point."""
    found: dict[str, Event] = {}
    for event in events:
        if event.kind not in ECHOES or event.origin == "process":
            continue
        before = [
            heat
            for heat in events
            if heat.kind in HEAT
            and heat.point == event.point
            and heat.start - NS_PER_HOUR <= event.start <= heat.end + ECHO_H * NS_PER_HOUR
        ]
        if before:
            found.setdefault(max(before, key=lambda heat: heat.start).id, event)
    return found


def _links(shift: Shift, mine: Sequence[Event], ageing: Ageing, plant: Plant) -> list[Link]:
    tolerance = _tolerance(shift, plant)
    echo = echoes(mine)
    absorbed = {event.id for event in echo.values()}
    aged = _aged(shift, ageing)
    weighed: list[tuple[float, str, str, Prediction]] = []
    for event in mine:
        if event.id in absorbed:
            continue
        prediction = predict(event, shift, tolerance=tolerance, echo=echo.get(event.id))
        if prediction is not None:
            sure = event.confidence if event.origin == "probe" else 0.5 * event.confidence
            weight = OFTEN[event.kind] * max(sure, 0.02)
            weighed.append((weight * _density(shift, prediction, aged), "event", event.id, prediction))
    weighed.append((AGEING_WEIGHT * _density(shift, None, aged), "ageing", "", aged))
    unrecorded = _unrecorded(shift, tolerance)
    weighed.append((UNRECORDED_WEIGHT * _density(shift, unrecorded, aged), "unrecorded", "", unrecorded))
    total = sum(row[0] for row in weighed)
    by_id = {event.id: event for event in mine}
    ordered = sorted(weighed, key=lambda row: (-row[0], row[1], row[2]))
    return [
        Link(
            shift=shift.id,
            cause=cause,
            event=event,
            probability=weight / total if total > 0 else 1.0 / len(ordered),
            rank=rank,
            predicted=prediction.mean,
            predicted_uncertainty=prediction.deviation,
            reasons=_reasons(shift, by_id.get(event), prediction),
        )
        for rank, (weight, cause, event, prediction) in enumerate(ordered, start=1)
    ]


def _tolerance(shift: Shift, plant: Plant) -> float:
    point = plant.point(shift.point)
    tolerance = point.tolerance_at(0.0) if point else 0.0
    return tolerance or 3 * abs(shift.reading_error_uncertainty) or 1.0


def _aged(shift: Shift, ageing: Ageing) -> Prediction:
    mean, deviation = ageing.over((shift.end - shift.start) / NS_PER_DAY)
    source = (
        f"learned from {ageing.intervals} quiet intervals"
        if ageing.intervals
        else "common practice, no source"
    )
    return Prediction(mean=mean, deviation=deviation, reason=f"ordinary ageing ({source})")


def _unrecorded(shift: Shift, tolerance: float) -> Prediction:
    if math.isfinite(shift.reading_error) and abs(shift.change) > 1e-12 and shift.reading_error:
        spread = UNRECORDED_TOLERANCES * tolerance / abs(shift.reading_error / shift.change)
    else:
        spread = 10 * shift.uncertainty
    return Prediction(
        mean=0.0, deviation=max(spread, 5 * shift.uncertainty), reason="something that is not in the record"
    )


def _density(shift: Shift, prediction: Prediction | None, aged: Prediction) -> float:
    """Probability density of the change found, given the cause; ageing and measurement always add."""
    mean = aged.mean + (prediction.mean if prediction else 0.0)
    deviation = math.sqrt(
        shift.uncertainty**2 + aged.deviation**2 + (prediction.deviation**2 if prediction else 0.0)
    )
    z = (shift.change - mean) / max(deviation, 1e-12)
    return math.exp(-0.5 * min(z * z, 1400.0)) / max(deviation, 1e-12)


def _reasons(shift: Shift, event: Event | None, prediction: Prediction) -> tuple[str, ...]:
    found = f"{shift.parameter.replace('_', ' ')} found {shift.change:+.3g} {shift.unit} on {_day(shift.end)}".strip()
    expected = f"expected {prediction.mean:+.3g} ± {prediction.deviation:.2g} {shift.unit}".strip()
    when = f" on {_day(event.start)}" if event else ""
    return (f"{prediction.reason}{when}, {found}", expected)


def _day(instant: int) -> str:
    return to_datetime(instant).strftime("%-d %b")
