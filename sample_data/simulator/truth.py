"""What really happened, as rows the tool never reads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sample_data.simulator.spec import Fault

# How a planted fault of a kind is counted: the probe's, or the record's doing.
RECORD_KINDS = ("bridged", "dropout", "bad_quality")


@dataclass(frozen=True)
class TruthRow:
    """One true event: half-open span in ns UTC; `size` as the tool's table of kinds says.

    role: ``fault`` (the probe's or its element's), ``aftermath`` (what a fault left behind: may be reported on
    its own), ``record`` (the export's or the line's), ``routine`` (meant to happen) or ``lookalike`` (must not
    be called a probe fault); noise: fast standard deviation of the live
    reading at one minute before the onset, slow, daily: the same of hourly and of daily medians, all in the
    reading's unit, for judging how far above the noise the size is; mode: variant; note: words.
    """

    point: str
    probe: str
    kind: str
    start: int
    end: int
    size: float
    unit: str
    role: str
    mode: str = ""
    noise: float = float("nan")
    slow: float = float("nan")
    daily: float = float("nan")
    note: str = ""

    @property
    def is_fault(self) -> bool:
        """True for what a tool has to find."""
        return self.role in ("fault", "record")


@dataclass(frozen=True)
class ShiftTruth:
    """True shift of one parameter between two entries of one probe, and how much of it each cause made.

    shares: cause -> part of the change (same unit); main: the largest; main_start: onset of its event
    (ns, 0 for ageing and the like); start, end: times of the two entries (ns).
    """

    point: str
    probe: str
    parameter: str
    start: int
    end: int
    change: float
    unit: str
    main: str
    main_start: int
    shares: tuple[tuple[str, float], ...]
    reading_error: float


def role_of(fault: Fault) -> str:
    """Role of a planted fault."""
    if fault.kind.startswith("lookalike"):
        return "lookalike"
    return "record" if fault.kind in RECORD_KINDS else "fault"


UNITS = {
    "over_temperature": "degC",
    "sterilisation": "degC",
    "thermal_shock": "K/min",
    "temperature_fault": "K",
    "noise_growth": "ratio",
    "noise_collapse": "ratio",
    "slow_response": "ratio",
    "dropout": "s",
    "bad_quality": "s",
    "bridged": "s",
}


def unit_of(kind: str, reading_unit: str) -> str:
    """Unit of a size: the kind's own, else the reading's."""
    return UNITS.get(
        kind,
        "degC" if kind in ("routine_sterilisation", "routine_cip", "lookalike_hot_day") else reading_unit,
    )


def in_order(rows: Iterable[TruthRow]) -> tuple[TruthRow, ...]:
    """By point, time and kind."""
    return tuple(sorted(rows, key=lambda r: (r.point, r.start, r.kind, r.mode)))
