"""``excursions init``: the folder of a new site."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def init(folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the new site.")]) -> None:
    """Make the folder of a site for the nightly run: inbox, archive, ledger, settings, units for schedulers.

    What is there already stays as it is; the files for schedulers are written anew from site.toml.

    Example: excursions init site
    """
    from excursions.cli.commands.nightly import careful_rights
    from excursions.site.layout import init_site

    careful_rights()
    site = init_site(folder)
    typer.echo(f"Site in {site.root}")
    typer.echo(f"  1. describe the plant in {site.register} (or leave it to be worked out)")
    typer.echo(f"  2. put exports, calibration logs and samples into {site.inbox}")
    typer.echo(f"  3. run: excursions nightly {folder}")
    typer.echo(f"  4. every night, and a look whether it ran: {site.root / 'schedule' / 'README.txt'}")
    typer.echo(f"  5. who is told, and when it runs: {site.settings}")
