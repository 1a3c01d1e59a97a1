"""Content and figures into pages: one string a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from dashboards.content.about import About, told_doubts
from dashboards.content.entry import CALLED
from dashboards.content.facts import point_facts
from dashboards.content.found import found_shifts
from dashboards.content.life import LifeRow
from dashboards.content.overview import Overview, record_span
from dashboards.content.point import line_key, point_content
from dashboards.content.run import RunFacts
from dashboards.figures.calendar import busiest_days, calendar_drawing
from dashboards.figures.drawing import spark_ends, sparkline
from dashboards.figures.heat import heat_spec, hottest
from dashboards.figures.moment import moment_drawing
from dashboards.figures.overview import MOST_POINTS, overview_spec
from dashboards.figures.point import marks_of, point_spec
from dashboards.figures.sheet import sheet_picture
from dashboards.markup import rendered
from dashboards.panels import OVERVIEW, POINT
from dashboards.panels.panel import embedded, embedded_figure, sections
from dashboards.wording import Reader, counted, size_words
from excursions.clock import NS_PER_DAY
from excursions.report.result import PointFindings, ScanResult

SPARK_DAYS = 56
SPARK_BUDGET = 150
SPARK_BUDGET_FLEET = 56
FLEET = 300  # points from which the small curves are drawn coarser, to keep the page light
FIRST_SHOWN = 30
FIRST_ASSUMED = 8
MOST_ROWS = 200  # of the audit on the first page; each point's own page has its rows


def overview_page(result: ScanResult, overview: Overview, reader: Reader) -> str:
    """The first page."""
    first, last = record_span(result)
    window = (max(first, reader.away(last, -SPARK_DAYS * NS_PER_DAY)), last)
    found = {findings.point.name: findings for findings in result.points}
    doubts = told_doubts(result)
    since = {verdict.point: verdict.since for verdict in result.verdicts}
    budget = SPARK_BUDGET if len(overview.entries) < FLEET else SPARK_BUDGET_FLEET
    entries = [
        (
            entry,
            sparkline(
                findings, doubts.get(entry.name, ()), window=window, since=since[entry.name],
                budget=budget, reader=reader.of(findings),
            ),
            spark_ends(findings, doubts.get(entry.name, ()), window, reader.of(findings)),
        )
        for entry in overview.entries
        for findings in [found[entry.name]]
    ]  # fmt: skip
    return rendered(
        "overview.html",
        page=overview,
        called=CALLED,
        sections=sections("overview", OVERVIEW, result, reader),
        root="",
        entries=entries,
        first_shown=FIRST_SHOWN,
        first_assumed=FIRST_ASSUMED,
        spark_days=SPARK_DAYS,
        most_rows=MOST_ROWS,
        window=[reader.date(instant) for instant in window],
        calendar=calendar_drawing(overview),
        busiest=busiest_days(overview),
        has_timeline=bool(overview.calendar),
        timeline_rows=min(MOST_POINTS, len(entries)),
        timeline=embedded_figure(overview_spec(result, reader)),
        logged=len(result.calibrations),
        placed=sum(c.point in {f.point.name for f in result.points} for c in result.calibrations),
    )  # fmt: skip


def point_page(
    about: About, *, reader: Reader, slug: str, lives: Sequence[LifeRow], run: RunFacts, plant: str
) -> str:
    """The page of one point."""
    reader = reader.of(about.findings, (*about.neighbours, *about.related))
    page = point_content(about, reader, slug)
    hottest_figure, hottest_words = _hottest(about, reader)
    return rendered(
        "point.html",
        page=page,
        sections=sections("point", POINT, about, reader),
        root="../",
        plant=plant,
        run=run,
        lives=lives,
        quiet_shifts=[shift for shift in page.shifts if not shift.significant],
        has_temperature="temperature" in about.findings.traces,
        hottest=hottest_figure,
        hottest_words=hottest_words,
        first_event=page.event or max(((d.start, d.event) for d in about.doubts if d.event), default=(0, ""))[1],
        began=moment_drawing(about.findings, about.doubts, began(about), reader),
        paper_events=counted(sum(not e.paper_extra for e in page.events), "event").replace("no events", "none"),
        **record_parts(about, reader, page.figure_words),
    )  # fmt: skip


def record_parts(
    about: About,
    reader: Reader,
    words: str,
    focus: Mapping[str, object] | None = None,
    window: tuple[int, int] | None = None,
    marked: Sequence[int] = (),
) -> dict[str, object]:
    """What the template of the record needs.

    `focus` is the stretch it is zoomed to at first (wall-clock ms and words), `window` and `marked` the same for
    the drawing on paper [ns].
    """
    spec = point_spec(about.findings, about.plant, marks_of(about), reader, near=window)
    drawn = _has_figure(about.findings)
    facts = point_facts(about, reader) | ({"focus": focus} if focus else {})
    return {
        "has_figure": drawn,
        "figure_words": words,
        "ends": [str(end)[:16] for end in spec["layout"]["xaxis"]["range"]],
        "key": line_key({str(t.get("meta")) for t in spec["data"]}, about),
        "drawing": sheet_picture(
            about.findings,
            about.doubts,
            reader,
            words=words,
            window=window,
            marked=marked,
            samples=about.samples,
            found=found_shifts(about.findings, about.shifts),
            plant=about.plant,
        ),
        "on_paper": {str(t.get("meta")) for t in spec["data"]} & {"corrected", "samples", "shift"},
        "figure": embedded_figure(spec) if drawn else "",
        "facts": embedded(facts) if drawn else "",
    }


def began(about: About) -> int | None:
    """When the present trouble began; without one, when the newest doubtful stretch did."""
    if about.verdict.since is not None:
        return about.verdict.since
    return max((doubt.start for doubt in about.doubts), default=None)


def _hottest(about: About, reader: Reader) -> tuple[Markup | str, str]:
    """The hottest exposure as an embedded figure, and in words."""
    event = hottest(about.findings)
    if event is None or "temperature" not in about.findings.traces:
        return "", ""
    spec = heat_spec(about.findings, about.plant, event, reader)
    return embedded_figure(spec), f"{reader.event(event)}. Highest: {size_words(event, reader)}."


def _has_figure(findings: PointFindings) -> bool:
    return any(trace.time.size for trace in findings.traces.values())
