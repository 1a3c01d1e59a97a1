"""``excursions status``: when a site last ran, and whether a run is missing or files stay away."""

from __future__ import annotations

import json
import time
from typing import Annotated

import typer

from excursions.cli.commands.nightly import SiteArgument


def status(
    folder: SiteArgument,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON on standard output.")] = False,
) -> None:
    """Say when the nightly run last came to its end, and whether one is missing.

    Example: excursions status site

    Exit status: 0 in time, 1 a run is missing, was cut off or never was, or no file came for longer than usual, 2 no site.
    """
    from excursions.site.health import health

    found = health(folder, now_ns=time.time_ns())
    typer.echo(json.dumps(found.facts, ensure_ascii=False) if as_json else found.sentence)
    raise typer.Exit(0 if found.healthy else 1)
