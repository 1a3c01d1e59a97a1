"""What this plant's record teaches: slope lost per hour of heat dose, per sterilisation, per month.

One regression a kind (measurand, parameter, unit, model): change between two calibrations on the dose of
over-temperatures, the number of normal sterilisations, and the months in between, without intercept, weighted by the
uncertainty of the change.  Changes of one probe are alike, so intervals come from the jackknife over probes (each left
out in turn) and Student's t with one degree of freedom less than there are probes.  Intervals of calibration in which
the record holds another damage of the probe are left out beforehand, whatever was found.

References
----------
.. [1] MacKinnon, Nielsen, Webb, "Cluster-robust inference: a guide to empirical practice", J. Econometrics 232 (2023)
   272: the cluster jackknife (CV3) and t with G - 1 degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from excursions.calibrations import models
from excursions.conclusions import Coefficient, Lesson
from excursions.digits import written
from excursions.kinds import having
from excursions.link.ageing import key_of, months_of, owner_of
from excursions.link.intervals import Interval, intervals
from excursions.link.priors import expected
from excursions.plant import Plant
from excursions.records import Event, FloatArray, Shift

TERMS = {"dose": "hour of dose above rating", "sterilisation": "sterilisation", "month": "month"}
CONFIDENCE = 0.95
LEAST_SHIFTS, LEAST_PROBES, LEAST_EXPOSED = 12, 5, 5  # fewer than this is not enough to say (cp)
_HEAT_SCATTER = 0.5  # of the damage itself, from event to event (cp)
_OTHER_DAMAGE = having("damages")


@dataclass(frozen=True, slots=True)
class _Rows:
    change: FloatArray
    terms: FloatArray
    weight: FloatArray
    probe: NDArray[np.int64]


def fleet_heat(shifts: Sequence[Shift], events: Sequence[Event], plant: Plant) -> tuple[Lesson, ...]:
    """Estimate what heat, sterilisation and time cost, by kind and model.

    Returns
    -------
    tuple of Lesson
        For every gain-like parameter the record has shifts of, in alphabetical order.
    """
    groups: dict[tuple[str, str, str, str], list[tuple[Interval, int]]] = {}
    for span in intervals([s for s in shifts if not s.chosen], events):
        if any(e.kind in _OTHER_DAMAGE and e.origin == "probe" for e in span.events):
            continue
        for index, shift in enumerate(span.shifts):
            if shift.parameter in models.GAIN_NAMES or shift.unit == "deg":
                probe = plant.probe(shift.probe)
                groups.setdefault((*key_of(shift), probe.model if probe else ""), []).append((span, index))
    return tuple(_lesson(key, rows) for key, rows in sorted(groups.items()))


def _lesson(key: tuple[str, str, str, str], found: Sequence[tuple[Interval, int]]) -> Lesson:
    measurand, parameter, unit, model = key
    rows = _rows(found)
    probes = int(np.unique(rows.probe).size)
    base = Lesson(
        measurand=measurand,
        parameter=parameter,
        unit=unit,
        model=model,
        shifts=rows.change.size,
        probes=probes,
    )
    exposed = int(np.count_nonzero(rows.terms[:, 0] > 0))
    lacks = _lacks(rows.change.size, probes, exposed)
    if lacks:
        return replace(base, sentence=f"not enough calibrations to say: {lacks}")
    used = [i for i in range(len(TERMS)) if np.count_nonzero(rows.terms[:, i]) >= 2]
    terms, weight = rows.terms[:, used], rows.weight
    value, covariance = clustered(terms, rows.change, weight, rows.probe)
    if used[0] == 0:  # probes differ in what heat does to them: large doses scatter more
        weight = 1.0 / (1.0 / weight + (_HEAT_SCATTER * value[0] * terms[:, 0]) ** 2)
        value, covariance = clustered(terms, rows.change, weight, rows.probe)
    reach = float(stdtrit(probes - 1, 0.5 + CONFIDENCE / 2.0))
    names = tuple(TERMS)
    made = tuple(
        Coefficient(
            term=names[i],
            value=float(value[k]),
            low=float(value[k] - reach * math.sqrt(covariance[k, k])),
            high=float(value[k] + reach * math.sqrt(covariance[k, k])),
            error=math.sqrt(covariance[k, k]),
            exposed=int(np.count_nonzero(rows.terms[:, i])),
        )
        for k, i in enumerate(used)
    )
    return replace(base, coefficients=made, sentence=_sentence(base, made))


def _lacks(shifts: int, probes: int, exposed: int) -> str:
    short = [
        f"{have} of {need} {what}"
        for have, need, what in (
            (shifts, LEAST_SHIFTS, "shifts"),
            (probes, LEAST_PROBES, "probes"),
            (exposed, LEAST_EXPOSED, "shifts with an over-temperature in between"),
        )
        if have < need
    ]
    return ", ".join(short)


def _rows(found: Sequence[tuple[Interval, int]]) -> _Rows:
    owners: dict[str, int] = {}
    change, terms, weight, probe = [], [], [], []
    for span, index in found:
        shift = span.shifts[index]
        row = expected(*key_of(shift))
        months = months_of(shift)
        scatter = row.wander * row.scale(shift.before)
        heat = [e for e in span.events if e.kind == "over_temperature" and e.origin != "routine"]
        change.append(shift.change)
        terms.append(
            (sum(_dose(e) for e in heat), sum(e.kind == "sterilisation" for e in span.events), months)
        )
        weight.append(1.0 / (shift.uncertainty**2 + scatter**2 * months))
        probe.append(owners.setdefault(owner_of(shift), len(owners)))
    return _Rows(
        np.array(change), np.array(terms, dtype=np.float64), np.array(weight), np.array(probe, dtype=np.int64)
    )


def _dose(event: Event) -> float:
    dose = event.details.get("dose_h", 0.0)
    return dose if math.isfinite(dose) else 0.0


def clustered(
    terms: FloatArray, change: FloatArray, weight: FloatArray, cluster: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Weighted least squares with the cluster jackknife's covariance (CV3): each cluster left out in turn.

    Parameters
    ----------
    terms : ndarray, shape (n, k)
    change, weight : ndarray, shape (n,)
    cluster : ndarray of int, shape (n,)

    Returns
    -------
    coefficients : ndarray, shape (k,)
    covariance : ndarray, shape (k, k)
    """
    groups = np.unique(cluster)
    squares = np.array([_square(terms[cluster == g], weight[cluster == g]) for g in groups])
    products = np.array(
        [(terms[cluster == g] * weight[cluster == g, None]).T @ change[cluster == g] for g in groups]
    )
    value = np.linalg.pinv(squares.sum(axis=0)) @ products.sum(axis=0)
    without = np.array(
        [
            np.linalg.pinv(squares.sum(axis=0) - square) @ (products.sum(axis=0) - product)
            for square, product in zip(squares, products, strict=True)
        ]
    )
    off = without - value
    return np.asarray(value), np.asarray((groups.size - 1.0) / groups.size * off.T @ off)


def _square(terms: FloatArray, weight: FloatArray) -> FloatArray:
    return np.asarray((terms * weight[:, None]).T @ terms)


def _sentence(base: Lesson, coefficients: Sequence[Coefficient]) -> str:
    kind = f"{base.measurand.replace('_', ' ')} {base.parameter.replace('_', ' ')}" + (
        f", model {base.model}" if base.model else ""
    )
    told = "; ".join(
        f"{written(c.value, signed=True)} {base.unit} a {TERMS[c.term]} ({written(c.low, signed=True)} to {written(c.high, signed=True)})".replace(
            "  ", " "
        )
        for c in coefficients
    )
    return f"{kind}: {told}, from {base.shifts} shifts of {base.probes} probes"


def heat_per_hour(lessons: Sequence[Lesson]) -> Mapping[tuple[str, str, str], tuple[float, float]]:
    """Learned change for an hour of dose and its standard error, by parameter key; the best-founded model where several.

    Only what is known to differ from nothing: its interval leaves zero out.
    """
    made: dict[tuple[str, str, str], tuple[float, float]] = {}
    for lesson in sorted(lessons, key=lambda one: one.shifts):
        for c in lesson.coefficients:
            if c.term == "dose" and c.error > 0 and c.low * c.high > 0:
                made[lesson.measurand, lesson.parameter, lesson.unit] = (c.value, c.error)
    return made
