"""The panels of each page, in the order in which they stand: a new one is one line here and one file.

Below every answer stands the record; then these.  Those without `blocks` have their markup in
``markup/templates/<page>/<key>.html``.
"""

from __future__ import annotations

from dashboards.panels import beside, doubt
from dashboards.panels.panel import Panel

POINT = (
    Panel(key="doubt", title="Readings to doubt", nav="", blocks=doubt.blocks),
    Panel(
        key="beside",
        title="Beside the laboratory and related points",
        nav="Beside it",
        blocks=beside.blocks,
    ),
    Panel(key="events", title="Events", nav="Events"),
    Panel(key="shifts", title="Shifts between calibrations, and their likely causes", nav="Shifts"),
    Panel(key="calibrations", title="Calibrations", nav="Calibrations"),
    Panel(key="heat", title="Heat, and the life of the probes", nav="Heat"),
    Panel(key="hidden", title="What the sampling could hide", nav="What could hide"),
)
MOMENT = (
    Panel(key="why", title="Why", nav="Why"),
    Panel(key="checked", title="What else it could have been", nav="Checked"),
    Panel(key="hidden", title="What the sampling could hide", nav="What could hide"),
)
PROBE = (
    Panel(key="life", title="Its life on one time axis", nav="Life"),
    Panel(
        key="close",
        title="Exposures above a rating, seen close",
        nav="Seen close",
        on_screen_only=True,
    ),
    Panel(key="exposures", title="Heat exposures", nav="Exposures"),
    Panel(key="hours", title="Hours and counters", nav="Hours"),
    Panel(key="stays", title="Where it sat", nav="Stays"),
    Panel(key="parameters", title="Slope and zero over time", nav="Slope and zero"),
)
OVERVIEW = (
    Panel(key="changed", title="What changed since the run before", nav="Changed"),
    Panel(key="days", title="When it happened, day by day", nav="Days"),
    Panel(key="log", title="Calibrations the record does not bear out", nav="Calibration log"),
    Panel(key="due", title="What is due", nav="Due"),
    Panel(key="teaches", title="What the record teaches about heat and age", nav="Heat and age"),
    Panel(key="assumed", title="What was inferred or assumed", nav="Assumed"),
    Panel(key="inputs", title="What went in", nav="What went in"),
)
