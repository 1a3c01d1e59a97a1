"""The handbook: a page a detector in the words of the trade, read from ``pages/*.md``.

In: the Markdown files of this folder, one named after each detector.  Out: :class:`Page` objects for the terminal
and for the report.  A page begins with its title, then names the kinds of event it speaks of; the table of
:mod:`excursions.kinds` adds what to do and the cautions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from excursions.errors import UsageError, did_you_mean
from excursions.kinds import KINDS, Kind, advice_for

KINDS_MARK = "Kinds:"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page of the handbook.

    Attributes
    ----------
    name, title : str
        Name of the detector, and the heading people read.
    kinds : tuple of Kind
        Kinds of event it speaks of.
    body : str
        Markdown: what it looks for, how, its limit, its false friends; headings of level two.
    """

    name: str
    title: str
    kinds: tuple[Kind, ...]
    body: str

    @property
    def advice(self) -> tuple[tuple[str, str], ...]:
        """What to do when the origin is the probe: (label, advice) a kind."""
        return tuple((kind.label, advice_for(kind.key, "other")) for kind in self.kinds)

    @property
    def cautions(self) -> tuple[str, ...]:
        """The usual cautions for that work, each once; local procedures and authorised people decide."""
        return tuple(dict.fromkeys(kind.caution for kind in self.kinds if kind.caution))


@cache
def pages() -> tuple[Page, ...]:
    """All pages, in the order of the kinds they speak of."""
    rank = {key: number for number, key in enumerate(KINDS)}
    found = [
        _read(entry.name.removesuffix(".md"), entry.read_text(encoding="utf-8"))
        for entry in files(__name__).joinpath("pages").iterdir()
        if entry.name.endswith(".md")
    ]
    return tuple(
        sorted(found, key=lambda page: (rank[page.kinds[0].key], page.name != page.kinds[0].key, page.name))
    )


def page_named(word: str) -> Page:
    """The page of a detector, or of a kind of event by its key or label.

    Raises
    ------
    UsageError
        If no page has that name; it names the nearest.
    """
    wanted = word.strip().lower().replace("-", "_").replace(" ", "_")
    known = {page.name: page for page in pages()}
    for page in pages():
        for kind in page.kinds:
            known.setdefault(kind.key, page)
            known.setdefault(kind.label.lower().replace("-", "_").replace(" ", "_"), page)
    if wanted not in known:
        raise UsageError(
            f'no handbook page "{word}"',
            expected="the name of a detector or of a kind of event",
            mend=did_you_mean(wanted, known, "leave the name out to see all pages"),
        )
    return known[wanted]


def page_of(kind: str) -> Page:
    """The page that speaks of a kind of event; the page named like it comes first."""
    held = [page for page in pages() if any(one.key == kind for one in page.kinds)]
    return next((page for page in held if page.name == kind), held[0])


def _read(name: str, text: str) -> Page:
    """A page from its Markdown: title, the line of kinds, the rest."""
    title, _, rest = text.partition("\n")
    named, _, body = rest.strip().partition("\n")
    keys = [key.strip() for key in named.removeprefix(KINDS_MARK).split(",")]
    return Page(
        name=name,
        title=title.removeprefix("# ").strip(),
        kinds=tuple(KINDS[key] for key in keys),
        body=body.strip(),
    )
