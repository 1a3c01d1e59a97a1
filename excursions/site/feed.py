"""Signals that fall behind the others, because their export broke or nobody records them any more.

What is usual is learned from the site itself: a signal may lie behind the newest sample of the site by half as much
again as the time between runs or the longest lag from which it came back, and by its own longest silence.  It is told
once when it stops and once when it comes back.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace

from excursions import clock
from excursions.clock import NS_PER_HOUR, NS_PER_S, duration_text
from excursions.report.result import ScanResult
from excursions.report.wording import day
from excursions.site.archive import Part
from excursions.site.changes import Change
from excursions.site.health import LATE
from excursions.site.ledger import Ledger

KEPT_AS = "feeds"

FEEDING, BEHIND, TOLD = "feeding", "behind when first seen", "told"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """One tag: time of its newest sample, how far it lay behind at the last look, and the longest lag it came back from [ns]."""

    last: int
    behind: int = 0
    usual: int = 0
    state: str = FEEDING


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A tag that matters: what it is to its point, and the longest silence its record shows [ns]."""

    tag: str
    point: str
    role: str
    silence: int = 0


def tell_feeds(
    ledger: Ledger, result: ScanResult, parts: Iterable[Part], *, now_ns: int, every_hours: float
) -> list[Change]:
    """Signals that stopped or came back since the last conclusion (inside a transaction); keeps what the next needs."""
    newest: dict[str, int] = {}
    for part in parts:
        for tag, (_, last, _) in part.spans.items():
            newest[tag] = max(newest.get(tag, last), last)
    signals = [signal for signal in signals_of(result) if signal.tag in newest]
    if not signals:
        return []
    known = {tag: Feed(**row) for tag, row in json.loads(ledger.meta(KEPT_AS) or "{}").items()}
    # A sample dated in the future must not make all others late.
    site_end = min(max(newest[signal.tag] for signal in signals), now_ns)
    feeds: dict[str, Feed] = {}
    changes: list[Change] = []
    zone = clock.zone(result.plant.zone)
    for signal in signals:
        before = known.get(signal.tag)
        feed = feeds[signal.tag] = looked_at(
            before, newest[signal.tag], site_end, patience=int(every_hours * NS_PER_HOUR), silence=signal.silence
        )  # fmt: skip
        since = day(feed.last, zone)
        who = f"{signal.role} ({signal.tag})"
        was = before.state if before else FEEDING
        if feed.state == TOLD and was != TOLD:
            words = f"No new samples of {who} since {since}; the newest of the site is {duration_text(feed.behind / 1e9)} younger."
            changes.append(_change("silent", signal, words, before="arriving", after=clock.iso(feed.last)))
        elif feed.state == FEEDING and was == TOLD:
            words = f"Samples of {who} arrive again, up to {since}."
            changes.append(_change("resolved", signal, words, before="silent", after=clock.iso(feed.last)))
    ledger.set_meta(KEPT_AS, json.dumps({tag: asdict(feed) for tag, feed in sorted(feeds.items())}))
    return changes


def signals_of(result: ScanResult) -> list[Signal]:
    """Tags of all points that were searched, each once, in the order of points and roles."""
    signals: dict[str, Signal] = {}
    for findings in sorted(result.points, key=lambda f: f.point.name):
        for role, tag in findings.point.tags.items():
            sampling = findings.sampling.get(role)
            silence = (
                int(sampling.longest_silence_s * NS_PER_S)
                if sampling and sampling.longest_silence_s > 0
                else 0
            )
            signals.setdefault(tag, Signal(tag=tag, point=findings.point.name, role=role, silence=silence))
    return list(signals.values())


def looked_at(before: Feed | None, last: int, site_end: int, *, patience: int, silence: int) -> Feed:
    """A tag as it stands now.

    last, site_end : newest sample of the tag and of the site [ns]; patience : hours between runs [ns];
    silence : longest silence inside the record of the tag [ns]
    """
    behind = max(site_end - last, 0)
    usual = before.usual if before else 0
    if before and last > before.last and before.state != BEHIND:  # years out of service are no habit
        usual = max(usual, before.behind)
    late = behind > LATE * max(patience, usual) + silence
    feed = Feed(last=last, behind=behind, usual=usual)
    if not late:
        return feed
    # What was behind when the site first saw it may have been taken out of service years ago.
    return replace(feed, state=BEHIND if before is None or before.state == BEHIND else TOLD)


def _change(what: str, signal: Signal, sentence: str, *, before: str, after: str) -> Change:
    return Change(
        what=what, point=signal.point, severity="check" if what == "silent" else "note", before=before, after=after,
        sentence=sentence, told=True,
    )  # fmt: skip
