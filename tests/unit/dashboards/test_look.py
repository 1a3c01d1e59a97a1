"""One set of inks: figures, style sheet, light and dark agree."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

import dashboards
from dashboards.look import DARK, FAMILIES, LIGHT, family, paint
from excursions.kinds import KINDS, Family

CSS = (Path(dashboards.__file__).parent / "assets" / "book.css").read_text(encoding="utf-8")


def inks_in(block: str) -> dict[str, str]:
    return {name: value.strip() for name, value in re.findall(r"--([a-z]+): ([^;]+);", block)}


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_style_sheet_and_the_figures_use_the_same_inks() -> None:
    light, dark = re.findall(r":root \{(.*?)\}", CSS, re.S)[:2]
    assert LIGHT.items() <= inks_in(light).items()
    assert DARK.items() <= inks_in(dark).items()
    assert set(LIGHT) == set(DARK)


@pytest.mark.parametrize("ink", ["ink", "quiet", "reading", "heat", "mark", "lab", "margin", "pencil"])
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_what_is_read_stands_out_from_the_paper(ink: str, palette: dict[str, str]) -> None:
    assert contrast(palette[ink], palette["paper"]) >= 4.5  # WCAG 2.1, success criterion 1.4.3, level AA


def test_every_kind_of_event_has_its_family_and_ink() -> None:
    assert {group.key for group in FAMILIES} == {*get_args(Family)}
    assert all(family(kind).key == row.family != "other" for kind, row in KINDS.items())
    assert family("a kind of tomorrow").key == "other"
    assert all(group.ink in LIGHT for group in FAMILIES)


def test_painting_reaches_nested_inks_and_leaves_the_rest() -> None:
    spec = {"a": ["@heat", {"b": "@ink"}], "c": "heat", "d": 3, "e": None}
    assert paint(spec) == {"a": [LIGHT["heat"], {"b": LIGHT["ink"]}], "c": "heat", "d": 3, "e": None}


def test_an_unknown_ink_is_a_mistake() -> None:
    with pytest.raises(KeyError):
        paint({"color": "@gold"})
