"""One explained moment as a page: the answer, what was checked, and the record zoomed to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dashboards.content.about import About, gather
from dashboards.content.moment import asked_words, moment_content
from dashboards.content.point import figure_in_words
from dashboards.content.run import run_content
from dashboards.figures.moment import moment_drawing
from dashboards.markup import rendered
from dashboards.pages import record_parts
from dashboards.panels import MOMENT
from dashboards.panels.panel import sections
from dashboards.slug import slug
from dashboards.wording import CAUTIONS, Reader
from dashboards.write import asset_files, is_there
from excursions import clock
from excursions.report.explanation import Explanation, Focus
from excursions.report.result import PointFindings, ScanResult
from excursions.report.write import write_whole

ROOM, LEAST_ROOM = 6 * clock.NS_PER_HOUR, 2 * clock.NS_PER_HOUR


def write_moment(result: ScanResult, answer: Explanation, out: Path, *, display_units: str = "degC") -> Path:
    """Write the page of one explanation into a folder, with the scripts it needs beside it.

    Parameters
    ----------
    result : ScanResult
        The scan the explanation was made from.
    answer : Explanation
    out : Path
        Folder; made when missing.  It may be the folder of a report: nothing of it is replaced.
    display_units : str
        ``degC`` or ``degF``.

    Returns
    -------
    Path
        The page; its name tells point and moment, so that the same question gives the same file.
    """
    reader = Reader(tz=clock.zone(result.plant.zone), temperature=display_units)
    for name, content in asset_files():
        if not is_there(out / "assets" / name, content):
            write_whole(out / "assets" / name, content)
    page = out / f"moment-{slug(answer.point)}-{_stamp(answer)}.html"
    write_whole(page, moment_page(result, answer, reader).encode())
    return page


def moment_page(result: ScanResult, answer: Explanation, reader: Reader) -> str:
    """The page as text."""
    about = next(a for a in gather(result) if a.findings.point.name == answer.point)
    reader = reader.of(about.findings, (*about.neighbours, *about.related))
    focus = answer.focus
    ends = reader.wall_ms(np.array([focus.start, focus.end], np.int64)).tolist()
    window = window_of(focus, about.findings)
    words = (
        f"{reader.moment(window[0])} to {reader.moment(window[1])}, marked: {asked_words(answer, reader)}. "
    )
    words += "The lanes hold what lies in this stretch. "
    words += f"The whole record: {figure_in_words(about, reader)}"
    marked = {"from": ends[0], "to": ends[1], "words": asked_words(answer, reader)}
    drawn_at = cause_at(answer, about)
    return rendered(
        "moment.html",
        page=moment_content(answer, about, reader),
        plant=result.plant.name or "the plant",
        run=run_content(result, reader),
        cautions=CAUTIONS,
        sections=sections("moment", MOMENT, answer, reader),
        root="",
        first_event="",
        began=moment_drawing(about.findings, about.doubts, drawn_at, reader),
        began_words="When it began" if drawn_at == answer.since else "Its likeliest cause",
        **record_parts(
            about, reader, words, focus=marked, window=window,
            marked=sorted({focus.start, focus.end}),
        ),
    )  # fmt: skip


def cause_at(answer: Explanation, about: About) -> int | None:
    """The instant [ns] the small picture is drawn around: the event that leads the causes where the start is a guess."""
    if not answer.about or not answer.causes:
        return answer.since
    lead = next((e for e in about.findings.events if e.id == answer.causes[0].event), None)
    return lead.start if lead else answer.since


def window_of(focus: Focus, findings: PointFindings) -> tuple[int, int]:
    """The stretch with room around it, inside the record; the same room as the page's script gives."""
    room = max(int((focus.end - focus.start) * 0.45), LEAST_ROOM if focus.end > focus.start else ROOM)
    start, end = max(findings.start, focus.start - room), min(findings.end, focus.end + room)
    return (start, end) if end > start else (findings.start, max(findings.end, findings.start + 1))


def _stamp(answer: Explanation) -> str:
    first, last = (
        clock.iso(t).replace("-", "").replace(":", "") for t in (answer.focus.start, answer.focus.end)
    )
    return first if answer.focus.is_moment else f"{first}-{last}"
