"""``excursions note``: what a person has to say of an event."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

EventArgument = Annotated[
    str, typer.Argument(metavar="EVENT", help="Name of the event as the digest shows it, or its beginning.")
]
SiteOption = Annotated[
    Path,
    typer.Option("--site", envvar="EXCURSIONS_SITE", help="Folder of the site.", show_default="this folder"),
]


def note(
    event: EventArgument,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What to remember.")],
    site: SiteOption = Path(),
) -> None:
    """Write a note on an event into the ledger.

    Example: excursions note 3f2a "cleaned on Tuesday, looks better" --site site
    """
    from excursions.cli.commands.nightly import careful_rights
    from excursions.site.acts import note as write_note

    careful_rights()
    typer.echo(f"Noted on {write_note(site, event, text, now_ns=time.time_ns())}")
