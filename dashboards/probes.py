"""A page a probe and the list of all: where it sat, what heat it had, how it aged."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path

from dashboards.content.probe import (
    DOSE_WORDS,
    F0_WORDS,
    PROBE_CAUTIONS,
    ProbeContent,
    life_words,
    probe_content,
)
from dashboards.content.probe_list import probe_lines
from dashboards.content.run import RunFacts, run_content
from dashboards.figures.exposure import exposure_spec
from dashboards.figures.probe_life import days_of, life_spec, record_ends, unseen
from dashboards.figures.probe_sheet import life_picture
from dashboards.markup import rendered
from dashboards.panels import PROBE
from dashboards.panels.panel import embedded_figure, sections
from dashboards.slug import slugs
from dashboards.stale import clear_stale, digest
from dashboards.wording import Reader, counted, joined
from excursions.report.lives import ProbeLife, probe_lives
from excursions.report.result import PointFindings, ScanResult
from excursions.report.write import write_whole

MOST_CLOSE = 12  # exposures drawn close on one page; all are in its table


def probe_stems(result: ScanResult, lives: Collection[ProbeLife] | None = None) -> dict[str, str]:
    """File stem of the page of every probe, by the name of its life."""
    return slugs(life.name for life in (probe_lives(result) if lives is None else lives))


def write_probes(
    result: ScanResult,
    out: Path,
    reader: Reader,
    pages: Mapping[str, str],
    *,
    only: Collection[str] | None = None,
) -> None:
    """Write the pages of all probes into ``probes/``.

    Parameters
    ----------
    pages : mapping of point to file stem
        Where the pages of points are.
    only : names of points or None
        Only probes that sat at one of these or nowhere, and those that have no page, are written again; None writes all.
    """
    lives = probe_lives(result)
    stems, run = probe_stems(result, lives), run_content(result, reader)
    found = {findings.point.name: findings for findings in result.points}
    written: dict[str, str] = {}
    for life in lives:
        there = (out / "probes" / f"{stems[life.name]}.html").is_file()
        if there and only is not None and life.points and not set(life.points) & set(only):
            continue
        content = probe_page(result, life, found, reader, pages, run).encode()
        write_whole(out / "probes" / f"{stems[life.name]}.html", content)
        written[f"{stems[life.name]}.html"] = digest(content)
    content = list_page(result, lives, stems, reader, run).encode()
    write_whole(out / "probes" / "index.html", content)
    written["index.html"] = digest(content)
    clear_stale(out / "probes", written, {"index.html", *(f"{stem}.html" for stem in stems.values())})


def probe_page(
    result: ScanResult,
    life: ProbeLife,
    found: Mapping[str, PointFindings],
    reader: Reader,
    pages: Mapping[str, str],
    run: RunFacts,
) -> str:
    """The page of one probe."""
    reader = _before(life, found, reader)
    verdicts = {verdict.point: verdict for verdict in result.verdicts}
    page, ends = probe_content(life, reader, pages, verdicts), record_ends(found)
    days = days_of(life, found)
    missing = unseen(life, days)
    words = f"{life_words(life, reader)} {missing}".rstrip()
    close = _close(result, life, page, found, reader)
    return rendered(
        "probe.html",
        page=page,
        sections=sections("probe", PROBE, life, reader, without=() if close else ("close",)),
        root="../",
        run=run,
        plant=result.plant.name or "the plant",
        zone=reader.tz.key,
        words=words,
        aged=days.aged,
        warm=days.warm,
        drawing=life_picture(life, found, reader, ends, words),
        figure=embedded_figure(life_spec(life, found, reader, ends)),
        figures=close,
        dose_words=DOSE_WORDS,
        f0_words=reader.text(F0_WORDS),
        cautions=PROBE_CAUTIONS,
    )  # fmt: skip


def _before(life: ProbeLife, found: Mapping[str, PointFindings], reader: Reader) -> Reader:
    """The reader of a probe's page: its readings as the points it sat at export them, where they agree in that."""
    seen = {reader.of(found[name]).exported for name in life.points if name in found}
    return replace(reader, exported=seen.pop()) if len(seen) == 1 else reader


def _close(
    result: ScanResult,
    life: ProbeLife,
    page: ProbeContent,
    found: Mapping[str, PointFindings],
    reader: Reader,
) -> list[tuple[object, object]]:
    """The exposures above a rating, hottest first, each with its figure."""
    by_id = {e.event: e for e in life.exposures}
    made: list[tuple[object, object]] = []
    for row in [r for r in page.exposures if r.serious][:MOST_CLOSE]:
        findings = found[row.point]
        event = next(e for e in findings.events if e.id == row.event)
        if "temperature" in findings.traces:
            spec = exposure_spec(findings, result.plant, event, by_id[row.event], reader)
            made.append((row, embedded_figure(spec)))
    return made


def _no_probe(result: ScanResult) -> str:
    """Why the list of probes is empty: no record at all, or none that lasts."""
    held = [findings for findings in result.points if findings.samples]
    if not held:
        return "No probe is known: no point has a record."
    one = f"the record of {held[0].point.name} is" if len(held) == 1 else "their records are each"
    return f"No probe's life can be told: {one} a single moment, and a life needs a stretch of time. Export more of it."


def list_page(
    result: ScanResult, lives: Collection[ProbeLife], stems: Mapping[str, str], reader: Reader, run: RunFacts
) -> str:
    """The list of all probes."""
    lines = probe_lines(list(lives), reader, stems)
    worn = [life.name for life in lives if life.worn_out]
    hot = next((life for life in lives if life.dose_h > 0), None)
    unknown = sum(life.hottest is None for life in lives if life.stays)
    most = (
        f"Most heat: {hot.name} at {joined(list(hot.points))}."
        if hot
        else "No probe is known to have been above its continuous rating."
    )
    if unknown:
        most += f" Without an exported temperature the heat of {counted(unknown, 'probe')} is not known."
    due = (
        f" Due for replacement or regeneration: {joined(worn)}."
        if worn
        else " None is known to be due for replacement."
    )
    nobody = _no_probe(result)
    return rendered(
        "probes.html",
        lines=lines,
        sentence=most + due if lives else nobody,
        root="../",
        run=run,
        plant=result.plant.name or "the plant",
        zone=reader.tz.key,
        dose_words=DOSE_WORDS,
        cautions=PROBE_CAUTIONS,
    )  # fmt: skip
