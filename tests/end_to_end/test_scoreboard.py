"""The bars of the main job on an invented plant of another seed than the committed one, from files to findings."""

from __future__ import annotations

import pytest

from sample_data.simulator.scenario import SEED
from tests.benchmarks.whole_plant import PlantScore, report, score_plant

pytestmark = pytest.mark.slow

OTHER_SEED = 5


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> PlantScore:
    return score_plant(OTHER_SEED, tmp_path_factory.mktemp("plant"))


def test_the_seed_is_not_the_committed_one() -> None:
    assert OTHER_SEED != SEED


def test_every_fault_above_its_limit_is_reported(plant: PlantScore) -> None:
    assert len(plant.due) >= 25
    assert not plant.missed, report([plant])


def test_most_of_them_are_laid_to_the_probe(plant: PlantScore) -> None:
    assert sum(one.blamed for _, one in plant.due) >= 0.9 * len(plant.due), report([plant])


def test_no_look_alike_is_reported_as_a_probe_fault(plant: PlantScore) -> None:
    assert not plant.false, report([plant])


def test_every_shift_that_an_event_caused_is_linked_to_it_first(plant: PlantScore) -> None:
    assert len(plant.caused) >= 5
    assert all(one.right for one in plant.caused), report([plant])
