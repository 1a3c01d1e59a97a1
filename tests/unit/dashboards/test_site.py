"""The folder of pages: complete, the same bytes every time, deaf to the network and to hostile text."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dashboards import write_site
from dashboards.slug import slug
from excursions.plant import Plant
from excursions.report.result import ScanResult
from tests.unit.dashboards.made_result import (
    FORMULA,
    HOSTILE,
    LONG,
    NON_LATIN,
    STORIES,
    made_fleet,
    made_result,
)


@pytest.fixture(scope="module")
def result() -> ScanResult:
    return made_result(days=100.0, step_min=20, budget=800)


@pytest.fixture(scope="module")
def site(result: ScanResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_site(result, tmp_path_factory.mktemp("site")).parent


class Seen(HTMLParser):
    """Collects tags with their attributes, and the text outside scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data: str) -> None:
        if self.inside != "script":
            self.text.append(data)


def seen(path: Path) -> Seen:
    parser = Seen()
    parser.feed(path.read_text(encoding="utf-8"))
    return parser


def own_files(site: Path) -> list[Path]:
    return sorted(p for p in site.rglob("*") if p.is_file() and p.name != "plotly.min.js")


def test_the_folder_holds_a_page_a_point_and_one_plotly_script(site: Path) -> None:
    assert sorted(p.name for p in (site / "points").glob("*.html")) == sorted(
        f"{slug(s.name)}.html" for s in STORIES
    )
    assert sorted(p.name for p in (site / "assets").iterdir()) == [
        "book.css", "common.js", "overview.js", "plotly.min.js", "point.js", "probe.css", "probe.js",
    ]  # fmt: skip
    assert len(list(site.rglob("*plotly*"))) == 1


def test_the_same_result_gives_the_same_bytes(result: ScanResult, site: Path, tmp_path: Path) -> None:
    again = write_site(result, tmp_path / "again").parent
    digest = {
        str(p.relative_to(site)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in site.rglob("*")
        if p.is_file()
    }
    other = {
        str(p.relative_to(again)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in again.rglob("*")
        if p.is_file()
    }
    assert digest == other


def test_no_page_names_another_host(site: Path) -> None:
    for path in own_files(site):
        assert not re.search(r"https?://|//cdn|@import|url\(", path.read_text(encoding="utf-8")), path


def test_every_link_inside_the_folder_leads_somewhere(site: Path) -> None:
    for page in site.rglob("*.html"):
        document = seen(page)
        ids = {attrs["id"] for _, attrs in document.tags if attrs.get("id")}
        for tag, attrs in document.tags:
            target = attrs.get("href") or attrs.get("src") or ""
            if target.startswith("data:") or not target:
                continue
            file, _, anchor = target.partition("#")
            if file and file != "refused.csv":
                assert (page.parent / file).exists(), (page, tag, target)
            if not file and not anchor.startswith("day="):
                assert anchor in ids, (page, target)


def test_ids_are_unique_on_every_page(site: Path) -> None:
    for page in site.rglob("*.html"):
        ids = [attrs["id"] for _, attrs in seen(page).tags if attrs.get("id")]
        assert len(ids) == len(set(ids)), page


@pytest.mark.parametrize(
    "name", [HOSTILE, LONG, NON_LATIN, FORMULA], ids=["script", "long", "non-latin", "formula"]
)
def test_a_hostile_name_is_text_and_nothing_else(site: Path, name: str) -> None:
    for page in (site / "index.html", site / "points" / f"{slug(name)}.html"):
        document = seen(page)
        assert name in "".join(document.text)
        scripts = [attrs for tag, attrs in document.tags if tag == "script"]
        assert all(attrs.get("src") or attrs.get("type") == "application/json" for attrs in scripts)
        assert not any(key.startswith("on") for _, attrs in document.tags for key in attrs)


def test_embedded_data_is_json_and_cannot_end_its_element(site: Path) -> None:
    text = (site / "points" / f"{slug(HOSTILE)}.html").read_text(encoding="utf-8")
    blocks = re.findall(r'<script type="application/json" id="(\w+)">(.*?)</script>', text, re.S)
    assert [name for name, _ in blocks] == ["figure", "facts"]
    assert json.loads(blocks[1][1])["name"] == HOSTILE


def test_the_first_page_answers_before_anything_else(site: Path, result: ScanResult) -> None:
    text = " ".join("".join(seen(site / "index.html").text).split())
    lead = result.verdicts[0]
    for words in (lead.verdict, lead.sentence, lead.advice, lead.knowledge):
        assert words in text
    assert text.index(lead.sentence) < text.index(result.verdicts[1].sentence)
    assert "6 of 13 points are not to be trusted as they stand; of 2 more it cannot be told." in text


def test_the_first_page_says_what_went_in_and_what_was_assumed(site: Path) -> None:
    text = " ".join("".join(seen(site / "index.html").text).split())
    for words in (
        "export_march.csv",
        "notes.docx",
        "not a table",
        "times are Europe/Vienna",
        "a1b2c3d4e5",
        "line 14",
    ):
        assert words in text
    assert "1\u202f244\u202f160 read" in (site / "index.html").read_text(encoding="utf-8")


def test_a_verdict_is_a_word_everywhere(site: Path, result: ScanResult) -> None:
    for verdict in result.verdicts:
        text = "".join(seen(site / "points" / f"{slug(verdict.point)}.html").text)
        assert verdict.verdict in text


def test_every_page_carries_cautions_and_run_identity(site: Path) -> None:
    for page in site.rglob("*.html"):
        text = "".join(seen(page).text)
        assert "no release system and no protective system" in text
        assert "a1b2c3d4e5" in text


def test_fahrenheit_reaches_text_and_tables(result: ScanResult, tmp_path: Path) -> None:
    site = write_site(result, tmp_path, display_units="degF").parent
    text = "".join(seen(site / "points" / f"{slug('AT-101')}.html").text)
    assert "°F" in text
    assert "°C" not in text


def test_other_units_are_refused(result: ScanResult, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match='expected "degC" or "degF"'):
        write_site(result, tmp_path, display_units="kelvin")


def test_progress_counts_every_page(result: ScanResult, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    write_site(result, tmp_path, progress=lambda *step: told.append(step))
    assert told[-1] == ("writing pages", 14, 14)
    assert [step[1] for step in told] == list(range(1, 15))


def test_a_scan_without_points_says_why_and_what_next(tmp_path: Path) -> None:
    page = write_site(ScanResult(plant=Plant(), points=(), verdicts=()), tmp_path)
    text = "".join(seen(page).text)
    assert "No point could be read" in text
    assert "name the columns" in text


def test_a_point_without_a_trace_says_so(result: ScanResult, tmp_path: Path) -> None:
    bare = dataclasses.replace(result.points[0], traces={}, samples=0)
    site = write_site(dataclasses.replace(result, points=(bare, *result.points[1:])), tmp_path).parent
    document = seen(site / "points" / f"{slug('AT-101')}.html")
    assert "There is no reading to draw." in "".join(document.text)
    assert not any("plotly" in (attrs.get("src") or "") for _, attrs in document.tags)


def test_a_failing_write_leaves_the_old_page_whole(
    result: ScanResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    index = write_site(result, tmp_path)
    before = index.read_bytes()
    real = os.replace

    def refuse(source: str, target: Path) -> None:
        if Path(target).name == "index.html":
            raise OSError("disk full")
        real(source, target)

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError, match="disk full"):
        write_site(dataclasses.replace(result, verdicts=result.verdicts[1:]), tmp_path)
    assert index.read_bytes() == before
    assert not list(tmp_path.glob(".index*"))


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("all", "Every entry of the calibration log fits the record."),
        (
            "some",
            "Every entry of the calibration log that belongs to a point of this record fits the record.",
        ),
        ("none", "No entry of the calibration log could be placed at a point of this record"),
    ],
)
def test_the_first_page_says_that_a_log_fits_only_of_what_it_could_place(
    where: str, words: str, result: ScanResult, tmp_path: Path
) -> None:
    here, elsewhere = result.calibrations[0], dataclasses.replace(result.calibrations[0], point="nowhere")
    logged = {"all": (here,), "some": (here, elsewhere), "none": (elsewhere,)}[where]
    page = write_site(dataclasses.replace(result, calibrations=logged, audit=()), tmp_path)
    assert words in " ".join("".join(seen(page).text).split())


@pytest.mark.slow
def test_two_thousand_points_stay_under_four_megabytes(tmp_path: Path) -> None:
    from dashboards.content.overview import overview_content
    from dashboards.pages import overview_page
    from dashboards.slug import slugs
    from dashboards.wording import Reader
    from excursions.clock import zone

    fleet = made_fleet(2_000)
    reader = Reader(tz=zone("Europe/Vienna"))
    stems = slugs(f.point.name for f in fleet.points)
    page = overview_page(fleet, overview_content(fleet, reader, stems), reader)
    assert len(page.encode()) <= 4_000_000


@pytest.mark.slow
def test_a_year_at_a_minute_stays_under_three_megabytes(tmp_path: Path) -> None:
    year = made_result(STORIES[:1], days=365.0, step_min=1)
    site = write_site(year, tmp_path).parent
    assert next((site / "points").glob("*.html")).stat().st_size <= 3_000_000


def test_pages_drawn_by_several_processes_are_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from excursions.cli import publish

    monkeypatch.setattr(publish, "PAGES_WORTH_A_WORKER", 1)
    result = made_result()
    write_site(result, tmp_path / "one")
    write_site(result, tmp_path / "two", each=publish.shared_out(2))
    pages = sorted((tmp_path / "one" / "points").glob("*.html"))
    assert len(pages) > 1
    assert all((tmp_path / "two" / "points" / page.name).read_bytes() == page.read_bytes() for page in pages)
