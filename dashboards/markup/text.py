"""Making text from files harmless outside HTML templates: in plotly labels and in embedded JSON."""

from __future__ import annotations

_JSON_IN_HTML = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


def plain(text: str) -> str:
    """Text for plotly, which reads a small subset of HTML: shown as it stands, never as markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def json_in_html(text: str) -> str:
    """JSON that cannot end the script element it stands in."""
    for sign, escape in _JSON_IN_HTML.items():
        text = text.replace(sign, escape)
    return text
