"""Plotly figures and offline pages made from a scan's results.

In: a ScanResult.  Out: figures for a notebook, or a folder of pages.  Promises that the same result gives the
same bytes and that no page asks the network for anything.  Knows nothing of exports or of detection.
"""

from dashboards.explained import write_moment
from dashboards.figures.heat import heat_figure
from dashboards.figures.overview import overview_figure
from dashboards.figures.point import point_figure
from dashboards.write import write_site

__all__ = ["heat_figure", "overview_figure", "point_figure", "write_moment", "write_site"]
