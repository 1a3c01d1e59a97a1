"""A scan's pages into a folder: every file whole or not at all, the first page last."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from pathlib import Path

from dashboards.content.about import gather
from dashboards.content.life import lives
from dashboards.content.overview import overview_content
from dashboards.content.run import run_content
from dashboards.handbook import handbook_page
from dashboards.pages import overview_page, point_page
from dashboards.probes import write_probes
from dashboards.slug import slugs
from dashboards.stale import clear_stale, digest
from dashboards.wording import Reader
from excursions import clock
from excursions.report.result import ScanResult
from excursions.report.write import write_whole

ASSETS = Path(__file__).parent / "assets"
Progress = Callable[[str, int, int], None]


def write_site(
    result: ScanResult,
    out: Path,
    *,
    display_units: str = "degC",
    progress: Progress | None = None,
    only: Collection[str] | None = None,
) -> Path:
    """Write the overview, a page a point, a page a probe and the handbook.

    Parameters
    ----------
    result : ScanResult
    out : Path
        Folder; made when missing.  Holds ``index.html``, ``handbook.html``, ``points/``, ``probes/`` and ``assets/`` afterwards.
    display_units : str
        ``degC`` or ``degF``: unit of temperatures on the pages.
    progress : callable (what, done, total) or None
    only : names of points or None
        Points whose pages are written again; the others keep the pages they have.  None writes all.

    Returns
    -------
    Path
        The page to open first.  It is written last, so that it never points at a page that is not there.

    Raises
    ------
    ValueError
        If `display_units` is neither.
    UsageError
        If the plant's zone is not a zone of the IANA data base.
    """
    if display_units not in ("degC", "degF"):
        raise ValueError(f'display_units is "{display_units}", expected "degC" or "degF"')
    reader = Reader(tz=clock.zone(result.plant.zone), temperature=display_units)
    stems = slugs(findings.point.name for findings in result.points)
    for name, content in asset_files():
        if not is_there(out / "assets" / name, content):
            write_whole(out / "assets" / name, content)
    wanted = {findings.point.name for findings in result.points} if only is None else set(only)
    total = len(wanted) + 1
    written: dict[str, str] = {}
    for done, (stem, text) in enumerate(_point_pages(result, reader, stems, wanted), start=1):
        content = text.encode()
        write_whole(out / "points" / f"{stem}.html", content)
        written[f"{stem}.html"] = digest(content)
        if progress:
            progress("writing pages", done, total)
    clear_stale(out / "points", written, {f"{stem}.html" for stem in stems.values()})
    write_probes(result, out, reader, stems, only=only)
    chapters = handbook_page(run_content(result, reader), plant=result.plant.name or "the plant").encode()
    write_whole(out / "handbook.html", chapters)
    index = out / "index.html"
    write_whole(index, overview_page(result, overview_content(result, reader, stems), reader).encode())
    if progress:
        progress("writing pages", total, total)
    return index


def is_there(path: Path, content: bytes) -> bool:
    """Whether a file holds just this already: what is the same need not be written again."""
    return path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content


def _point_pages(
    result: ScanResult, reader: Reader, stems: dict[str, str], wanted: Collection[str]
) -> Iterator[tuple[str, str]]:
    run, all_lives = run_content(result, reader), lives(result, reader)
    for about in gather(result):
        name = about.findings.point.name
        if name not in wanted:
            continue
        yield (
            stems[name],
            point_page(
                about, reader=reader, slug=stems[name], lives=all_lives.get(name, ()), run=run,
                plant=result.plant.name or "the plant",
            ),
        )  # fmt: skip


def asset_files() -> Iterator[tuple[str, bytes]]:
    """Style sheet and scripts, and plotly's own script from its package: once for all pages."""
    from plotly.offline import get_plotlyjs

    for path in sorted(ASSETS.iterdir()):
        if path.suffix in (".css", ".js"):
            yield path.name, path.read_bytes()
    yield "plotly.min.js", get_plotlyjs().encode()
