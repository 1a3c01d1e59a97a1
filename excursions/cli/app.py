"""The program: its help, its version and its commands."""

from __future__ import annotations

from typing import Annotated

import typer

from excursions import __version__
from excursions.cli.commands import COMMANDS

app = typer.Typer(
    name="excursions",
    help=(
        "Reads exports of a plant historian with the in-line analytical probe in mind: was it cooked, is it stuck, "
        "noisy or fouled, since when are its readings to be doubted and by how much. "
        "Releases no batch and protects no plant: local procedures and authorised people decide."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(shown: bool) -> None:
    if shown:
        typer.echo(f"excursions {__version__}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Options before the command."""


for _command in COMMANDS:
    app.command()(_command)
