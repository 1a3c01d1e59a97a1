"""What is known beside the signals, put together from the register and all logs and lists: the same for a scan and a night."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from excursions.calibrations import with_logs
from excursions.detect.tuning import tuned
from excursions.errors import ExcursionsError
from excursions.pipeline.inputs import samples_by_point
from excursions.plant import Plant
from excursions.read.logs.gathered import ListReading
from excursions.read.logs.log import LogReading, check_entries
from excursions.read.logs.samples import SampleReading
from excursions.records import CalibrationEntry, Decision, LabSample
from excursions.register import Usual


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known beside the signals: the plant, calibration entries, laboratory samples by point, decisions."""

    plant: Plant
    entries: tuple[CalibrationEntry, ...] = ()
    laboratory: Mapping[str, Sequence[LabSample]] = field(default_factory=dict)
    decisions: tuple[Decision, ...] = ()


def evidence_of(
    plant: Plant,
    logs: Sequence[LogReading],
    samples: Sequence[SampleReading],
    decisions: Sequence[Decision],
    usual: Mapping[str, Usual],
) -> tuple[Evidence, tuple[ExcursionsError, ...]]:
    """The evidence, and what is wrong with logs and lists.

    Parameters
    ----------
    plant : Plant
        Without what the logs say of it.
    logs, samples : sequences
        Their names settled by the plant.
    decisions : sequence of Decision
        What was decided before: of exports and of the plant.
    usual : mapping of point to Usual
        How its reading is exported, by which samples without a unit are understood.
    """
    entries = tuple(entry for log in logs for entry in log.entries)
    cleanings = [row for log in logs for row in log.cleanings]
    plant, sat = with_logs(plant, (row for log in logs for row in log.installations), entries, cleanings)
    laboratory, taken, strange = samples_by_point(samples, plant, usual)
    every: tuple[ListReading, ...] = (*logs, *samples)
    evidence = Evidence(
        plant=plant,
        entries=entries,
        laboratory=laboratory,
        decisions=(
            *decisions,
            *tuned(plant.detectors),
            *sat,
            *(decision for reading in every for decision in reading.decisions),
            *taken,
        ),
    )
    problems = (problem for reading in every for problem in reading.problems)
    return evidence, (*problems, *strange, *check_entries(entries, plant))
