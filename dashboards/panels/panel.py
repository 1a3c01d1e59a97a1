"""A panel is a section of a page under its answer: plain blocks that its own file gives, or markup in a template."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboards.figures.pack import pack_spec
from dashboards.figures.spec import Spec, canonical_json
from dashboards.markup import json_in_html
from dashboards.wording import Reader


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Text of a cell that leads somewhere."""

    text: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A paragraph; `look` is ``quiet``, ``lead``, ``nothing`` (why there is nothing, and what next) or empty."""

    text: str
    look: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under a head; on paper only the first `on_paper` of them."""

    head: Sequence[str]
    rows: Sequence[Sequence[str | Link]]
    on_paper: int = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A figure that is drawn when somebody opens it, with its text alternative; it can be saved as data and picture.

    `name` is unique on the page; `title` invites to open it.
    """

    name: str
    title: str
    words: str
    spec: Spec

    @property
    def packed(self) -> Markup:
        """The figure as it is embedded in the page."""
        return embedded_figure(self.spec)


Block = Words | Table | Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One registered section.

    Attributes
    ----------
    key, title, nav : str
        Its anchor, its heading, and its name among the links within the page.
    blocks : callable (subject, reader) or None
        What it holds, from what the page is about; no block, no section.  None where a template has the markup.
    on_screen_only : bool
        Whether paper goes without it.
    """

    key: str
    title: str
    nav: str
    blocks: Callable[..., Sequence[Block]] | None = None
    on_screen_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A panel on one page: `parts` are (sort of block, block), empty where `template` has the markup."""

    panel: Panel
    template: str
    parts: tuple[tuple[str, Block], ...]


def sections(
    page: str, panels: Sequence[Panel], subject: object, reader: Reader, *, without: Collection[str] = ()
) -> list[Section]:
    """The panels of a page that have something to show, in their order, but those whose keys are in `without`."""
    made = []
    for panel in panels:
        blocks = tuple(panel.blocks(subject, reader)) if panel.blocks else ()
        if panel.key in without or (panel.blocks and not blocks):
            continue
        parts = tuple((type(block).__name__.lower(), block) for block in blocks)
        made.append(Section(panel=panel, template=f"{page}/{panel.key}.html", parts=parts))
    return made


def embedded(value: object) -> Markup:
    """JSON inside a script element of a page: safe because every sign that could end it is escaped."""
    return Markup(json_in_html(canonical_json(value)))


def embedded_figure(spec: Spec) -> Markup:
    """A figure description packed and embedded."""
    return embedded(pack_spec(spec))
