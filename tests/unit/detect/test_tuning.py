"""Settings that a plant states hold in search and limits alike; what cannot be set is told with the nearest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from excursions.detect.catalogue import DETECTORS, detect
from excursions.detect.limits import detection_limits
from excursions.detect.tuning import (
    TUNABLE,
    merged,
    read_tuning,
    settings_of,
    tunable,
    tuned,
    words_of_settings,
)
from excursions.errors import UsageError
from excursions.register import RegisterProblems, load_register
from tests.builders import level, make_record


def test_every_setting_of_every_detector_can_be_stated_and_has_a_number_as_default() -> None:
    assert set(TUNABLE) == {one.name for one in DETECTORS}
    for detector, defaults in TUNABLE.items():
        assert settings_of({detector: defaults})[detector] == next(
            one.settings() for one in DETECTORS if one.name == detector
        )
        assert all(isinstance(value, int | float) for value in defaults.values())


@pytest.mark.parametrize("detector", TUNABLE)
def test_every_setting_says_what_it_means(detector: str) -> None:
    words = words_of_settings(detector)
    assert words.keys() == TUNABLE[detector].keys()
    assert all(words.values()), [name for name, said in words.items() if not said]


def test_a_stated_setting_changes_what_is_found_and_the_limit_that_is_told() -> None:
    quiet = level(3_000, 25.0, 0.05, 1)
    quiet[1_500:] += 50.0  # 50 K within a minute
    record = make_record(level(3_000, 7.0, 0.01, 2), quiet)
    calm = settings_of(
        read_tuning(["thermal_shock.rate_k_per_min=500", "thermal_shock.unusual_k_per_min=500"])
    )
    assert "thermal_shock" in {event.kind for event in detect(record)}
    assert "thermal_shock" not in {event.kind for event in detect(record, calm)}
    told = [
        detection_limits(record, settings)["spikes"].size
        for settings in (None, settings_of(read_tuning(["spikes.noises=50"])))
    ]
    assert told[1] > told[0] > 0


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ("stuk.shortest_s=9", 'did you mean "stuck"?'),
        ("stuck.shortest=9", 'did you mean "shortest_s"?'),
        ("stuck.shortest_s", "write for example"),
        ("stuck.shortest_s=soon", "a number such as 300"),
        ("stuck.shortest_s=-1", "a number such as 300"),
        ("stuck.fewest_samples=8.5", "a whole number such as 8"),
        ("stuck.shortest_s=nan", "a number such as 300"),
    ],
)
def test_what_cannot_be_set_on_the_command_line_is_told(item: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_tuning([item])
    assert said.casefold() in str(caught.value).casefold()


def test_the_register_states_settings_and_the_command_line_goes_over_it(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text(
        "[detectors.step]\nfaults_per_year = 2\n\n[detectors.stuck]\nfewest_samples = 9\n", encoding="utf-8"
    )
    stated = load_register(path, tunable=tunable).plant.detectors
    assert stated == {"step": {"faults_per_year": 2.0}, "stuck": {"fewest_samples": 9}}
    both = merged(stated, {"step": {"faults_per_year": 1.0}, "drift": {"most": 3}})
    assert both == {"step": {"faults_per_year": 1.0}, "stuck": {"fewest_samples": 9}, "drift": {"most": 3}}
    assert [one.subject for one in tuned(both)] == [
        "detector stuck",
        "detector drift",
    ]  # the default is no news


def test_a_wrong_setting_in_the_register_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text(
        "[detectors.stepp]\nfaults_per_year = 2\n[detectors.stuck]\nfewest_samples = 8.5\nshortest_s = -3\nfew = 1\n",
        encoding="utf-8",
    )
    with pytest.raises(RegisterProblems) as caught:
        load_register(path, tunable=tunable)
    told = [(problem.line, problem.expected) for problem in caught.value.problems]
    assert [line for line, _ in told] == [1, 4, 5, 6]
    assert told[1][1] == "a whole number"
    assert told[2][1] == "a number not below 0"


def test_without_settings_the_record_is_searched_as_ever() -> None:
    record = make_record(level(2_000, 7.0, 0.01, 3), np.full(2_000, 25.0))
    assert detect(record, settings_of({})) == detect(record)
