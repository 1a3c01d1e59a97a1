"""From which remembered window a long record goes on."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from excursions.site import search

STEPS = ("old", "newer", "newest")


def station(*limits: str) -> SimpleNamespace:
    return SimpleNamespace(findings=SimpleNamespace(limits=limits))


@pytest.mark.parametrize(
    ("remembered", "begin"),
    [
        ({}, 0),
        ({"old": station()}, 1),
        ({"old": station(), "newer": station()}, 2),
        ({"old": station(), "newest": station("step")}, 3),
        ({"newer": station(), "newest": station()}, 2),
    ],
    ids=["none", "the first", "all but the newest", "the newest", "the newest, remembered when it was not"],
)
def test_the_newest_window_needs_its_limits(
    monkeypatch: pytest.MonkeyPatch, remembered: dict[str, SimpleNamespace], begin: int
) -> None:
    monkeypatch.setattr(search, "_recall", remembered.get)
    task = SimpleNamespace(steps=STEPS, file_up_to=lambda step: step)
    found, number = search._newest_station(task)  # type: ignore[arg-type]
    assert number == begin
    assert (found is None) == (begin == 0)
