"""Making text from files harmless outside HTML templates: in plotly labels and in embedded JSON."""

from __future__ import annotations

import re

_LOOSE = re.compile(
    r"(?<=\d) (?=(?:%|°[CF]|×|µS/cm|mS/cm|mg/L|µg/L|g/L|mV|pH|[NF]TU|K|K/min|kPa|ppm|ppb|h|min|s|d)(?!\w))"
    r"|(?<=±) (?=\d)|(?<=\b\d) (?=[A-Z][a-z]{2}\b)|(?<=\b\d\d) (?=[A-Z][a-z]{2}\b)"
)

_JSON_IN_HTML = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


def plain(text: str) -> str:
    """Text for plotly, which reads a small subset of HTML: shown as it stands, never as markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def unbroken(text: str) -> str:
    """The same with a number kept on one line with its unit, its band or its month."""
    return _LOOSE.sub("\u00a0", text)


def json_in_html(text: str) -> str:
    """JSON that cannot end the script element it stands in."""
    for sign, escape in _JSON_IN_HTML.items():
        text = text.replace(sign, escape)
    return text
