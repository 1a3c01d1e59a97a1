"""How grave an event is: by what it does to the reading, not by how loud its statistic is."""

from __future__ import annotations

from excursions.records import Record

ACT_TOLERANCES = 3.0  # an error this many tolerances large wants somebody to act (cp)


def severity_of(record: Record, level: float, size: float) -> str:
    """``act`` past three tolerances, ``check`` past one, else ``note``; ``check`` where none is known."""
    return graded(record.point.tolerance_at(level), size)


def graded(tolerance: float, size: float) -> str:
    """The same by the tolerance, in the unit of the size."""
    if tolerance <= 0:
        return "check"
    return "act" if abs(size) > ACT_TOLERANCES * tolerance else "check" if abs(size) > tolerance else "note"
