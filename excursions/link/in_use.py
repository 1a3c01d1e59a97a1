"""What each transmitter read with from each calibration on, by the log: the parameters an error of the reading is told against."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from excursions.calibrations import models
from excursions.calibrations.shifts import histories
from excursions.plant import Plant
from excursions.records import Calibration, Parameter


@dataclass(frozen=True, slots=True, kw_only=True)
class InUse:
    """What the transmitter reads with from a calibration on.

    kept: that calibration's adjustment was not taken over; verified: it was none, what it found off stayed off; guessed: nobody
    entered what was set before, so that it is taken as what was found first
    """

    time: int
    used: dict[str, Parameter]
    kept: bool = False
    verified: bool = False
    guessed: bool = False

    @property
    def stays_off(self) -> bool:
        """Whether an error found then goes on in the reading."""
        return self.kept or self.verified


def transmitters(
    calibrations: Sequence[Calibration], plant: Plant, kept: Collection[str]
) -> dict[str, list[InUse]]:
    """What the transmitter used from each calibration on, by owner; what a `kept` one says was never set."""
    made: dict[str, list[InUse]] = {}
    for history in histories(calibrations, plant):
        used: dict[str, Parameter] = {}
        guessed = False
        owner = owner_name(history[0], plant)
        for calibration in history:
            if calibration.id not in kept:
                first = {n: p for n, p in calibration.as_found.items() if n not in used}
                guessed = not calibration.as_left and (
                    guessed or any(p.basis != "relative" for p in first.values())
                )
                used = {**used, **(calibration.as_left or _set_before(calibration.measurand, first))}
            now = InUse(
                time=calibration.time, used=used, kept=calibration.id in kept,
                verified=calibration.action == "verification", guessed=guessed,
            )  # fmt: skip
            made.setdefault(owner, []).append(now)
    return made


def _set_before(measurand: str, found: Mapping[str, Parameter]) -> dict[str, Parameter]:
    """What the transmitter had in it when these were found and nothing was known: readings in standards are told against
    nominal parameters, so that what they are off by is the error itself; of raw signals nobody knows, and they are taken as set."""
    shape = models.form(measurand, {n: p.unit for n, p in found.items()})
    return {
        n: replace(p, value=models.nominal(shape, n)) if p.basis == "relative" and n in shape.units else p
        for n, p in found.items()
    }


def owner_name(calibration: Calibration, plant: Plant) -> str:
    """Serial number, or the point where nobody said which probe it was."""
    return plant.probe_of(calibration) or f"at {calibration.point}"
