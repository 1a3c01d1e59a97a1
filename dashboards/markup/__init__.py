"""The only door to HTML: a template environment that escapes everything not marked as safe."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from dashboards.markup.text import json_in_html, names_held, plain
from excursions.digits import unbroken

__all__ = ["json_in_html", "plain", "rendered"]

TEMPLATES = Path(__file__).parent / "templates"


def rendered(template: str, **facts: object) -> str:
    """A page from its template, with names held together."""
    return names_held(_environment().get_template(template).render(**facts))


@cache
def _environment() -> Environment:
    """Templates with escaping on and unknown names refused."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_shown,
    )
    made.filters["verdict_class"] = lambda verdict: "v-" + str(verdict).replace(" ", "-")
    return made


def _shown(value: object) -> object:
    """What a template writes: text with its units held to their numbers; markup as it is."""
    return unbroken(value) if isinstance(value, str) and not isinstance(value, Markup) else value
