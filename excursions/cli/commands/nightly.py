"""``excursions nightly``: one run on a site."""

from __future__ import annotations

import json
import os
import sqlite3
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from excursions.report.result import ScanResult
    from excursions.site.publish import Pages

SiteArgument = Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the site.")]


def careful_rights() -> None:
    """Files of a site are for its owner and its group."""
    os.umask(0o027)


def nightly(
    folder: SiteArgument,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print how the run ended as JSON on standard output.")
    ] = False,
) -> None:
    """Take in what is new, search what changed, bring ledger and pages up to date, tell what is new.

    Prints the digest, or nothing when there is nothing to tell.

    Example: excursions nightly site

    Exit status: 0 nothing new to tell, 1 the digest has something to tell, 2 wrong usage, settings or register,
    3 another run is at work, 4 done but something needs a hand, 5 not finished (disk full, no permission).
    """
    from excursions.cli.progress import shown_progress
    from excursions.errors import WorkerLostError
    from excursions.site import schedule
    from excursions.site.digest import as_text
    from excursions.site.lock import SiteBusyError
    from excursions.site.nightly import nightly as run_night

    careful_rights()
    try:
        with shown_progress() as progress:
            night = run_night(folder, now_ns=time.time_ns(), pages=drawn_as(folder), progress=progress)
    except SiteBusyError as error:
        typer.echo(f"excursions: {error}", err=True)
        raise typer.Exit(schedule.BUSY) from None
    except (WorkerLostError, sqlite3.Error) as error:
        typer.echo(f"excursions: not finished: {error}", err=True)
        raise typer.Exit(schedule.FAILED) from None
    except OSError as error:
        place = f" ({error.filename})" if error.filename else ""
        typer.echo(
            f"excursions: not finished: {error.strerror or error}{place}. "
            "Nothing is lost: the next run goes on from a sound state.",
            err=True,
        )
        raise typer.Exit(schedule.FAILED) from None
    if as_json:
        facts = {
            "night": night.number,
            "status": night.status,
            "files": night.files,
            "searched": night.searched,
        }
        typer.echo(json.dumps(facts | {"remarks": night.remarks, "digest": night.digest}, ensure_ascii=False))
    elif night.digest:
        typer.echo(as_text(night.digest), nl=False)
    for remark in () if as_json or night.digest else night.remarks:
        print(f"excursions: {remark}", file=sys.stderr)
    raise typer.Exit(night.status)


def drawn_as(folder: Path) -> Pages:
    """How the settings of a site want its pages drawn.

    Raises
    ------
    UsageError
        If there is no site, or its settings cannot be used.
    """
    from excursions.site.nightly import open_site

    search = open_site(folder)[1].search

    def pages(result: ScanResult, out: Path, only: frozenset[str]) -> None:
        from dashboards import write_site
        from excursions.cli.publish import shared_out

        units, each = search.display_units, shared_out(search.jobs)
        write_site(result, out, only=only, display_units=units, each=each)

    return pages
