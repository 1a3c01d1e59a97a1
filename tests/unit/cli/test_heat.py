"""Heat in the terminal: a span and its length are one figure."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from dashboards.wording import Reader
from excursions.cli.heat import _span
from excursions.clock import NS_PER_S, minutes_text


def test_a_span_that_is_written_to_the_minute_is_as_long_as_it_is_said_to_be() -> None:
    """From 16:57:02 to 17:07:44 are 11 minutes, and so are the minutes written."""
    start = 1_779_721_022 * NS_PER_S  # 25 May 2026, 14:57:02 UTC
    end = start + 642 * NS_PER_S
    assert minutes_text(642 / 60) == "11 min"
    assert _span(start, end, Reader(tz=ZoneInfo("Europe/Vienna"))) == "25 May 2026, 16:57 to 17:08"
