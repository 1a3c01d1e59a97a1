"""All faults of a register at once, as one error."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.errors import ExcursionsError, RegisterError

SHOWN = 20


@dataclass
class RegisterProblems(ExcursionsError):
    """Every fault found in one register file; ``problems`` holds them in file order."""

    problems: tuple[RegisterError, ...] = ()

    def __str__(self) -> str:
        """The first twenty faults, one a line, then the count of the rest."""
        lines = [str(problem) for problem in self.problems[:SHOWN]]
        hidden = len(self.problems) - SHOWN
        if hidden > 0:
            lines.append(f"... and {hidden} more in this register.")
        return "\n".join(lines)

    def __reduce__(self) -> tuple[object, ...]:
        """Keep the faults when the error crosses a process border."""
        return (_restore, (self.file, self.problems))


def collect(file: str, problems: list[RegisterError]) -> RegisterProblems:
    """Make one error of many, in the order of their lines."""
    ordered = tuple(sorted(problems, key=lambda p: (p.line or 0, p.column)))
    return RegisterProblems(found=f"{len(ordered)} faults in the register", file=file, problems=ordered)


def _restore(file: str, problems: tuple[RegisterError, ...]) -> RegisterProblems:
    return collect(file, list(problems))
