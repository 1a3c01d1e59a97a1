"""A scan's pages into a folder: every file whole or not at all, the first page last."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dashboards.content.about import About, gather
from dashboards.content.life import LifeRow, lives
from dashboards.content.overview import overview_content
from dashboards.content.run import RunFacts, run_content
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
Each = Callable[[Callable[[Any], bytes], Sequence[Any]], Iterable[bytes]]


def write_site(
    result: ScanResult,
    out: Path,
    *,
    display_units: str = "degC",
    progress: Progress | None = None,
    only: Collection[str] | None = None,
    each: Each = map,
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
        Points whose pages are written again; the others keep the pages they have, if they have them.  None writes all.
    each : callable (work, sheets)
        Gives the page of every sheet in their order, as ``map`` does; another one may share the work out.

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
    wanted = {
        name
        for name, stem in stems.items()
        if only is None or name in only or not (out / "points" / f"{stem}.html").is_file()
    }
    total = len(wanted) + 1
    written: dict[str, str] = {}
    for done, (stem, content) in enumerate(_point_pages(result, reader, stems, wanted, each), start=1):
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """All that the page of one point is drawn from."""

    about: About
    reader: Reader
    slug: str
    lives: tuple[LifeRow, ...]
    run: RunFacts
    plant: str


def _drawn(sheet: _Sheet) -> bytes:
    return point_page(
        sheet.about, reader=sheet.reader, slug=sheet.slug, lives=sheet.lives, run=sheet.run, plant=sheet.plant
    ).encode()


def _point_pages(
    result: ScanResult, reader: Reader, stems: dict[str, str], wanted: Collection[str], each: Each
) -> Iterator[tuple[str, bytes]]:
    """File stem and page of every point that is wanted, in the order of the verdicts, whoever draws it."""
    run, all_lives = run_content(result, reader), lives(result, reader)
    abouts = [about for about in gather(result) if about.findings.point.name in wanted]
    order = [stems[about.findings.point.name] for about in abouts]
    sheets = [
        _Sheet(
            about=_own(about), reader=reader, slug=stem, lives=tuple(all_lives.get(about.findings.point.name, ())),
            run=run, plant=result.plant.name or "the plant",
        )
        for about, stem in zip(abouts, order, strict=True)
    ]  # fmt: skip
    yield from zip(order, each(_drawn, sheets), strict=True)


def _own(about: About) -> About:
    """The same with outcomes of its own events alone, so that little goes from process to process."""
    own = {event.id for event in about.findings.events}
    return replace(about, outcomes={name: told for name, told in about.outcomes.items() if name in own})


def asset_files() -> Iterator[tuple[str, bytes]]:
    """Style sheet and scripts, and plotly's own script from its package: once for all pages."""
    from plotly.offline import get_plotlyjs

    for path in sorted(ASSETS.iterdir()):
        if path.suffix in (".css", ".js"):
            yield path.name, path.read_bytes()
    yield "plotly.min.js", get_plotlyjs().encode()
