"""One night: take in what is new, search what changed, bring the ledger up to date, publish, tell."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from excursions import clock
from excursions.pipeline.progress import Progress, quiet
from excursions.site import schedule
from excursions.site.digest import as_html, as_json, as_text, count_news, digest_facts
from excursions.site.durable import remove, sweep, write_files
from excursions.site.health import dry_since, remarks_on_time
from excursions.site.layout import Site
from excursions.site.ledger import Ledger
from excursions.site.lock import site_lock
from excursions.site.mending import sound_ledger
from excursions.site.publish import Pages, lost_reports
from excursions.site.settings import Settings, load_settings

if TYPE_CHECKING:
    from excursions.report.result import ScanResult
    from excursions.site.work import Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """How a run ended: exit status, files taken, things told, remarks, and the digest (empty: nothing to tell)."""

    number: int
    status: int
    files: int = 0
    searched: int = 0
    remarks: tuple[str, ...] = ()
    digest: Mapping[str, Any] = field(default_factory=dict)


def open_site(root: Path) -> tuple[Site, Settings]:
    """The site in a folder, and its settings.

    Raises
    ------
    UsageError
        If there is none, or its settings cannot be used.
    """
    site = Site(root.absolute())
    return site, load_settings(site.settings)


def nightly(root: Path, *, now_ns: int, pages: Pages, progress: Progress = quiet) -> Night:
    """Run one night.

    Parameters
    ----------
    root : Path
        Folder of the site.
    now_ns : int
        Wall clock, ns UTC.  It dates what is written and tells fresh files; no result depends on it.
    pages : callable
        Draws pages; passed in, because this room knows nothing of drawing.

    Raises
    ------
    UsageError, RegisterError
        If settings or register cannot be used; nothing was changed then.
    SiteBusyError
        If another run is at work.
    OSError
        If the disk is full, the folder read-only and the like; the next run goes on from a sound state.
    """
    import os

    site, settings = open_site(root)
    words = f"process {os.getpid()}, since {clock.iso(now_ns)}"
    with site_lock(site.lock, words) as left:
        remarks = (
            [f"the run before did not end ({left}); this one went on from where it stopped"] if left else []
        )
        _sweep(site)
        ledger = sound_ledger(site, remarks)
        try:
            return _night(site, settings, ledger, now_ns, pages, progress, remarks)
        finally:
            ledger.close()


def _sweep(site: Site) -> None:
    for folder in (site.kept, site.findings):
        if folder.is_dir():
            sweep(folder)
    for path in site.reports.rglob(".*"):  # unfinished tables and pages; nothing there is hidden on purpose
        if path.is_file() or path.is_symlink():
            remove(path)
    for path in site.root.glob(".part-*"):
        remove(path)


def _night(
    site: Site,
    settings: Settings,
    ledger: Ledger,
    now_ns: int,
    pages: Pages,
    progress: Progress,
    remarks: list[str],
) -> Night:
    from excursions.site.arrivals import register_new
    from excursions.site.damage import look_after, start_again
    from excursions.site.intake import take_in
    from excursions.site.work import Work, reading_key, stated_plant

    number = int(ledger.rows("SELECT coalesce(max(night), 0) + 1 FROM nights")[0][0])
    work = Work(
        site=site, ledger=ledger, night=number, now_ns=now_ns, options=settings.read_options(),
        progress=progress, remarks=remarks, zone=settings.reading.tz,
    )  # fmt: skip
    work.options = work.options.for_plant(stated_plant(work))
    remarks += remarks_on_time(ledger, now_ns, settings.schedule)
    with ledger.transaction() as connection:
        connection.execute("INSERT INTO nights (night, started) VALUES (?, ?)", (number, clock.iso(now_ns)))
    if ledger.meta("reading") not in ("", reading_key(work.options)):
        work.notes.append("settings or register read files differently now: everything was taken in again")
        start_again(work)
    if ledger.meta("reading") != reading_key(work.options):
        with ledger.transaction():
            ledger.set_meta("reading", reading_key(work.options))
    register_new(work, settle_s=settings.inbox.settle_s, keep_inbox=settings.inbox.keep)
    take_in(work)
    if not work.files and (dry := dry_since(ledger, now_ns, settings.schedule)):
        remarks.append(dry)
    look_after(work)
    take_in(work)
    searched = _conclude_if_needed(work, settings, pages)
    facts, failed = _hand_over(work, settings)
    return _finish(work, facts, failed, searched)


# --- conclusions ---------------------------------------------------------------------------------------------------


def _state_key(work: Work, settings: Settings) -> str:
    """What the conclusions rest on; as long as it stays, there is nothing to do."""
    from excursions.site.program import program

    total = hashlib.blake2b(digest_size=16)
    register = work.site.register.read_bytes() if work.site.register.exists() else b""
    files = work.ledger.rows(
        "SELECT sha256, name, arrival, state FROM files WHERE kind != 'export' OR state != 'in' ORDER BY sha256, name"
    )
    for word in (
        work.ledger.meta("archived"), program(), register, [tuple(row) for row in files],
        tuple(work.ledger.rows("SELECT count(*), max(number) FROM notes")[0]),
        settings.search.display_units, work.zone,
    ):  # fmt: skip
        total.update(repr(word).encode("utf-8", errors="surrogatepass") + b"\0")
    return total.hexdigest()


def _conclude_if_needed(work: Work, settings: Settings, pages: Pages) -> int:
    """Search, conclude and publish, unless all that was done for just this state; returns how many points were."""
    key = _state_key(work, settings)
    if work.ledger.meta("concluded") == key and work.ledger.meta("published") == key:
        lost = lost_reports(work)
        if not lost:
            return 0
        work.notes.append(
            f"{len(lost)} of the report files were missing or changed, and are written again: {', '.join(lost[:3])}"
        )
    if not work.ledger.rows("SELECT 1 FROM parts LIMIT 1"):
        return 0
    from excursions.site.archive import PartDamagedError
    from excursions.site.damage import mend
    from excursions.site.intake import take_in
    from excursions.site.work import MOST_ROUNDS

    for _ in range(MOST_ROUNDS):
        try:
            return _conclude(work, settings, pages, _state_key(work, settings))
        except PartDamagedError as error:
            mend(work, error.part)
            take_in(work)
    raise OSError("archive parts are damaged again and again: the disk may be failing")


def _conclude(work: Work, settings: Settings, pages: Pages, key: str) -> int:
    """Everything from the archive to the reports.  `key` was taken before: what changes meanwhile counts tomorrow."""
    from excursions.pipeline.conclude import conclude
    from excursions.pipeline.inputs import sample_pins, without_signal
    from excursions.site.account import run_of
    from excursions.site.evidence import gather_evidence
    from excursions.site.lately import remarks, since_last_conclusion
    from excursions.site.publish import publish
    from excursions.site.search import forget_others, search
    from excursions.site.tasks import tasks
    from excursions.site.work import live_parts

    known = gather_evidence(work)
    evidence = known.evidence
    units = {row["tag"]: (row["unit"], row["description"]) for row in work.ledger.rows("SELECT * FROM tags")}
    wanted = tasks(
        work.site, evidence.plant, live_parts(work.ledger), units, sample_pins(evidence.laboratory)
    )
    fresh = sum(not task.file.exists() for task in wanted)
    found = search(wanted, jobs=settings.search.jobs, progress=work.progress)
    result = conclude(evidence, [findings for findings, _ in found])
    with_signal = {task.point.name for task in wanted}
    missing = [without_signal(point) for point in evidence.plant.points if point.name not in with_signal]
    run = run_of(work, known, (*known.problems, *missing), result)
    result = dataclasses.replace(result, run=run)
    _commit_news(work, settings, result, key)
    result = dataclasses.replace(since_last_conclusion(work.ledger, result), remarks=remarks(work.ledger))
    publish(work, pages, result, known, wanted, display_units=settings.search.display_units, key=key)
    forget_others(work.site, wanted)
    return fresh


def _commit_news(work: Work, settings: Settings, result: ScanResult, key: str) -> None:
    """Transaction B: events, changes and the digest of this night, all or nothing."""
    from excursions.report.reader import Reader, looking
    from excursions.site.feed import tell_feeds
    from excursions.site.lately import note_changes
    from excursions.site.news import update_events, write_changes
    from excursions.site.work import live_parts

    if work.ledger.meta("concluded") == key:
        return
    with work.ledger.transaction() as connection:
        note_changes(work.ledger, result)
        changes = update_events(connection, result, night=work.night, report_from=settings.search.report_from)
        feeds = tell_feeds(
            work.ledger,
            result,
            live_parts(work.ledger),
            now_ns=work.now_ns,
            every_hours=settings.schedule.every_hours,
        )
        write_changes(connection, work.night, feeds)
        state: dict[str, int] = {}
        for verdict in result.verdicts:
            state[verdict.verdict] = state.get(verdict.verdict, 0) + 1
        reader = Reader(tz=clock.zone(result.plant.zone), temperature=settings.search.display_units)
        said = looking(result.points, reader)
        facts = digest_facts(
            [*changes, *feeds],
            [],
            night=work.night,
            finished=clock.iso(work.now_ns),
            plant=result.plant.name,
            state=state,
            zone=result.plant.zone,
            verdicts=result.verdicts,
            words=lambda point, sentence: said(point).text(sentence),
        )
        work.ledger.set_meta("state", json.dumps({"plant": result.plant.name, "points": state}))
        if facts:
            connection.execute(
                "INSERT OR REPLACE INTO digests (night, facts) VALUES (?, ?)",
                (work.night, json.dumps(facts, ensure_ascii=False)),
            )
        work.ledger.set_meta("concluded", key)
        _note_reasons(work)


def _note_reasons(work: Work) -> None:
    """Say what may have changed an answer beside new data: the program, or the register."""
    from excursions.site.program import program

    register = work.site.register.read_bytes() if work.site.register.exists() else b""
    for key, now, words in (
        (
            "program",
            program(),
            "the program was updated: every point was searched again, and changes may come from that",
        ),
        (
            "register",
            hashlib.sha256(register).hexdigest(),
            "the register was changed: changes may come from that",
        ),
    ):
        if work.ledger.meta(key) not in ("", now):
            work.notes.append(words)
        work.ledger.set_meta(key, now)


# --- telling -------------------------------------------------------------------------------------------------------


def _hand_over(work: Work, settings: Settings) -> tuple[dict[str, Any], list[str]]:
    """Complete tonight's digest by the remarks nobody was told yet, write it, and deliver what waits."""
    facts = _tonight(work)
    if facts:
        write_files(
            (work.site.reports / f"digest.{ending}", text.encode("utf-8", errors="replace"))
            for ending, text in (
                ("txt", as_text(facts)),
                ("html", as_html(facts, beside_pages=True)),
                ("json", as_json(facts)),
            )
        )
    failed: list[str] = []
    for row in work.ledger.rows("SELECT * FROM digests WHERE delivered NOT LIKE 'all%' ORDER BY night"):
        from excursions.site.deliver import (
            deliver,  # what mail needs is loaded when there is something to send
        )

        waiting = json.loads(row["facts"])
        identity = f"{row['night']}-{hashlib.blake2b(row['facts'].encode(), digest_size=6).hexdigest()}"
        done, troubles = deliver(waiting, settings, identity=identity, already=row["delivered"].split())
        failed += troubles
        with work.ledger.transaction() as connection:
            mark = " ".join(done) if troubles else "all " + " ".join(done)
            connection.execute("UPDATE digests SET delivered = ? WHERE night = ?", (mark, row["night"]))
    return facts, failed


def _tonight(work: Work) -> dict[str, Any]:
    """The digest of tonight with its remarks; a remark that stands from night to night is told once."""
    told = set(json.loads(work.ledger.meta("told") or "[]"))
    fresh = [remark for remark in dict.fromkeys([*work.notes, *work.remarks]) if remark not in told]
    rows = work.ledger.rows("SELECT facts FROM digests WHERE night = ?", (work.night,))
    facts: dict[str, Any] = json.loads(rows[0]["facts"]) if rows else {}
    if not facts and not fresh and set(work.remarks) == told:
        return {}
    if fresh and not facts:
        state = json.loads(work.ledger.meta("state") or "{}")
        facts = digest_facts(
            [], fresh, night=work.night, finished=clock.iso(work.now_ns),
            plant=state.get("plant", ""), state=state.get("points", {}),
        )  # fmt: skip
    elif facts:
        facts["remarks"] = fresh
    with work.ledger.transaction() as connection:
        work.ledger.set_meta("told", json.dumps(sorted(set(work.remarks)), ensure_ascii=False))
        if facts:
            connection.execute(
                "INSERT OR REPLACE INTO digests (night, facts) VALUES (?, ?)",
                (work.night, json.dumps(facts, ensure_ascii=False)),
            )
    return facts


def _needs_a_hand(remark: str, work: Work) -> bool:
    """Notes, and remarks that mend themselves with the next run, ask nothing of anybody."""
    return remark not in work.notes and not remark.endswith("next run")


def _finish(work: Work, facts: Mapping[str, Any], failed: list[str], searched: int) -> Night:
    """Write down how the night ended, in the ledger, its copy and the log."""
    remarks = [*facts.get("remarks", ()), *failed]
    if failed or any(_needs_a_hand(remark, work) for remark in remarks):
        status = schedule.ATTENTION
    else:
        status = schedule.NEWS if count_news(facts) else schedule.QUIET
    finished = clock.iso(work.now_ns + int((time.monotonic() - work.begun) * clock.NS_PER_S))
    changed = bool(facts or work.files or searched or work.mended)
    with work.ledger.transaction() as connection:
        connection.execute(
            "UPDATE nights SET finished = ?, status = ?, files = ?, news = ?, remarks = ? WHERE night = ?",
            (finished, status, work.files, count_news(facts),
             json.dumps(remarks, ensure_ascii=False), work.night),
        )  # fmt: skip
    if changed or not work.site.ledger_copy.exists():
        work.ledger.copy_to(work.site.ledger_copy)
    line = {
        "night": work.night, "finished": finished, "status": status, "files": work.files,
        "searched": searched, "news": count_news(facts), "remarks": remarks,
    }  # fmt: skip
    with (work.site.logs / "nightly.jsonl").open("a", encoding="utf-8", errors="replace") as log:
        log.write(json.dumps(line, ensure_ascii=False) + "\n")
    return Night(
        number=work.night,
        status=status,
        files=work.files,
        searched=searched,
        remarks=tuple(remarks),
        digest=facts,
    )
