"""A written register is read back as the same plant, and keeps what the user wrote."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from excursions.errors import RegisterError
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import Decision
from excursions.register import load_register, write_register

USERS = """# my notes
[plant]
tz = "Europe/Vienna" # here

# the one at the pump
[[points]]
name = "AT-1"
value = "AT-1.PV"   # yes
tolerance = 0.3
# end of it

[[installations]]
probe = "S1"
point = "AT-1"
from = 2024-01-01
"""

# Surrogates cannot be written as UTF-8, so no file can hold them.
names = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30).filter(
    lambda t: t.strip() == t
)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30).map(str.strip)
positive = st.floats(0.001, 1000).map(lambda x: float(f"{x:.6g}"))


def same(path: Path, text: str) -> Plant:
    path.write_bytes(text.encode())
    return load_register(path).plant


def stated(point: Point) -> Point:
    return replace(point, inferred={})


@st.composite
def points(draw: st.DrawFn) -> tuple[Point, ...]:
    chosen = draw(st.lists(names, max_size=4, unique=True))
    return tuple(
        Point(
            name=name,
            measurand=draw(st.sampled_from(["ph", "conductivity", "oxygen", "other"])),
            description=draw(texts),
            value=f"tag of {name}",
            hold=draw(st.text(st.characters(exclude_categories=["Cs"]), max_size=10)),
            tolerance=draw(st.none() | positive),
            range=draw(st.none() | st.just((0.0, 14.0))),
            plan_days=draw(st.none() | positive),
            rating_continuous_degc=draw(st.none() | st.just(80.0)),
        )
        for name in chosen
    )


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(points=points(), word=names)
def test_any_plant_is_read_back_equal(tmp_path: Path, points: tuple[Point, ...], word: str) -> None:
    plant = Plant(name="x", points=points, quality_words={word: "bad"})
    back = same(tmp_path / "p.toml", write_register(plant))
    assert tuple(stated(point) for point in back.points) == plant.points
    assert back.quality_words == plant.quality_words


def test_probes_and_installations_are_read_back(tmp_path: Path) -> None:
    second = 10**9
    plant = Plant(
        zone="Europe/Vienna",
        points=(Point(name="A", measurand="ph"),),
        probes=(Probe(serial="S", measurand="ph", part_number="7", in_service_since=1_700_000_000 * second),),
        installations=(
            Installation(probe="S", point="A", start=1_700_000_000 * second, end=1_710_000_000 * second),
        ),
    )
    back = same(tmp_path / "p.toml", write_register(plant))
    assert back.probes == plant.probes
    assert back.installations == plant.installations


def test_units_come_back_although_range_and_tolerance_stand_in_them(tmp_path: Path) -> None:
    point = Point(name="C", measurand="conductivity", unit="mS/cm", range=(0.0, 200_000.0), tolerance=500.0)
    text = write_register(Plant(points=(point,)))
    assert "range = [0.0, 200.0]" in text
    assert stated(same(tmp_path / "p.toml", text).points[0]) == point


def test_reasons_stand_beside_what_was_inferred() -> None:
    point = Point(name="A", measurand="ph", inferred={"measurand": "its name says so\nand more"})
    assert 'measurand = "ph" # inferred: its name says so and more' in write_register(Plant(points=(point,)))


def test_the_users_lines_stay_and_only_what_is_missing_is_added(tmp_path: Path) -> None:
    plant = same(tmp_path / "p.toml", USERS)
    completed = replace(
        plant.points[0],
        measurand="ph",
        temperature="TT-1",
        tolerance=0.9,
        inferred={"temperature": "same loop", "measurand": "r"},
    )
    text = write_register(replace(plant, points=(completed,)), (), USERS)
    kept = [line for line in USERS.splitlines() if line.strip()]
    assert [line for line in text.splitlines() if line in kept] == kept
    assert 'temperature = "TT-1" # inferred: same loop' in text
    assert "tolerance = 0.9" not in text
    back = same(tmp_path / "p.toml", text)
    assert (back.points[0].temperature, back.points[0].tolerance) == ("TT-1", 0.3)
    assert back.installations == plant.installations


def test_writing_twice_changes_nothing(tmp_path: Path) -> None:
    plant = same(tmp_path / "p.toml", USERS)
    decisions = (Decision(subject="X_SP", what="left out", why="it is a set point"),)
    once = write_register(plant, decisions, USERS)
    assert write_register(same(tmp_path / "p.toml", once), decisions, once) == once


def test_tags_left_out_are_listed_once_as_comments() -> None:
    decisions = (Decision(subject="X\nvalue = 1", what="left out", why="it is a set point"),)
    text = write_register(Plant(), decisions)
    assert text.count("# X value = 1: it is a set point") == 1


def test_named_tables_are_completed_in_place(tmp_path: Path) -> None:
    text = '[points."A/1"]\nvalue = "A/1.PV"\n'
    plant = same(tmp_path / "p.toml", text)
    more = replace(plant.points[0], hold="H", inferred={"hold": "same loop"})
    back = same(tmp_path / "p.toml", write_register(replace(plant, points=(more, Point(name="B"))), (), text))
    assert [(point.name, point.hold) for point in back.points] == [("A/1", "H"), ("B", "")]


def test_an_existing_text_that_is_no_toml_is_refused() -> None:
    with pytest.raises(RegisterError, match="not TOML"):
        write_register(Plant(), (), "[[[")


BLOCKS = [
    '[plant]\nzone = "Europe/Vienna"   # ours\n',
    '# the first\n[[points]]\nname = "A"\nvalue = "A.PV" # tag\nrange = [\n  0, # low\n  14,\n]\n',
    '[[probes]]\nserial = "S1"\n# a remark inside\nmodel = "m"\n\n',
    '[[installations]]\nprobe = "S1"\npoint = "A"\nfrom = 2024-05-01T10:00:00Z\n\n\n',
    '[[points]]\n  name = "B"\n  value = "B.PV"\n',
    '[[probes]]\nserial = "S2" # spare\n',
    '[[installations]]\nprobe = "S2"\npoint = "B"\n# to the end\n',
    '[quality_words]\nstale = "bad"\n',
]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(BLOCKS), crlf=st.booleans())
def test_every_line_of_the_user_stays_in_its_place_whatever_the_order(
    tmp_path: Path, order: list[str], crlf: bool
) -> None:
    text = "".join(order).replace("\n", "\r\n" if crlf else "\n")
    plant = same(tmp_path / "p.toml", text)
    more = [
        replace(
            point, measurand="ph", hold=f"{point.name}.HLD", inferred={"measurand": "r", "hold": "same loop"}
        )
        for point in plant.points
    ]
    full = replace(plant, points=(*more, Point(name="C", value="C.PV")))
    once = write_register(full, (Decision(subject="X_SP", what="left out", why="a set point"),), text)
    users = iter(once.splitlines())
    assert all(line in users for line in text.rstrip().splitlines())
    back = same(tmp_path / "q.toml", once)
    assert [(p.name, p.hold, p.measurand) for p in back.points[:2]] == [(p.name, p.hold, "ph") for p in more]
    assert (back.points[2].name, back.installations, back.probes) == ("C", plant.installations, plant.probes)
    assert write_register(back, (Decision(subject="X_SP", what="left out", why="a set point"),), once) == once


def test_an_installation_stated_in_another_zone_is_not_added_again(tmp_path: Path) -> None:
    text = '[plant]\nzone = "Europe/Vienna"\n[[points]]\nname = "A"\n[[installations]]\nprobe = "S"\npoint = "A"\nfrom = 2024-05-01T10:00:00Z\n'
    assert write_register(same(tmp_path / "p.toml", text), (), text).count("[[installations]]") == 1
