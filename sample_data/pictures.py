"""Pictures of the report of the sample plant for the README: ``python -m sample_data.pictures REPORT``.

REPORT is the folder of ``excursions scan sample_data/plant --out REPORT``.  Needs the playwright package and a chromium,
as the browser tests do.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

OUT = Path(__file__).parent / "pictures"
WIDTH = 1280


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """Part of a page, from one element to the height given; `point` or `probe` names whose page, neither the first one.

    near : days of the record shown, up to its end; 0 for a page that has none.
    """

    name: str
    element: str
    height: int
    point: str = ""
    probe: str = ""
    near: int = 0


PICTURES = (
    Picture(name="first-page", element="header h1", height=840),
    Picture(name="point", element="#record", height=640, point="F1-PH2", near=7),
    Picture(name="probe", element="main section", height=620, probe="QP-1107"),
)


def main() -> None:
    """Draw all of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("report", type=Path)
    report = parser.parse_args().report
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        sys.exit("no chromium on this machine: no picture was drawn")
    from playwright.sync_api import sync_playwright

    OUT.mkdir(exist_ok=True)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        for picture in PICTURES:
            draw(browser, report, picture)
        browser.close()


def page_of(report: Path, picture: Picture) -> Path:
    """The page that a picture is taken of."""
    for folder, name in (("points", picture.point), ("probes", picture.probe)):
        if name:
            return next(
                p for p in sorted((report / folder).glob("*.html")) if p.stem.startswith(f"{name.lower()}-")
            )
    return report / "index.html"


def draw(browser: Any, report: Path, picture: Picture) -> None:
    """Open the page, wait until it is drawn, and keep the part."""
    context = browser.new_context(viewport={"width": WIDTH, "height": 900}, reduced_motion="reduce")
    page = context.new_page()
    page.goto(page_of(report, picture).resolve().as_uri() + (f"#last={picture.near}" if picture.near else ""))
    if picture.point or picture.probe:
        page.wait_for_selector(".js-plotly-plot .main-svg")
    page.add_style_tag(content=".note { position: static !important; }")
    box = page.locator(picture.element).first.bounding_box()
    top = box["y"] + page.evaluate("scrollY") - 12
    page.screenshot(
        path=OUT / f"{picture.name}.png",
        full_page=True,
        clip={"x": 0, "y": top, "width": WIDTH, "height": picture.height},
    )
    context.close()
    print(json.dumps({"picture": picture.name, "bytes": (OUT / f"{picture.name}.png").stat().st_size}))


if __name__ == "__main__":
    main()
