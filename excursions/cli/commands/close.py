"""``excursions close``: a person has dealt with an event."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from excursions.cli.commands.note import EventArgument, SiteOption


def close(
    event: EventArgument,
    text: Annotated[str, typer.Argument(metavar="[TEXT]", help="Why.", show_default=False)] = "",
    site: SiteOption = Path(),
) -> None:
    """Close an event: it is told again only if it becomes worse.

    Example: excursions close 3f2a "probe replaced" --site site
    """
    from excursions.cli.commands.nightly import careful_rights
    from excursions.site.acts import close as close_event

    careful_rights()
    typer.echo(f"Closed {close_event(site, event, text, now_ns=time.time_ns())}")
