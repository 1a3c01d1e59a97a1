"""The digest of a night: new, worse, silent, resolved, verified, doubted, audit, overdue; as text, HTML and JSON; nothing when there is nothing."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from html import escape
from typing import Any

from excursions import clock
from excursions.records import SEVERITY_RANK
from excursions.report.result import Verdict
from excursions.site.changes import HEADINGS, WITHDRAWN, Change

MOST_SHOWN = 25  # of one heading; the rest is counted and stands in the ledger
_DISCLAIMER = (
    "This tool releases no batch and protects no plant; local procedures and authorised people decide."
)

# The ledger paper of the pages, as far as a page without a style sheet beside it needs it.
_STYLE = (
    ":root{--paper:#f2f5ec;--ink:#18221d;--quiet:#4e5b54;--rule:#c3cfc2;--link:#1c4e94}"
    "@media(prefers-color-scheme:dark){:root{--paper:#101612;--ink:#e6ece2;--quiet:#a5b3a9;--rule:#3a493f;--link:#8fbcf5}}"
    "body{font:17px/1.5 'Segoe UI','Noto Sans','Liberation Sans',Arial,sans-serif;margin:1.5rem auto;max-width:60rem;padding:0 1rem;"
    "background:var(--paper);color:var(--ink);overflow-wrap:anywhere}a{color:var(--link)}"
    "h1,h2,dd{font-family:Charter,'Liberation Serif',Georgia,serif}h1{line-height:1.2}"
    "h2{font-size:1.3rem;border-top:3px double var(--rule);padding-top:.6rem;margin:1.6rem 0 .4rem}"
    "table{border-collapse:collapse;width:100%;table-layout:fixed}th:nth-child(1){width:20%}th:nth-child(2){width:9rem}th:nth-child(4){width:8rem}td,th{border-top:1px solid var(--rule);padding:.4rem .8rem .4rem 0;text-align:left;"
    "vertical-align:top}th{color:var(--quiet)}th,code{white-space:nowrap}td:nth-child(2){white-space:nowrap}dd{margin:0 0 .6rem}"
    "@media(max-width:40rem){thead{display:none}td{display:block;border:0;padding:0}tr{display:block;border-top:1px solid var(--rule);padding:.5rem 0}}"
)

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")  # what could steer a terminal


Words = Callable[[str, str], str]  # of a point and a sentence


def _as_they_are(point: str, sentence: str) -> str:
    return sentence


def digest_facts(
    changes: Sequence[Change],
    remarks: Sequence[str],
    *,
    night: int,
    finished: str,
    plant: str,
    state: Mapping[str, int],
    zone: str = "",
    verdicts: Sequence[Verdict] = (),
    words: Words = _as_they_are,
) -> dict[str, Any]:
    """What the digest tells, or an empty mapping when there is nothing to tell.

    `state` counts points by verdict; of `verdicts`, worst first, those of points with news are told as they are now.
    `words` writes a sentence about a point in the units its reader asked for.
    """
    told = [change for change in changes if change.told]
    if not told and not remarks:
        return {}
    trusted = {v.point for v in verdicts if v.verdict == "trust"}
    news = {
        heading: [
            _fact(change, words, trusted=change.point in trusted)
            for change in sorted(
                (change for change in told if change.what == heading),
                key=lambda c: (-SEVERITY_RANK[c.severity], c.point),  # of one point as it happened
            )
        ]
        for heading in HEADINGS
    }
    named = {change.point for change in told}
    return {
        "night": night,
        "finished": finished,
        "zone": zone,
        "plant": plant,
        "now": [_answer(v, words) for v in verdicts if v.point in named and v.verdict != "trust"],
        "news": {heading: rows for heading, rows in news.items() if rows},
        "remarks": list(remarks),
        "points": dict(state),
    }


def _answer(verdict: Verdict, words: Words) -> dict[str, str]:
    return {
        "point": verdict.point,
        "verdict": verdict.verdict,
        "sentence": words(verdict.point, verdict.sentence),
        "advice": words(verdict.point, verdict.advice),
        "caution": words(verdict.point, verdict.caution),
    }


# What a change asks for where its heading says that nothing is left of it.
_ASKS = {"resolved": "over", "verified": "calibrated since"}


def _fact(change: Change, words: Words, *, trusted: bool) -> dict[str, str]:
    """A change, and what it asks for now: of a point that is trusted nobody is asked to act."""
    weight = "check" if trusted and change.severity == "act" else change.severity
    weight = "gone" if change.after == WITHDRAWN else weight
    return {
        "point": change.point,
        "event": change.event,
        "severity": change.severity,
        "weight": _ASKS.get(change.what, weight),
        "before": change.before,
        "after": change.after,
        "sentence": words(change.point, change.sentence),
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
    lines = [_head(facts), _state(facts)]
    if facts.get("now"):
        lines += ["", "AS IT STANDS"]
        for row in facts["now"][:MOST_SHOWN]:
            lines += _wrapped(
                f"{row['verdict']}  {row['point']}: {row['sentence']} {row['advice']} {row['caution']}".rstrip()
            )
        lines += _more(facts["now"])
    for heading, rows in facts["news"].items():
        lines += ["", _title(heading).upper()]
        for row in rows[:MOST_SHOWN]:
            name = f"  [{row['event']}]" if row["event"] else ""
            lines += _wrapped(f"{row['weight']:7}  {row['point']}: {_once(row, facts)}{name}")
        lines += _more(rows)
    if facts["remarks"]:
        lines += ["", "REMARKS", *(f"- {remark}" for remark in facts["remarks"][:MOST_SHOWN])]
        lines += _more(facts["remarks"])
    lines += [
        "",
        "Pages: reports/index.html of the site",
        'Answer with: excursions note EVENT "...", excursions close EVENT',
    ]
    return _CONTROL.sub("?", "\n".join([*lines, _DISCLAIMER])) + "\n"


def _once(row: Mapping[str, str], facts: Mapping[str, Any]) -> str:
    """What is told of a change: not again what stands above, in the answer about its point, word for word."""
    said = next(
        (now["sentence"] for now in facts.get("now", [])[:MOST_SHOWN] if now["point"] == row["point"]), ""
    )
    head, whose, more = row["sentence"].partition(" (")
    return f"as it stands above{whose}{more}" if head and said.startswith(head) else row["sentence"]


_TITLES = {
    "verified": "looked at by a calibration",
    "doubted": "readings to doubt",
    "audit": "calibration log beside the record",
}


def _title(heading: str) -> str:
    return _TITLES.get(heading, heading)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(
        text, 98, subsequent_indent="         ", break_long_words=False, break_on_hyphens=False
    )


def _head(facts: Mapping[str, Any]) -> str:
    zone, finished = "", facts["finished"]
    if facts.get("zone"):
        zone = f"; times in {facts['zone']}"
        finished = clock.wall(clock.to_ns(datetime.fromisoformat(finished)), clock.zone(facts["zone"]))
    return f"{facts['plant'] or 'Probes'}, night {facts['night']}, finished {finished}{zone}"


def _state(facts: Mapping[str, Any]) -> str:
    return "Points: " + (
        ", ".join(f"{count} {verdict}" for verdict, count in facts["points"].items()) or "none"
    )


def _more(rows: Sequence[object]) -> list[str]:
    left = len(rows) - MOST_SHOWN
    return [f"... and {left} more (table changes of the ledger)"] if left > 0 else []


def as_html(facts: Mapping[str, Any], *, beside_pages: bool = False) -> str:
    """One page without scripts or anything from elsewhere; every text from outside is escaped.

    `beside_pages`: it lies in the folder of the report, so that a link leads there; in a mail it would lead nowhere.
    """
    title = escape(subject(facts))
    pages = '<a href="index.html">All points</a>' if beside_pages else "reports/index.html of the site"
    parts = [
        "<!doctype html>",
        f'<html lang="en"><head><meta charset="utf-8"><title>{title}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">',
        f"<style>{_STYLE}</style></head><body><main>",
        f"<h1>{title}</h1><p>{escape(_head(facts))}. {escape(_state(facts))}.</p>",
    ]
    if facts.get("now"):
        parts.append("<h2>As it stands</h2><dl>")
        parts += [
            f"<dt><b>{escape(row['verdict'])}</b> {escape(row['point'])}</dt>"
            f"<dd>{escape(row['sentence'])} {escape(row['advice'])} <i>{escape(row['caution'])}</i></dd>"
            for row in facts["now"][:MOST_SHOWN]
        ]
        parts.append("</dl>" + _paragraphs(_more(facts["now"])))
    for heading, rows in facts["news"].items():
        parts.append(
            f"<h2>{escape(_title(heading).capitalize())}</h2><table><thead><tr><th>Point</th><th>Weight</th><th>What</th>"
            "<th>Event</th></tr></thead><tbody>"
        )
        parts += [
            f"<tr><td>{escape(row['point'])}</td><td>{escape(row['weight'])}</td><td>{escape(_once(row, facts))}</td>"
            f"<td><code>{escape(row['event'])}</code></td></tr>"
            for row in rows[:MOST_SHOWN]
        ]
        parts.append("</tbody></table>" + _paragraphs(_more(rows)))
    if facts["remarks"]:
        items = "".join(f"<li>{escape(remark)}</li>" for remark in facts["remarks"][:MOST_SHOWN])
        parts.append(f"<h2>Remarks</h2><ul>{items}</ul>" + _paragraphs(_more(facts["remarks"])))
    parts.append(
        f'<p>Pages: {pages}. Answer with: <code>excursions note EVENT "..."</code>, <code>excursions close EVENT</code></p>'
    )
    parts.append(f"<p>{escape(_DISCLAIMER)}</p></main></body></html>\n")
    return "\n".join(parts)


def _paragraphs(lines: Sequence[str]) -> str:
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def as_json(facts: Mapping[str, Any]) -> str:
    """For programs."""
    return json.dumps(facts, indent=2, ensure_ascii=False) + "\n"
