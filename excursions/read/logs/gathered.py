"""What is gathered while a list of rows is read: refused rows, decisions, problems, and the count of all rows."""

from __future__ import annotations

from dataclasses import dataclass, field

from excursions.errors import ExcursionsError
from excursions.read.logs.cells import Row
from excursions.read.model import ReadOptions
from excursions.records import Decision


@dataclass(kw_only=True)
class Gathered:
    """The part that calibration logs and lists of samples share; what was used stands in the subclass."""

    file: str
    options: ReadOptions
    refused: list[dict[str, object]] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    problems: list[ExcursionsError] = field(default_factory=list)
    rows: int = 0

    def refuse(self, row: Row, reason: str, column: str = "") -> None:
        """Keep a row that cannot be used, with the reason."""
        self.refused.append(
            {
                "file": self.file,
                "line": row.line,
                "column": column,
                "text": row.text,
                "reason": reason,
                "rows": 1,
            }
        )
