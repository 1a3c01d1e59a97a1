"""A real browser, found on the machine; without one these tests are skipped and say so."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from dashboards import write_site
from dashboards.slug import slug
from tests.unit.dashboards.made_result import STORIES, made_fleet, made_result

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 180_000  # a busy machine is slow, not wrong
ROOT = Path(__file__).parents[2]


def said(locator: Any) -> str:
    """The text of a part of a page, with plain spaces where a number is held to its unit."""
    return str(locator.inner_text()).replace("\u00a0", " ")


def violations(page: Any) -> list[tuple[str, str, str]]:
    """What the accessibility checker, already run into the page, finds: impact, rule, the first element."""
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")[
        "violations"
    ]  # a third of the time
    return [(v["impact"], v["id"], v["nodes"][0]["html"][:120]) for v in found]


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip("no chromium on this machine: the pages were not opened")
    playwright = pytest.importorskip(
        "playwright.sync_api", reason="playwright's Python package is not installed"
    )
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The accessibility checker's script: named by AXE_CORE or installed with npm beside the tests."""
    path = Path(os.environ.get("AXE_CORE", ROOT / "node_modules" / "axe-core" / "axe.min.js"))
    if not path.exists():
        pytest.skip(f"no axe-core at {path}: npm install axe-core, or name it with AXE_CORE")
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_site(made_result(), tmp_path_factory.mktemp("site")).parent


@pytest.fixture(scope="session")
def changed_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five points after a run that knew one of them as quiet and did not know another."""
    import dataclasses

    import polars as pl

    from excursions.report.changes import compared
    from excursions.report.earlier import read_earlier
    from excursions.report.write import write_tables

    out = tmp_path_factory.mktemp("changed")
    now = made_result((*STORIES[:4], STORIES[6]))
    quiet = dataclasses.replace(now.points[1], events=())
    trusted = [
        dataclasses.replace(v, verdict="trust") if v.point == quiet.point.name else v for v in now.verdicts
    ]
    before = dataclasses.replace(
        now,
        points=(now.points[0], quiet, *now.points[3:]),
        verdicts=tuple(v for v in trusted if v.point != now.points[2].point.name),
    )
    write_tables(before, pl.DataFrame({"file": ["x"]}), out)
    return write_site(compared(now, read_earlier(out)), out).parent


@pytest.fixture(scope="session")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The overview of 2,000 points, without their pages."""
    from dashboards.content.overview import overview_content
    from dashboards.pages import overview_page
    from dashboards.slug import slugs
    from dashboards.wording import Reader
    from dashboards.write import asset_files
    from excursions.clock import zone

    result = made_fleet(2_000)
    reader = Reader(tz=zone("Europe/Vienna"))
    stems = slugs(f.point.name for f in result.points)
    out = tmp_path_factory.mktemp("fleet")
    (out / "assets").mkdir()
    for name, content in asset_files():
        (out / "assets" / name).write_bytes(content)
    (out / "index.html").write_text(
        overview_page(result, overview_content(result, reader, stems), reader), encoding="utf-8"
    )
    return out


@dataclass
class Opened:
    """A page with everything it complained about and asked for."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.ears = {
            "console": lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None,
            "pageerror": lambda error: self.complaints.append(str(error)),
            "request": lambda request: self.requests.append(request.url),
        }


@pytest.fixture(scope="session")
def idle_tabs(browser: Any) -> Iterator[list[Any]]:
    """Tabs that no test uses now.  A tab keeps what it compiled of plotly, which is most of what opening a page costs."""
    context = browser.new_context(reduced_motion="reduce", accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    tabs = [context.new_page()]
    yield tabs
    context.close()


@pytest.fixture
def open_page(idle_tabs: list[Any]) -> Iterator[Any]:
    """Opens a page afresh, from its file: each one that a test opens in a tab of its own."""
    used: list[Opened] = []

    def opened(
        path: Path, *, anchor: str = "", width: int = 1440, scheme: str = "light", ready: bool = True
    ) -> Opened:
        tab = idle_tabs.pop() if idle_tabs else used[0].page.context.new_page()
        tab.set_viewport_size({"width": width, "height": 900})
        tab.emulate_media(media="null", color_scheme=scheme)
        tab.bring_to_front()
        seen = Opened(tab)
        used.append(seen)
        for name, hear in seen.ears.items():
            tab.on(name, hear)
        tab.goto(path.as_uri() + (f"#{anchor}" if anchor else ""))
        if ready and path.parent.name == "points":
            tab.wait_for_selector("html[data-ready=yes]", timeout=PATIENCE_MS)
        return seen

    yield opened
    for seen in used:
        for name, hear in seen.ears.items():
            seen.page.remove_listener(name, hear)
        seen.page.goto("about:blank")  # else the same file with another anchor would not be opened again
        idle_tabs.append(seen.page)


@pytest.fixture(scope="session")
def points(site: Path) -> dict[str, Path]:
    """Pages by the name of their point."""
    return {story.name: site / "points" / f"{slug(story.name)}.html" for story in STORIES}
