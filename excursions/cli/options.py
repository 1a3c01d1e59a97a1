"""What several commands ask for: one type an option, so that it reads and means the same everywhere."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class FailOn(StrEnum):
    """From which severity on a finding makes the exit status 1."""

    NOTE = "note"
    CHECK = "check"
    ACT = "act"
    NEVER = "never"


class DisplayUnits(StrEnum):
    """Unit of temperatures on pages."""

    DEGC = "degC"
    DEGF = "degF"


class EngineName(StrEnum):
    """Who does the work."""

    LOCAL = "local"
    DASK = "dask"


Exports = Annotated[
    list[Path],
    typer.Argument(
        metavar="EXPORT...",
        help="Exported files or folders; a folder may hold all inputs.",
        show_default=False,
    ),
]
CalibrationLogs = Annotated[
    list[Path] | None,
    typer.Option("--calibrations", help="Calibration log.", exists=True, show_default=False),
]
SampleLists = Annotated[
    list[Path] | None,
    typer.Option("--samples", help="Laboratory samples.", exists=True, show_default=False),
]
PointName = Annotated[str, typer.Option("--point", help="Measuring point.", show_default="the worst one")]
RegisterFile = Annotated[
    Path | None, typer.Option("--register", help="Register of the plant (TOML).", show_default=False)
]


Engine = Annotated[
    EngineName,
    typer.Option("--engine", help="Who does the work: this machine, or a Dask cluster (extra: cluster)."),
]
Scheduler = Annotated[
    str,
    typer.Option(
        "--scheduler", help="Address of the Dask scheduler.", show_default="a cluster on this machine"
    ),
]
Jobs = Annotated[int, typer.Option("--jobs", min=0, help="Processes; 0 chooses.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON on standard output.")]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--columns",
        metavar="ROLE=NAME",
        help="Name a column of a calibration log or sample list, e.g. probe=Serial.",
        show_default=False,
    ),
]
