"""The digest of a night: new, worse, silent, resolved, verified, doubted, audit, overdue; as text, HTML and JSON; nothing when there is nothing."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from excursions.records import SEVERITY_RANK
from excursions.site.changes import HEADINGS, Change

MOST_SHOWN = 25  # of one heading; the rest is counted and stands in the ledger
_DISCLAIMER = (
    "This tool releases no batch and protects no plant; local procedures and authorised people decide."
)

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")  # what could steer a terminal


def digest_facts(
    changes: Sequence[Change],
    remarks: Sequence[str],
    *,
    night: int,
    finished: str,
    plant: str,
    state: Mapping[str, int],
) -> dict[str, Any]:
    """What the digest tells, or an empty mapping when there is nothing to tell."""
    told = [change for change in changes if change.told]
    if not told and not remarks:
        return {}
    news = {
        heading: [
            _fact(change)
            for change in sorted(
                (change for change in told if change.what == heading),
                key=lambda c: (-SEVERITY_RANK[c.severity], c.point, c.event),
            )
        ]
        for heading in HEADINGS
    }
    return {
        "night": night,
        "finished": finished,
        "plant": plant,
        "news": {heading: rows for heading, rows in news.items() if rows},
        "remarks": list(remarks),
        "points": dict(state),
    }


def _fact(change: Change) -> dict[str, str]:
    return {
        "point": change.point,
        "event": change.event,
        "severity": change.severity,
        "before": change.before,
        "after": change.after,
        "sentence": change.sentence,
    }


def count_news(facts: Mapping[str, Any]) -> int:
    """How many things the digest tells, remarks left out."""
    return sum(len(rows) for rows in facts.get("news", {}).values())


def subject(facts: Mapping[str, Any]) -> str:
    """One line for a mail."""
    counts = ", ".join(f"{len(rows)} {heading}" for heading, rows in facts["news"].items())
    text = f"{facts['plant'] or 'Probes'}: {counts or 'remarks of the nightly run'}"
    return " ".join(text.split())


def as_text(facts: Mapping[str, Any]) -> str:
    """For a terminal or a mail."""
    lines = [f"{facts['plant'] or 'Probes'}, night {facts['night']}, {facts['finished']}", _state(facts)]
    for heading, rows in facts["news"].items():
        lines += ["", heading.upper()]
        for row in rows[:MOST_SHOWN]:
            name = f"  [{row['event']}]" if row["event"] else ""
            lines += textwrap.wrap(
                f"{row['severity']:5}  {row['point']}: {row['sentence']}{name}", 98, subsequent_indent="       ",
                break_long_words=False, break_on_hyphens=False,
            )  # fmt: skip
        lines += _more(rows)
    if facts["remarks"]:
        lines += ["", "REMARKS", *(f"- {remark}" for remark in facts["remarks"][:MOST_SHOWN])]
        lines += _more(facts["remarks"])
    lines += ["", 'Answer with: excursions note EVENT "...", excursions close EVENT', _DISCLAIMER]
    return _CONTROL.sub("?", "\n".join(lines)) + "\n"


def _state(facts: Mapping[str, Any]) -> str:
    return "Points: " + (
        ", ".join(f"{count} {verdict}" for verdict, count in facts["points"].items()) or "none"
    )


def _more(rows: Sequence[object]) -> list[str]:
    left = len(rows) - MOST_SHOWN
    return [f"... and {left} more (table changes of the ledger)"] if left > 0 else []


def as_html(facts: Mapping[str, Any]) -> str:
    """One page without scripts or anything from elsewhere; every text from outside is escaped."""
    title = escape(subject(facts))
    parts = [
        "<!doctype html>",
        f'<html lang="en"><head><meta charset="utf-8"><title>{title}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<style>body{font:16px/1.5 system-ui,sans-serif;margin:2rem auto;max-width:60rem;padding:0 1rem;color:#1c2430}"
        "table{border-collapse:collapse;width:100%}td,th{border-top:1px solid #c8ced6;padding:.4rem;text-align:left;"
        "vertical-align:top}code{white-space:nowrap}h2{font-size:1.1rem;margin-top:1.5rem}</style></head><body>",
        f"<h1>{title}</h1><p>Night {int(facts['night'])}, {escape(facts['finished'])}. {escape(_state(facts))}.</p>",
    ]
    for heading, rows in facts["news"].items():
        parts.append(
            f"<h2>{escape(heading.capitalize())}</h2><table><thead><tr><th>Point</th><th>Severity</th><th>What</th>"
            "<th>Event</th></tr></thead><tbody>"
        )
        parts += [
            f"<tr><td>{escape(row['point'])}</td><td>{escape(row['severity'])}</td><td>{escape(row['sentence'])}</td>"
            f"<td><code>{escape(row['event'])}</code></td></tr>"
            for row in rows[:MOST_SHOWN]
        ]
        parts.append("</tbody></table>" + "".join(f"<p>{escape(line)}</p>" for line in _more(rows)))
    if facts["remarks"]:
        items = "".join(f"<li>{escape(remark)}</li>" for remark in facts["remarks"][:MOST_SHOWN])
        parts.append(
            f"<h2>Remarks</h2><ul>{items}</ul>"
            + "".join(f"<p>{escape(x)}</p>" for x in _more(facts["remarks"]))
        )
    parts.append(f"<p>{escape(_DISCLAIMER)}</p></body></html>\n")
    return "\n".join(parts)


def as_json(facts: Mapping[str, Any]) -> str:
    """For programs."""
    return json.dumps(facts, indent=2, ensure_ascii=False) + "\n"
