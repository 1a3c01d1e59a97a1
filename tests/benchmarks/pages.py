"""How heavy pages are and how soon they show, beside what plotly and the browser need for nothing.

    python -m tests.benchmarks.pages [--runs 5] [--points 2000]

Opens pages in a real browser and prints ratios to a floor measured in the same run: the first picture and the
live figure of a year at one minute against an empty plotly page, by the clock and by the processor time of the
page's own thread (which a busy machine does not stretch); a search over the overview against the time between
two frames.  Nothing here is asserted; the contributors' guide quotes it.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dashboards import write_site
from dashboards.content.overview import overview_content
from dashboards.pages import overview_page
from dashboards.slug import slugs
from dashboards.wording import Reader
from dashboards.write import asset_files
from excursions.clock import zone
from tests.unit.dashboards.made_result import STORIES, made_fleet, made_result

ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
EMPTY = (
    '<!DOCTYPE html><html><body><div id="plot"></div><script src="../assets/plotly.min.js"></script>'
    "<script>Plotly.newPlot('plot', [], {}).then(() => { document.documentElement.dataset.ready = 'yes'; "
    "window.took = performance.now(); });</script></body></html>"
)
PAINT = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
DRAWN = "performance.getEntriesByName('drawn')[0].startTime"
FRAME_MS = 1000 / 60
FILTER = """text => new Promise(done => {
  const q = document.querySelector('[name=q]');
  q.value = text;
  q.dispatchEvent(new Event('input', { bubbles: true }));
  requestAnimationFrame(() => setTimeout(() => done(document.querySelector('.count').textContent)));
})"""
REST = "() => new Promise(done => requestAnimationFrame(() => setTimeout(() => done(''))))"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--points", type=int, default=2_000)
    given = parser.parse_args()
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        sys.exit("no browser here: nothing was measured")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver, tempfile.TemporaryDirectory() as folder:
        browser = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        print(year_lines(browser, Path(folder) / "year", given.runs))
        print(fleet_lines(browser, Path(folder) / "fleet", given.points, given.runs))
        browser.close()


def year_lines(browser: Any, out: Path, runs: int) -> str:
    """A year at one minute on one point."""
    site = write_site(made_result(STORIES[:1], days=365.0, step_min=1), out).parent
    page = next((site / "points").glob("*.html"))
    empty = site / "points" / "empty.html"
    empty.write_text(EMPTY)
    floors, paints, figures = [], [], []
    for _ in range(runs):  # side by side, so that a busy machine slows both
        floors.append(opened(browser, empty, "window.took"))
        paints.append(opened(browser, page, PAINT))
        figures.append(opened(browser, page, DRAWN))
    clock_floor, own_floor = [f[0] for f in floors], [f[1] for f in floors]
    return (
        f"a year at one minute: page {size(page)} MB (bar 3) beside one shared script of {size(site / 'assets' / 'plotly.min.js')} MB\n"
        f"  empty plotly page {statistics.median(clock_floor):.0f} ms, {statistics.median(own_floor):.0f} ms of its own thread\n"
        f"  first picture {ratio([p[0] for p in paints], clock_floor)} by the clock (bar 1.5)\n"
        f"  live figure {ratio([f[0] for f in figures], clock_floor)} by the clock, "
        f"{ratio([f[1] for f in figures], own_floor)} by processor time"
    )


def fleet_lines(browser: Any, out: Path, points: int, runs: int) -> str:
    """The overview of many points."""
    result = made_fleet(points)
    reader = Reader(tz=zone("Europe/Vienna"))
    stems = slugs(f.point.name for f in result.points)
    (out / "assets").mkdir(parents=True)
    for name, content in asset_files():
        (out / "assets" / name).write_bytes(content)
    index = out / "index.html"
    index.write_text(overview_page(result, overview_content(result, reader, stems), reader), encoding="utf-8")
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.goto(index.as_uri())
    own = thread_clock(context, page)
    very_first = own(lambda: page.evaluate(FILTER, "AT-1"))
    answers, others = [], []
    for text in ("AT-19", "AT-199", "AT-1", "") * runs:
        page.evaluate(REST)  # what the last letter left to draw is not laid to this one
        answers.append(own(lambda t=text: page.evaluate(FILTER, t)))
        others.append(own(lambda: page.evaluate(REST)))
    page.wait_for_timeout(1_000)  # the address has followed
    rests = [own(lambda: page.evaluate(REST)) for _ in range(4 * runs)]
    context.close()
    return (
        f"{points:,} points: overview {size(index)} MB (bar 4)\n"
        f"  processor time of its thread for a letter typed, to the painted answer: {statistics.median(answers):.1f} ms "
        f"(longest {max(answers):.1f}, the very first {very_first:.1f}), the frame after it, with the other rows: "
        f"{statistics.median(others):.1f} ms (longest {max(others):.1f}), a frame at rest {statistics.median(rests):.1f} ms, "
        f"between two frames {FRAME_MS:.1f} ms"
    )


def thread_clock(context: Any, page: Any) -> Callable[[Callable[[], object]], float]:
    """A stopwatch [ms] for the processor time of a page's main thread."""
    session = context.new_cdp_session(page)
    session.send("Performance.enable")

    def now() -> float:
        metrics = session.send("Performance.getMetrics")["metrics"]
        return 1000 * next(m["value"] for m in metrics if m["name"] == "ThreadTime")

    def measured(work: Callable[[], object]) -> float:
        start = now()
        work()
        return now() - start

    return measured


def opened(browser: Any, path: Path, expression: str) -> tuple[float, float]:
    """What a page says of itself once it is ready, and the processor time of its thread [ms]."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()

    def load() -> None:
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready=yes]", timeout=60_000)

    own = thread_clock(context, page)(load)
    told = float(page.evaluate(expression))
    context.close()
    return told, own


def ratio(of: list[float], floors: list[float]) -> str:
    """Median and range of the ratios of pairs measured side by side."""
    ratios = sorted(a / b for a, b in zip(of, floors, strict=True))
    return f"{statistics.median(ratios):.2f} times ({ratios[0]:.2f} to {ratios[-1]:.2f})"


def size(path: Path) -> str:
    """Megabytes of a file."""
    return f"{path.stat().st_size / 1e6:.2f}"


if __name__ == "__main__":
    main()
