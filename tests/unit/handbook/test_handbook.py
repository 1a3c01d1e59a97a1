"""The handbook answers for every detector and every kind, in the terminal and beside the report."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

from dashboards.content.run import RunFacts
from dashboards.handbook import handbook_page
from excursions.cli.app import app
from excursions.cli.commands.handbook import page_lines
from excursions.detect.catalogue import DETECTORS
from excursions.errors import UsageError
from excursions.handbook import page_named, page_of, pages
from excursions.kinds import KINDS

HEADINGS = ["What it looks for", "How", "Its limit", "False friends"]
RUN = RunFacts(
    identity="x", version="1", versions="", sources=(), account="", refused=0, problems=(), status_words=(), decisions=()
)  # fmt: skip


def test_every_detector_has_its_page_and_no_page_is_without_one() -> None:
    assert {page.name for page in pages()} == {detector.name for detector in DETECTORS}


def test_every_kind_is_spoken_of() -> None:
    assert {kind.key for page in pages() for kind in page.kinds} == set(KINDS)
    for key in KINDS:
        assert key in {kind.key for kind in page_of(key).kinds}


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_a_page_says_the_four_things_in_order_and_lists_false_friends(page) -> None:
    assert re.findall(r"^## (.+)$", page.body, flags=re.M) == HEADINGS
    told = re.split(r"^## .+$", page.body, flags=re.M)[1:]
    assert all(part.strip() for part in told)
    assert re.match(r"\s*- ", told[-1])
    assert max(map(len, page_lines(page))) <= 80


@pytest.mark.parametrize(
    ("word", "name"),
    [("stuck", "stuck"), ("noise_collapse", "noise"), ("bad quality", "interruptions"), ("Over-Temperature", "over_temperature")],
)  # fmt: skip
def test_a_page_answers_to_detector_kind_and_label(word: str, name: str) -> None:
    assert page_named(word).name == name


def test_a_page_that_is_not_there_names_the_nearest() -> None:
    with pytest.raises(UsageError, match='Did you mean "stuck"'):
        page_named("stock")


def test_the_command_lists_all_and_prints_one() -> None:
    listed = CliRunner().invoke(app, ["handbook"])
    assert listed.exit_code == 0
    assert len(listed.output.splitlines()) == len(DETECTORS)
    told = CliRunner().invoke(app, ["handbook", "drift"])
    assert "False friends" in told.output
    assert KINDS["drift"].advice[:20] in told.output


def test_the_chapters_of_the_report_can_be_linked_to() -> None:
    html = handbook_page(RUN, plant="the plant")
    for page in pages():
        assert f'<section id="{page.name}"' in html
        assert f'href="#{page.name}"' in html
