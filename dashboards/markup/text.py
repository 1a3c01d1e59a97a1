"""Making text from files harmless outside HTML templates: in plotly labels and in embedded JSON."""

from __future__ import annotations

import re

# What is no running text: tags, and elements whose words never turn a line or may hold no element.
_APART = re.compile(r"(<(script|style|title|svg|option|code)\b[^<]*(?:<(?!/\2>)[^<]*)*</\2>|<[^>]*>)")
# A name as plants give them, joined by hyphens, with a digit or two capitals in a row; and an option.  Longer ones may have to break.
_NAME = re.compile(
    r"(?<![\w.-])(?=[\w.-]*(?:\d|[A-Z]{2}))\w[\w.]*(?:-[\w.]*\w)+(?![\w-])|(?<![\w-])--[a-z][\w-]*"
)
_LONGEST_HELD = 16
_PATH = re.compile(r"[\w./\\:-]{20,}")
_JOINT = re.compile(r"[/\\_:](?=\w)")

_JSON_IN_HTML = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


def plain(text: str) -> str:
    """Text for plotly, which reads a small subset of HTML: shown as it stands, never as markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def names_held(page: str) -> str:
    """A page whose names do not break at their hyphens, and whose long paths break at their joints.

    The characters stay what they are, so that a name is found and copied as the plant writes it.
    """
    parts = _APART.split(page)  # text, what stands apart, its element, text, ...
    for n in range(0, len(parts), 3):
        text = parts[n]
        if "-" in text:
            text = _NAME.sub(_held, text)
        if len(text) >= 20:
            text = _PATH.sub(lambda found: _JOINT.sub(r"\g<0><wbr>", found.group()), text)
        parts[n] = text
    return "".join(part for n, part in enumerate(parts) if n % 3 != 2)


def _held(found: re.Match[str]) -> str:
    name = found.group()
    return f'<span class="held">{name}</span>' if len(name) <= _LONGEST_HELD else name


def json_in_html(text: str) -> str:
    """JSON that cannot end the script element it stands in."""
    for sign, escape in _JSON_IN_HTML.items():
        text = text.replace(sign, escape)
    return text
