"""``excursions register``: what an export shows of the plant, as a file to correct."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from excursions.cli.options import (
    Exports,
)
from excursions.cli.reading import AS_FOUND, HowToRead, reads


@reads
def register(
    exports: Exports,
    known: Annotated[
        Path | None,
        typer.Option("--register", help="Register to complete; its comments stay.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write here instead of standard output.", show_default=False)
    ] = None,
    reading: HowToRead = AS_FOUND,
) -> None:
    """Write down what an export shows of the plant, as a commented register to correct.

    Example: excursions register sample_data/plant --out plant.toml
    """
    from excursions.cli.progress import shown_progress
    from excursions.errors import UsageError
    from excursions.pipeline.scan import propose_register

    if out is not None and out.exists() and (known is None or known.absolute() != out.absolute()):
        raise UsageError(
            found=f'"{out}", which is there already',
            expected="a new file, or the register to complete",
            mend=f"complete it with --register {out} --out {out}, or name another file",
        )
    options = reading.options(jobs=1)
    with shown_progress() as progress:
        text, problems = propose_register(exports, register=known, options=options, progress=progress)
    for problem in problems:
        typer.echo(str(problem), err=True)
    if out is None:
        typer.echo(text)
        return
    from excursions.report.write import write_whole

    write_whole(out, text.encode())
    typer.echo(f"Register written to {out}: read it, correct it, and pass it with --register {out}", err=True)
