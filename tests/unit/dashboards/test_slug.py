"""File names for points: safe, unique, bounded and the same in every run."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards.slug import LONGEST_STEM, slug, slugs
from tests.unit.dashboards.made_result import FORMULA, HOSTILE, LONG, NON_LATIN, PATH

SAFE = re.compile(r"^[a-z0-9]+(-[a-z0-9]+)*$")


@pytest.mark.parametrize(
    "name", ["AT-101", HOSTILE, LONG, NON_LATIN, FORMULA, PATH, "", " ", "con", "NUL", "a\x00b", "é"]
)
def test_a_name_becomes_a_safe_short_stem(name: str) -> None:
    assert SAFE.match(slug(name))
    assert len(slug(name)) <= LONGEST_STEM + 11


def test_a_stem_reads_like_its_name() -> None:
    assert slug("AT-101").startswith("at-101-")


def test_names_that_look_alike_get_different_stems() -> None:
    names = ["AT-101", "at-101", "AT 101", "AT_101", "ＡＴ-101"]
    assert len({slug(name) for name in names}) == len(names)


def test_a_stem_does_not_depend_on_other_points() -> None:
    assert slugs(["b", "a"])["a"] == slugs(["a"])["a"]


@given(st.lists(st.text(max_size=60), max_size=30))
def test_stems_are_unique_and_safe_for_any_names(names: list[str]) -> None:
    made = slugs(names)
    assert set(made) == set(names)
    assert len(set(made.values())) == len(set(names))
    assert all(SAFE.match(stem) for stem in made.values())
