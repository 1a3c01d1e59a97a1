"""Names that stay on one line without any of their characters changed."""

from __future__ import annotations

import re

import pytest

from dashboards.markup.text import names_held


def held(page: str) -> list[str]:
    return re.findall(r'<span class="held">(.*?)</span>', names_held(page))


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("probe QP-1107, then F1-PH2. Over-temperature", ["QP-1107", "F1-PH2"]),
        ("AT-101's twin (A1-DO) &amp; &lt;QM.E1-TU.PV&gt;", ["AT-101", "A1-DO", "QM.E1-TU.PV"]),
        ("give --calibrations FILE", ["--calibrations"]),
        ("lock-out, day-first, X1-" + "Y" * 30, []),
        ('<a href="points/f1-ph2-3ba.html" title="F1-PH2">here</a>', []),
        ("<script>a = 'F1-PH2'</script><svg><text>F1-PH2</text></svg><title>F1-PH2</title>", []),
    ],
)
def test_names_and_options_are_held_and_nothing_else(text: str, names: list[str]) -> None:
    assert held(text) == names


def test_what_a_reader_copies_and_a_search_finds_stays_the_same() -> None:
    page = '<p title="a > b">F1-PH2 in plant/long_export_wastewater_1.csv.gz</p><script>x = "<b>F1-PH2</b>"</script>'
    made = names_held(page.replace("a > b", "a &gt; b"))
    assert re.sub(r"<wbr>|<span class=\"held\">|</span>", "", made) == page.replace("a > b", "a &gt; b")
    assert "long_<wbr>export_" in made
