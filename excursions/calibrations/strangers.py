"""Entries of a probe that nobody knows, at a point where another one sat: told, and kept out of what is concluded.

A serial number that the plant does not know is one of two things.  Where the log goes on under it, a probe was exchanged
and nobody wrote it down: its entries count.  Where the log goes on under the number of the probe that sits there, the
strange entry belongs to another probe (or its number was mistyped), and what it found says nothing of this point.
"""

from __future__ import annotations

from collections.abc import Sequence

from excursions.plant import Plant
from excursions.records import CalibrationEntry, Decision


def set_aside(
    entries: Sequence[CalibrationEntry], plant: Plant
) -> tuple[tuple[CalibrationEntry, ...], tuple[Decision, ...]]:
    """Take the entries of strange probes out.

    Returns
    -------
    entries : those that count, in their order
    decisions : one for each strange probe at a point, with file, line and what would make its entries count
    """
    known = {probe.serial for probe in plant.probes} | {row.probe for row in plant.installations}
    newest: dict[str, int] = {}
    for entry in entries:
        if entry.probe in known and entry.point:
            newest[entry.point] = max(newest.get(entry.point, entry.time), entry.time)
    strange: dict[tuple[str, str], list[CalibrationEntry]] = {}
    for entry in entries:
        if entry.point and entry.probe and entry.probe not in known:
            seated = plant.probe_at(entry.point, entry.time)
            if seated and entry.time < newest.get(entry.point, entry.time):
                strange.setdefault((entry.point, entry.probe), []).append(entry)
    out = {id(row) for rows in strange.values() for row in rows}
    return (
        tuple(entry for entry in entries if id(entry) not in out),
        tuple(_told(point, probe, rows, plant) for (point, probe), rows in strange.items()),
    )


def _told(point: str, probe: str, rows: Sequence[CalibrationEntry], plant: Plant) -> Decision:
    first, seated = rows[0], plant.probe_at(point, rows[0].time)
    many = "1 entry" if len(rows) == 1 else f"{len(rows)} entries"
    return Decision(
        subject=point,
        what=f"{many} of probe {probe} set aside: nothing is concluded from them for this point",
        why=f"{first.file}, line {first.line}: nobody knows this probe, {seated} sat there, and the log goes on under a known number",
        option=f"correct the number in the log, or add probe {probe} and its installation to the register",
    )
