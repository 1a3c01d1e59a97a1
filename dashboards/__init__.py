"""Plotly figures and offline pages made from a scan's results.

In: a ScanResult.  Out: figures for a notebook, or a folder of pages.  Promises that the same result gives the
same bytes and that no page asks the network for anything.  Knows nothing of exports or of detection.

In a notebook::

    import excursions
    from dashboards import heat_figure, overview_figure, record_figure

    done = excursions.scan(["sample_data/plant"])
    overview_figure(done.result)                                # when each point was in trouble, worst on top
    answer = excursions.explain(done.result, "F1-PH2")          # the present trouble, else the newest event
    print(answer.verdict, answer.sentence)
    record_figure(done.result, "F1-PH2", answer=answer)         # the record, zoomed to what is explained
    findings = next(f for f in done.result.points if f.point.name == "F1-PH2")
    heat_figure(findings, done.result.plant)                    # its hottest exposure against the ratings
"""

from dashboards.explained import write_moment
from dashboards.figures.heat import heat_figure
from dashboards.figures.overview import overview_figure
from dashboards.figures.point import point_figure
from dashboards.notebook import record_figure
from dashboards.write import write_site

__all__ = ["heat_figure", "overview_figure", "point_figure", "record_figure", "write_moment", "write_site"]
