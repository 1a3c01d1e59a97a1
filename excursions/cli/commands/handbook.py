"""``excursions handbook``: what each detector looks for, in the words of the trade."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from excursions.handbook import Page

WIDTH = 80


def handbook(
    name: Annotated[
        str,
        typer.Argument(
            metavar="[NAME]", help="A detector or a kind of event; without it, the list of pages."
        ),
    ] = "",
) -> None:
    """Say what a detector looks for, how, its limit, its false friends and what to do.

    Example: excursions handbook stuck

    Exit status: 0, or 2 when no page has that name.
    """
    from excursions.handbook import page_named, pages

    lines = page_lines(page_named(name)) if name else list_lines(pages())
    typer.echo("\n".join(lines))


def list_lines(pages: tuple[Page, ...]) -> list[str]:
    """A line a page: its name and its title."""
    widest = max(len(page.name) for page in pages)
    return [f"{page.name:<{widest}}  {page.title}" for page in pages]


def page_lines(page: Page) -> list[str]:
    """One page for a terminal of eighty columns."""
    lines = [page.title, "=" * len(page.title), *_wrapped(page.body), "", "What to do"]
    for label, advice in page.advice:
        lines += _block(f"{label}: {advice}", first="- ", hang="  ")
    for caution in page.cautions:
        lines += _block(
            f"Take care: {caution} Local procedures and authorised people decide.", first="- ", hang="  "
        )
    return lines


def _wrapped(body: str) -> Iterator[str]:
    """Paragraphs, headings and lists of the plain Markdown of a page, wrapped."""
    for part in body.split("\n\n"):
        if part.startswith("## "):
            yield from ("", part.removeprefix("## "))
        elif part.startswith("- "):
            for item in part.removeprefix("- ").split("\n- "):
                yield from _block(item, first="- ", hang="  ")
        else:
            yield from _block(part)


def _block(text: str, *, first: str = "", hang: str = "") -> list[str]:
    return textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent=first, subsequent_indent=hang)
