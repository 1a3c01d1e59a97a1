"""The only door to HTML: a template environment that escapes everything not marked as safe."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dashboards.markup.text import json_in_html, plain

__all__ = ["environment", "json_in_html", "plain"]

TEMPLATES = Path(__file__).parent / "templates"


@cache
def environment() -> Environment:
    """Templates with escaping on and unknown names refused."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["verdict_class"] = lambda verdict: "v-" + str(verdict).replace(" ", "-")
    return made
