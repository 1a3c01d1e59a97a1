"""Who sat where, by the calibration logs: what they say of swaps, and where they say nothing, the serial numbers.

A log that names a serial number at each calibration tells of the stays too: a probe sat at the point where it was
calibrated, until another number is calibrated there, or it is calibrated elsewhere.  Only points of which neither the
register nor a logged swap says anything are filled in so.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Sequence

from excursions.calibrations.entries import by_look, noted, on_bench, says_fitted
from excursions.measurands import to_canonical
from excursions.plant import Installation, Plant
from excursions.records import CalibrationEntry, Decision


def with_logs(
    plant: Plant,
    logged: Iterable[Installation],
    entries: Sequence[CalibrationEntry],
    cleanings: Sequence[CalibrationEntry] = (),
) -> tuple[Plant, tuple[Decision, ...]]:
    """Add what the logs say of stays and of calibrations to the plant.

    Parameters
    ----------
    logged : stays that follow from the swaps a log mentions
    entries, cleanings : of all logs

    Returns
    -------
    Plant
        With the stays of the register, then the logged ones, then those by serial numbers; `noted` and `cleaned`.
    tuple of Decision
        One for each point whose stays follow from serial numbers alone, or whose measurand from its standards.
    """
    plant, measured = _measured(plant, entries)
    told = [row for row in dict.fromkeys(logged) if row not in plant.installations]
    known = (*plant.installations, *told)
    worked_out = _by_serials(entries, plant, {row.point for row in known}, {row.probe for row in known})
    plant = dataclasses.replace(plant, installations=(*known, *worked_out), noted=noted(entries, plant))
    plant = dataclasses.replace(plant, cleaned=_cleaned(cleanings, plant))
    return plant, (*measured, *_decisions(worked_out))


def _measured(plant: Plant, entries: Sequence[CalibrationEntry]) -> tuple[Plant, tuple[Decision, ...]]:
    """Points of which nobody knew what they measure, by the standards they are calibrated in, where the unit allows it."""
    looks: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        looks[entry.point].add(by_look([entry]))
    points, told = [], []
    for point in plant.points:
        seen = looks.get(point.name, set()) - {"other"}
        key = (
            next(iter(seen))
            if len(seen) == 1 and point.measurand == "other" and "name" in point.inferred
            else ""
        )
        fits = key == "ph" if not point.unit else bool(key) and to_canonical(key, point.unit) is not None
        points.append(dataclasses.replace(point, measurand=key) if fits else point)
        if fits:
            told.append(
                Decision(
                    subject=point.name,
                    what=f"measurand {key}",
                    why="the calibration log holds it into standards of that quantity; neither name nor unit says",
                    option="measurand of the point in the register",
                )
            )
    return dataclasses.replace(plant, points=tuple(points)), tuple(told)


def _cleaned(cleanings: Sequence[CalibrationEntry], plant: Plant) -> tuple[tuple[str, int], ...]:
    """(point, ns) of each cleaning, where it names the point or a probe that sat at one then; in time order."""
    stays = [(row.time, row.point, plant.stays_of(row.probe, row.time, row.time + 1)) for row in cleanings]
    placed = {(point or seats[0].point, when) for when, point, seats in stays if point or seats}
    return tuple(sorted(placed, key=lambda pair: (pair[1], pair[0])))


def _by_serials(
    entries: Sequence[CalibrationEntry], plant: Plant, points: set[str], probes: set[str]
) -> list[Installation]:
    """Stays at points nobody speaks of, of probes nobody places elsewhere, in the order of points and time."""
    here: dict[str, list[CalibrationEntry]] = defaultdict(list)
    times: dict[str, list[tuple[int, str]]] = defaultdict(list)
    known = {point.name for point in plant.points}
    for entry in sorted(entries, key=lambda entry: entry.time):
        if entry.probe and entry.point in known and not on_bench(entry.comment):
            here[entry.point].append(entry)
            times[entry.probe].append((entry.time, entry.point))
    found: list[Installation] = []
    for point in sorted(here.keys() - points):
        fitted = {(entry.probe, entry.time) for entry in here[point] if says_fitted(entry.comment)}
        runs = _runs(here[point], fitted)
        for number, (probe, first, last) in enumerate(runs):
            if probe in probes:
                continue
            moved = min((t for t, at in times[probe] if at != point and t > last), default=None)
            after = runs[number + 1][1] if number + 1 < len(runs) else None
            came = number > 0 or any(at != point and t < first for t, at in times[probe])
            ends = [t for t in (moved, after) if t is not None]
            found.append(
                Installation(
                    probe=probe,
                    point=point,
                    start=first if came else None,
                    end=min(ends, default=None),
                    at_latest=came and (probe, first) not in fitted,
                )
            )
    return found


def _runs(entries: Sequence[CalibrationEntry], fitted: set[tuple[str, int]]) -> list[tuple[str, int, int]]:
    """(probe, first, last entry) of each run of one serial number.

    A single other number inside a run is no swap, unless its remark says that this probe was put in (`fitted`, with when).
    """
    runs: list[tuple[str, int, int]] = []
    for entry in entries:
        if runs and runs[-1][0] == entry.probe:
            runs[-1] = (entry.probe, runs[-1][1], entry.time)
        elif (
            len(runs) > 1
            and runs[-2][0] == entry.probe
            and runs[-1][1] == runs[-1][2]
            and runs[-1][:2] not in fitted
        ):
            runs[-2:] = [(entry.probe, runs[-2][1], entry.time)]
        else:
            runs.append((entry.probe, entry.time, entry.time))
    return runs


def _decisions(stays: Sequence[Installation]) -> tuple[Decision, ...]:
    by_point: dict[str, list[str]] = defaultdict(list)
    for row in stays:
        by_point[row.point].append(row.probe)
    return tuple(
        Decision(
            subject=point,
            what=f"probe {', then '.join(probes)} sat here",
            why="the calibration log names these serial numbers and no swap",
            option="state the installations in the register",
        )
        for point, probes in by_point.items()
    )
