"""``excursions handbook``: what each detector looks for, in the words of the trade."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
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
    from excursions.detect.tuning import TUNABLE, words_of_settings
    from excursions.handbook import page_named, pages

    if not name:
        typer.echo("\n".join(list_lines(pages())))
        return
    page = page_named(name)
    lines = page_lines(page)
    if page.name in TUNABLE:
        lines += setting_lines(page.name, TUNABLE[page.name], words_of_settings(page.name))
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


def setting_lines(detector: str, defaults: Mapping[str, float], words: Mapping[str, str]) -> list[str]:
    """The settings of a detector with their defaults and what each means, and how to change one."""
    first, default = next(iter(defaults.items()))
    lines = [
        "",
        "Settings",
        *_block(
            f'Defaults; the end of a name is its unit. Another value: "{first} = {default:g}" under [detectors.{detector}] in the register, or --tune {detector}.{first}={default:g}. The limits a report states are of the settings it was made with.'
        ),
    ]
    for name, value in defaults.items():
        lines += _block(f"{name} = {value:g}: {words[name]}", first="- ", hang="  ")
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
