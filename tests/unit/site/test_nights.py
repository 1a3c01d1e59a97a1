"""What people meet: lock, exit status, digest, notes, delivery, missed runs, units, and the ledger in their own tools."""

from __future__ import annotations

import json
import re
import shutil
import socket
import sqlite3
import subprocess
import threading
import zipfile
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from excursions import clock
from excursions.cli.commands.nightly import drawn_as
from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.errors import UsageError
from excursions.report.result import Verdict
from excursions.site.acts import close, note
from excursions.site.changes import Change
from excursions.site.digest import as_html, as_text, digest_facts
from excursions.site.health import health
from excursions.site.layout import Site, init_site
from excursions.site.lock import SiteBusyError, site_lock
from excursions.site.nightly import nightly
from excursions.site.schedule import cron_line, health_line, service_unit
from excursions.site.settings import Schedule, load_settings
from tests.sites import LOG, NOW, drop, ledger_rows, run, tables

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[3]


def test_the_second_run_says_that_another_is_at_work_and_changes_nothing(site: Site, later: Path) -> None:
    drop(site, [later])
    before = site.ledger.read_bytes()
    with site_lock(site.lock, "process 4711"), pytest.raises(SiteBusyError, match="process 4711"):
        run(site)
    assert site.ledger.read_bytes() == before
    assert (site.inbox / later.name).exists()
    assert run(site).files == 1


def test_a_night_with_nothing_new_tells_nothing(site: Site) -> None:
    first = (site.reports / "digest.txt").read_bytes()
    night = run(site)
    assert (night.status, night.files, night.searched, dict(night.digest)) == (0, 0, 0, {})
    assert (site.reports / "digest.txt").read_bytes() == first


def test_only_the_pages_of_points_that_changed_are_drawn_again(
    site: Site, later: Path, tmp_path: Path
) -> None:
    drawn: list[frozenset[str]] = []

    def pages(result: object, out: Path, only: frozenset[str]) -> None:
        (out / "index.html").write_text("x")
        drawn.append(only)

    whole = pl.read_csv(later)
    first = whole["time"].str.to_datetime("%Y-%m-%dT%H:%M:%SZ")
    # Within a day of the record's end: further on, the other point's page would say that its record ends there.
    only_b2 = whole.filter(pl.col("tag").str.starts_with("B2"), first < first.min() + timedelta(days=1.9))
    nightly(site.root, now_ns=NOW, pages=pages)
    site.register.write_text(site.register.read_text() + "\n")  # the same plant in other bytes
    nightly(site.root, now_ns=NOW, pages=pages)
    only_b2.write_csv(site.inbox / "b2.csv")
    nightly(site.root, now_ns=NOW, pages=pages)
    assert drawn == [frozenset({"A1", "B2"}), frozenset({"B2"})]


def test_a_page_that_was_deleted_or_cut_short_is_noticed_and_written_again(site: Site) -> None:
    (site.reports / "run.json").unlink()  # all pages, as they are drawn
    nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    pages = {path: path.read_bytes() for path in sorted((site.reports / "points").glob("*.html"))}
    (gone, cut), whole = list(pages)[:2], len(pages)
    gone.unlink()
    cut.write_bytes(pages[cut][:1000])
    night = nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    assert whole == 2
    assert {path: path.read_bytes() for path in pages} == pages
    assert (night.searched, night.status) == (0, 0)
    assert any("written again" in remark and gone.name in remark for remark in night.remarks)
    assert not nightly(site.root, now_ns=NOW, pages=drawn_as(site.root)).remarks


def test_the_overview_says_what_changed_since_the_conclusion_before(site: Site, later: Path) -> None:
    drop(site, [later])
    nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    told = [
        str(row[0]) for row in ledger_rows(site, "SELECT point FROM changes WHERE night = 2 AND what = 'new'")
    ]
    changes = pl.read_parquet(site.reports / "tables" / "changes.parquet")
    assert set(changes.filter(pl.col("change") == "new")["point"]) <= set(told)
    assert changes.height
    assert "Since the run before" in (site.reports / "index.html").read_text()
    (site.reports / "index.html").unlink()  # the same again, not compared with itself
    nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    assert pl.read_parquet(site.reports / "tables" / "changes.parquet").equals(changes)


def test_a_note_and_a_closing_stay_with_the_event_when_more_data_come(site: Site, later: Path) -> None:
    event = str(ledger_rows(site, "SELECT event FROM events WHERE point = 'A1' ORDER BY start LIMIT 1")[0][0])
    assert note(site.root, event[:6], "valve was stuck", now_ns=NOW) == event
    close(site.root, event, "done", now_ns=NOW)
    drop(site, [later])
    run(site)
    assert ledger_rows(site, f"SELECT act, text FROM notes WHERE event = '{event}'") == [
        ("note", "valve was stuck"),
        ("close", "done"),
    ]
    assert ledger_rows(site, f"SELECT state FROM events WHERE event = '{event}'") == [("closed",)]
    with pytest.raises(UsageError, match="no event"):
        note(site.root, "zzzz", "x", now_ns=NOW)


def test_what_a_person_wrote_stands_at_its_event_after_the_next_night(site: Site) -> None:
    (site.reports / "run.json").unlink()  # all pages, as they are drawn
    nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    event = str(ledger_rows(site, "SELECT event FROM events WHERE point = 'A1' ORDER BY start LIMIT 1")[0][0])
    note(site.root, event, "valve was <stuck>", now_ns=NOW)
    close(site.root, event, now_ns=NOW)
    others = {p: p.read_bytes() for p in (site.reports / "points").glob("b2*.html")}
    nightly(site.root, now_ns=NOW, pages=drawn_as(site.root))
    (page,) = (site.reports / "points").glob("a1*.html")
    said = re.findall(r'class="remark">([^<]*)<', page.read_text(encoding="utf-8").replace("\xa0", " "))
    date = clock.to_datetime(NOW).strftime("%-d %b %Y")
    assert said == [f"Noted {date}: valve was &lt;stuck&gt;", f"Closed {date}"]
    assert others
    assert {p: p.read_bytes() for p in others} == others  # the other point's page is as it was
    assert nightly(site.root, now_ns=NOW, pages=drawn_as(site.root)).searched == 0


def test_a_missed_run_and_a_clock_set_back_are_noticed(site: Site) -> None:
    assert health(site.root, now_ns=NOW + 20 * NS_PER_HOUR).healthy
    late = health(site.root, now_ns=NOW + 3 * NS_PER_DAY)
    assert not late.healthy
    assert "A run is missing" in late.sentence
    assert any("missed" in r for r in run(site, now_ns=NOW + 3 * NS_PER_DAY).remarks)
    back = run(site, now_ns=NOW)
    assert any("set back" in remark for remark in back.remarks)
    assert [row[0] for row in ledger_rows(site, "SELECT night FROM nights ORDER BY night")] == [1, 2, 3]


def test_the_digest_says_first_how_points_with_news_stand_and_what_to_do() -> None:
    changes = [
        Change(what="new", point="P1", event="ff", severity="act", sentence="Over-temperature.", told=True),
        Change(what="new", point="P1", event="aa", severity="act", sentence="Step.", told=True),
        Change(what="new", point="P2", event="bb", severity="act", sentence="Spikes.", told=True),
    ]
    verdicts = [
        Verdict(
            point=point, verdict=verdict, sentence=f"{point} reads high.", since=None, advice="Verify it.",
            caution="Hot surfaces.", rank_score=1.0,
        )
        for point, verdict in (("P1", "doubt"), ("P2", "trust"), ("P3", "do not use"))
    ]  # fmt: skip
    facts = digest_facts(
        changes,
        [],
        night=2,
        finished="2026-06-30T22:15:00Z",
        plant="P",
        state={},
        zone="Europe/Vienna",
        verdicts=verdicts,
    )
    text, page = as_text(facts), as_html(facts)
    assert text.index("doubt  P1: P1 reads high. Verify it. Hot surfaces.") < text.index("NEW")
    assert "P2 reads" not in text  # to be trusted
    assert "P3" not in text  # told on the night it happened
    assert text.index("Over-temperature.") < text.index("Step.")  # of one point as it happened
    assert "finished 1 Jul 2026 00:15; times in Europe/Vienna" in text  # on the clock it names
    assert page.index("P1 reads high.") < page.index("Over-temperature.")
    assert 'href="index.html"' in as_html(facts, beside_pages=True)
    assert "href" not in page  # in a mail a link beside the page leads nowhere


@pytest.mark.parametrize(
    ("what", "severity", "verdict", "weight"),
    [
        ("new", "act", "doubt", "act"),
        ("new", "act", "trust", "check"),  # of a reading that is trusted nobody is asked to act
        ("new", "note", "trust", "note"),
        ("resolved", "act", "doubt", "over"),
        ("verified", "act", "doubt", "calibrated since"),
    ],
)
def test_the_digest_asks_for_no_act_where_nothing_is_left_or_the_reading_is_trusted(
    what: str, severity: str, verdict: str, weight: str
) -> None:
    change = Change(what=what, point="P", event="e", severity=severity, sentence="Pinned.", told=True)
    now = Verdict(point="P", verdict=verdict, sentence="", since=None, advice="", caution="", rank_score=1.0)
    facts = digest_facts([change], [], night=1, finished="", plant="", state={}, verdicts=[now])
    assert f"\n{weight:7}  P: Pinned.  [e]" in as_text(facts)
    assert f"<td>{weight}</td>" in as_html(facts)


def test_the_digest_escapes_what_comes_from_outside() -> None:
    change = Change(
        what="new", point="<script>alert(1)</script>", event="e", severity="act", sentence="a & b", told=True
    )
    facts = digest_facts([change], ["<b>r</b>"], night=1, finished="now", plant="P<i>", state={"doubt": 1})
    page = as_html(facts)
    assert "<script>" not in page
    assert "<b>r" not in page
    assert "&lt;script&gt;" in page
    assert "a & b" in as_text(facts)
    steering = digest_facts([], ["\x1b[2Jx\ry"], night=1, finished="", plant="", state={})
    assert "?[2Jx?y" in as_text(steering)
    assert digest_facts([], [], night=1, finished="", plant="", state={}) == {}


def test_a_command_of_the_users_gets_the_digest_once(site: Site, later: Path, tmp_path: Path) -> None:
    out = tmp_path / "told.txt"
    words = ["/bin/sh", "-c", f'cat >> "{out}"']
    site.settings.write_text(site.settings.read_text() + f"[command]\nwords = {json.dumps(words)}\n")
    drop(site, [later])
    night = run(site)
    run(site)
    assert night.status == 1
    assert out.read_text().count("night 2") == 1


def test_a_delivery_that_fails_is_said_and_tried_again(site: Site, later: Path, tmp_path: Path) -> None:
    text = site.settings.read_text()
    site.settings.write_text(text + '[command]\nwords = ["/no/such/program"]\n')
    drop(site, [later])
    night = run(site)
    assert night.status == 4
    assert any("delivery command failed" in remark for remark in night.remarks)
    out = tmp_path / "told.txt"
    words = ["/bin/sh", "-c", f'cat >> "{out}"']
    site.settings.write_text(text + f"[command]\nwords = {json.dumps(words)}\n")
    run(site)
    assert "night 2" in out.read_text()


class MailServer(threading.Thread):
    """As much of a mail server as one message needs (RFC 5321)."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.message = ""

    def run(self) -> None:
        connection, _ = self.server.accept()
        with connection, connection.makefile("rb") as lines:
            connection.sendall(b"220 here\r\n")
            for line in lines:
                word = line[:4].upper()
                if word == b"DATA":
                    connection.sendall(b"354 go on\r\n")
                    for text in lines:
                        if text == b".\r\n":
                            break
                        self.message += text.decode()
                connection.sendall(b"221 bye\r\n" if word == b"QUIT" else b"250 ok\r\n")
                if word == b"QUIT":
                    return


def test_the_digest_goes_out_by_mail(site: Site, later: Path) -> None:
    server = MailServer()
    server.start()
    site.settings.write_text(
        site.settings.read_text()
        + f'[smtp]\nhost = "127.0.0.1"\nport = {server.port}\nto = ["shift@example.org"]\n'
    )
    drop(site, [later])
    assert run(site).status == 1
    server.join(30)
    assert "To: shift@example.org" in server.message
    assert "Tarn Mill" in server.message
    assert re.search(r"Message-ID: <excursions-2-[0-9a-f]{12}@site\.invalid>", server.message)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("[inbox]\nsettle = 3\n", 'Did you mean "settle_s"'),
        ("[schedul]\nat = '1'\n", 'Did you mean "schedule"'),
        ("[schedule]\nat = '25:99'\n", "a time of day"),
        ("jobs = 1\n[inbox]\n", "Put it below [search]"),
        ("[inbox]\nhost = 'h'\n", "Put it below [smtp]"),
        ("[search]\njobs = 'many'\n", "expected a whole number"),
        ("[search]\nreport_from = 'loud'\n", "note or check or act"),
        ("[smtp]\nhost = 'h'\n", "at least one address"),
        ("[inbox\n", "expected settings in TOML"),
    ],
)
def test_settings_that_cannot_be_used_are_explained(tmp_path: Path, text: str, found: str) -> None:
    path = tmp_path / "site.toml"
    path.write_text(text)
    with pytest.raises(UsageError) as caught:
        load_settings(path)
    assert found in str(caught.value)


def test_a_command_in_settings_that_everybody_may_write_is_not_run(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text('[command]\nwords = ["true"]\n')
    path.chmod(0o666)
    with pytest.raises(UsageError, match="everybody may write"):
        load_settings(path)
    path.chmod(0o640)
    assert load_settings(path).command.words == ("true",)


def test_pages_that_somebody_deleted_come_back_and_another_register_is_said(site: Site) -> None:
    shutil.rmtree(site.reports)
    assert run(site).searched == 0
    assert (site.reports / "tables" / "events.csv").exists()
    site.register.write_text(site.register.read_text().replace("plan_days = 7", "plan_days = 700"))
    night = run(site)
    assert night.status in (0, 1)
    assert any("the register was changed" in remark for remark in night.remarks)


def test_a_date_order_that_is_open_waits_for_a_file_that_decides_it(site: Site) -> None:
    rows = "".join(f"A1.PV,{{}} {hour:02}:00:00,6.8\n" for hour in range(24))
    (site.inbox / "d1.csv").write_text("tag,time,value\n" + rows.replace("{}", "04/03/2024"))
    first = run(site)
    assert ledger_rows(site, "SELECT state FROM files WHERE name = 'd1.csv'") == [("waiting",)]
    assert any("day-first or month-first" in remark for remark in first.remarks)
    (site.inbox / "d2.csv").write_text("tag,time,value\n" + rows.replace("{}", "25/03/2024"))
    run(site)
    assert ledger_rows(site, "SELECT state FROM files WHERE name LIKE 'd_.csv'") == [("in",), ("in",)]
    days = ledger_rows(site, "SELECT date(first / 1000000000, 'unixepoch') FROM files WHERE name = 'd1.csv'")
    assert days == [("2024-03-04",)]


def test_init_refuses_a_folder_of_somebody_elses_and_leaves_a_site_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "thesis.doc").write_text("x")
    with pytest.raises(UsageError, match="thesis"):
        init_site(tmp_path)
    site = init_site(tmp_path / "site")
    site.settings.write_text("# mine\n")
    assert init_site(site.root).settings.read_text() == "# mine\n"


def test_units_and_cron_lines_take_any_path() -> None:
    place = Path('/srv/a "b" 100%')
    unit = service_unit(place)
    assert r'"/srv/a \"b\" 100%%"' in unit
    assert "SuccessExitStatus=1 3" in unit
    line = cron_line(place, Schedule(at="02:30"))
    assert line.startswith("30 2 * * * ")
    assert r"100\%" in line


def test_the_look_whether_it_ran_speaks_only_when_it_did_not(site: Site) -> None:
    line = health_line(site.root, Schedule(at="20:30"))
    assert line.startswith("30 2 * * * ")
    command = line.split("* * * ", 1)[1].replace(r"\%", "%")
    heard = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, cwd=ROOT, check=False)
    assert "A run is missing" in heard.stdout  # the night of these tests lies years back
    healthy = command.replace("excursions status", "excursions --help #")
    told = subprocess.run(
        ["/bin/sh", "-c", f"{healthy}\n)"], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert not told.stdout


def test_the_files_for_schedulers_follow_the_settings_and_nothing_else_is_touched(tmp_path: Path) -> None:
    made = init_site(tmp_path / "plant")
    made.settings.write_text('[schedule]\nat = "04:15"\n')
    made.register.write_text("# ours\n")
    init_site(made.root)
    texts = {path.name: path.read_text() for path in (made.root / "schedule").iterdir()}
    assert "OnCalendar=*-*-* 04:15:00" in texts["excursions-nightly.timer"]
    assert "OnCalendar=*-*-* 10:15:00" in texts["excursions-health.timer"]
    assert texts["cron.txt"].startswith("15 4 * * * ")
    assert all(
        str(made.root / "schedule" / name) in texts["README.txt"] for name in texts if name.startswith("exc")
    )
    assert (made.settings.read_text(), made.register.read_text()) == (
        '[schedule]\nat = "04:15"\n',
        "# ours\n",
    )


def test_the_documented_queries_run_with_peoples_own_tools(site: Site) -> None:
    ledger = sqlite3.connect(f"file:{site.ledger}?mode=ro", uri=True)
    live = [str(site.root / path) for (path,) in ledger.execute("SELECT path FROM parts ORDER BY path")]
    daily = (
        pl.scan_parquet(live)
        .filter((pl.col("tag") == "A1.PV") & (pl.col("quality") < 2))
        .group_by_dynamic("time", every="1d")
        .agg(pl.col("value").median())
        .collect()
    )
    assert daily.height == 9
    rows = ledger.execute(
        "SELECT point, kind, datetime(start / 1000000000, 'unixepoch'), state FROM events "
        "WHERE origin = 'probe' AND state != 'withdrawn' ORDER BY start"
    ).fetchall()
    assert rows
    assert all(re.match(r"\d{4}-\d\d-\d\d ", row[2]) for row in rows)
    ledger.close()


def test_a_log_packed_with_exports_is_read_where_it_lies(site: Site, later: Path, tmp_path: Path) -> None:
    lines = LOG.splitlines(keepends=True)
    with zipfile.ZipFile(tmp_path / "week.zip", "w") as packed:
        packed.write(later, "b.csv")
        packed.writestr("logs/calibration_log_2.csv", lines[0] + "".join(lines[3:]))
    drop(site, [tmp_path / "week.zip"])
    run(site)
    found = tables(site.reports, ("calibrations",))["calibrations"]
    assert found["time"].dt.date().cast(pl.String).unique().sort().to_list() == ["2024-01-01", "2024-01-13"]
