"""Which point a question means, and what is said of one that there is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.cli.asked import named_among, point_named
from excursions.errors import UsageError
from excursions.plant import Plant, Point

PLANT = Plant(points=(Point(name="QT-101", value="Site/QT101.PV"), Point(name="QT-102")))


@pytest.mark.parametrize("asked", ["QT-101", "qt-101", "Site/QT101.PV", "qt 101"])
def test_a_point_is_found_however_it_is_written(asked: str) -> None:
    assert point_named(asked, ["QT-101", "QT-102"], PLANT) == "QT-101"


def test_a_point_of_the_plant_without_a_record_is_not_meant() -> None:
    with pytest.raises(UsageError) as error:
        point_named("Site/QT101.PV", ["QT-102"], PLANT)
    assert error.value.expected == "one of QT-102"


def test_the_nearest_name_is_offered() -> None:
    with pytest.raises(UsageError) as error:
        point_named("QT-1O1", ["QT-101", "QT-102"], PLANT)
    assert error.value.mend == 'did you mean "QT-101"?'


def test_where_there_is_no_point_at_all_that_is_said() -> None:
    with pytest.raises(UsageError) as error:
        point_named("X", [], Plant())
    assert error.value.expected == "none: there is no point to choose from"
    assert error.value.mend == "leave --point out"


@pytest.mark.parametrize(
    ("arguments", "option", "name"),
    [
        (["QT-101", "."], "", "QT-101"),
        ([".", "Site.QT101.PV"], "", "Site.QT101.PV"),
        ([".", "QT-101"], "QT-102", "QT-102"),  # the option says it; the other is a file that is missing
        ([".", "missing.csv"], "", ""),
        (["QT-101", "QT-102", "."], "", ""),
        ([".", "exports/*"], "", ""),
    ],
)
def test_a_point_may_stand_among_the_exports(arguments: list[str], option: str, name: str) -> None:
    exports, asked = named_among([Path(one) for one in arguments], option)
    assert asked == name
    assert [str(one) for one in exports] == [one for one in arguments if option or one != name]


def test_a_point_alone_is_asked_for_its_exports() -> None:
    with pytest.raises(UsageError) as error:
        named_among([Path("QT-101")], "")
    assert error.value.mend.endswith("FOLDER QT-101")
