"""A register is read as a whole: every fault at once, with its line and the nearest right word."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from excursions.errors import ExcursionsError
from excursions.register import RegisterProblems, load_register

FULL = """
[plant]
name = "Works"
zone = "Europe/Vienna"
air_pressure_kpa = 98.2
ignore = ["*_SP"]

[[points]]
name = "AT-2103"
measurand = "pH"
value = "AT-2103.PV"
temperature = "TT-2103"
tolerance = 0.15
plan_days = 28
neighbours = ["CT-7"]

[[points]]
name = "CT-7"
measurand = "conductivity"
value = "CT-7.PV"
unit = "mS/cm"
range = [0, 200]
tolerance = 0.5

[[probes]]
serial = "pH-A1"
measurand = "ph"
model = "gel"
part_number = "PN 77"
rating_continuous_degc = 80
in_service_since = 2024-01-31

[[installations]]
probe = "pH-A1"
point = "AT-2103"
from = 2024-07-01T08:00:00
to = "31.12.2024"

[quality_words]
"I/O Timeout" = "bad"
"""


def load(tmp_path: Path, text: str, tags: tuple[str, ...] = ()):
    path = tmp_path / "plant.toml"
    path.write_text(text, encoding="utf-8")
    return load_register(path, tags)


def faults(tmp_path: Path, text: str, tags: tuple[str, ...] = ()) -> list[tuple[int | None, str, str]]:
    with pytest.raises(RegisterProblems) as caught:
        load(tmp_path, text, tags)
    return [(problem.line, problem.column, problem.mend) for problem in caught.value.problems]


def faults_of(tmp_path: Path, text: str) -> tuple[ExcursionsError, ...]:
    with pytest.raises(RegisterProblems) as caught:
        load(tmp_path, text)
    return caught.value.problems


def test_everything_a_register_can_state_arrives(tmp_path: Path) -> None:
    plant = load(tmp_path, FULL).plant
    point = plant.point("AT-2103")
    assert point is not None
    assert (point.measurand, point.temperature, point.tolerance, point.plan_days) == (
        "ph",
        "TT-2103",
        0.15,
        28,
    )
    assert point.neighbours == ("CT-7",)
    assert plant.air_pressure_kpa == 98.2
    assert plant.quality_words == {"I/O Timeout": "bad"}
    assert plant.ignore == ("*_SP",)
    assert plant.probes[0].part_number == "PN 77"


def test_range_and_tolerance_are_taken_to_the_canonical_unit(tmp_path: Path) -> None:
    point = load(tmp_path, FULL).plant.point("CT-7")
    assert point is not None
    assert point.range == (0.0, 200_000.0)  # mS/cm to uS/cm
    assert point.tolerance == 500.0


def test_local_dates_are_the_plants_local_time(tmp_path: Path) -> None:
    row = load(tmp_path, FULL).plant.installations[0]
    assert row.start == 1_719_813_600 * 10**9  # 2024-07-01T06:00:00Z: two hours behind in summer
    assert row.end == 1_735_599_600 * 10**9  # 2024-12-30T23:00:00Z


def test_named_tables_are_read_like_lists_of_tables(tmp_path: Path) -> None:
    plant = load(tmp_path, '[points."Site/A.1"]\nmeasurand = "redox"\n[point.B]\n').plant
    assert [(point.name, point.measurand) for point in plant.points] == [
        ("Site/A.1", "redox"),
        ("B", "other"),
    ]


def test_all_faults_come_at_once_with_line_key_and_nearest_word(tmp_path: Path) -> None:
    text = """[plant]
zone = "Europe/Viena"
[[points]]
name = "A"
mesurand = "ph"
tolerance = 0,1
[[points]]
name = "B"
measurand = "conductivty"
range = [
  14,
  0,
]
[[points]]
name = "B"
[quality_words]
x = "bda"
"""
    found = faults(tmp_path, text)
    assert [(line, key) for line, key, _ in found] == [
        (2, "zone"),
        (5, "mesurand"),
        (6, ""),
        (9, "measurand"),
        (10, "range"),
        (15, "name"),
        (17, "x"),
    ]
    mends = [mend for _, _, mend in found]
    assert 'did you mean "measurand"?' in mends
    assert 'did you mean "conductivity"?' in mends
    assert 'did you mean "bad"?' in mends
    assert "write a decimal point instead of the comma" in mends


@pytest.mark.parametrize(
    ("line", "key", "expected"),
    [
        ("tolerance = -1", "tolerance", "a number above 0"),
        ("tolerance = true", "tolerance", "a number"),
        ("range = [1]", "range", "two numbers"),
        ("rating_continuous_degc = 900", "rating_continuous_degc", "between 0 and 400"),
        ("value = 7", "value", "a tag name in quotes"),
        ('unit = "furlong"', "unit", "a unit of"),
        ('temperature_unit = "Rankine"', "temperature_unit", "degC or degF"),
        ('pressure_unit = "barg"', "pressure_unit", "one of kPa, bar, bar_g"),
        ('neighbours = ["nobody"]', "neighbours", "the name of a point"),
        ("neighbours = [1]", "neighbours", "a list of texts"),
        ("plan_days = nan", "plan_days", "a number"),
    ],
)
def test_a_value_that_does_not_fit_says_what_would(
    tmp_path: Path, line: str, key: str, expected: str
) -> None:
    with pytest.raises(RegisterProblems) as caught:
        load(tmp_path, f'[[points]]\nname = "A"\nmeasurand = "ph"\n{line}\n')
    (problem,) = caught.value.problems
    assert (problem.line, problem.column) == (4, key)
    assert expected in problem.expected


def test_the_unit_fault_names_the_nearest_unit(tmp_path: Path) -> None:
    (found,) = faults(tmp_path, '[[points]]\nname = "A"\nmeasurand = "conductivity"\nunit = "mS/cn"\n')
    assert found[2] == 'did you mean "mS/cm"?'


def test_a_misspelt_measurand_does_not_hide_a_misspelt_unit(tmp_path: Path) -> None:
    said = faults_of(tmp_path, '[[points]]\nname = "A"\nkind = "conductivitty"\nunit = "mS/cn"\n')
    assert [problem.line for problem in said] == [3, 4]
    assert said[0].mend == 'did you mean "conductivity"?'
    assert said[1].mend == 'did you mean "mS/cm"?'


@pytest.mark.parametrize(
    ("zone", "mend"),
    [
        ("Europe/Viena", 'did you mean "Europe/Vienna"?'),
        ("Vienna", 'did you mean "Europe/Vienna"?'),
        ("New York", 'did you mean "America/New_York"?'),
        ("UTC+1", '"Etc/GMT-1"'),
        ("Wien", 'write for example "UTC" or "Europe/Vienna"'),
    ],
)
def test_a_misspelt_zone_names_the_nearest(tmp_path: Path, zone: str, mend: str) -> None:
    (problem,) = faults_of(tmp_path, f'[plant]\nname = "W"\nzone = "{zone}"\n')
    assert (problem.line, problem.column) == (3, "zone")
    assert mend in problem.mend


def test_a_misspelt_tag_names_the_nearest_that_no_other_point_has(tmp_path: Path) -> None:
    text = '[[points]]\nname = "A"\ntag = "AI-101.PV"\n[[points]]\nname = "B"\ntag = "AI-012.PV"\n'
    (problem,) = load(tmp_path, text, tags=("AI-101.PV", "AI-102.PV")).problems
    assert (problem.line, problem.column) == (6, "tag")
    assert 'did you mean "AI-102.PV"?' in problem.mend
    assert "a signal of its own" in problem.mend


def test_unknown_tags_are_remarked_and_do_not_stop(tmp_path: Path) -> None:
    reading = load(tmp_path, FULL, ("AT-2103.PV", "TT-2104", "CT-7.PV"))
    (problem,) = reading.problems
    assert (problem.line, problem.column) == (12, "temperature")
    assert problem.mend.startswith('did you mean "TT-2104"?')
    assert len(reading.plant.points) == 2


def test_without_tags_of_an_export_no_tag_is_unknown(tmp_path: Path) -> None:
    assert load(tmp_path, FULL).problems == ()


def test_a_probe_that_is_not_listed_is_remarked_and_still_exists(tmp_path: Path) -> None:
    reading = load(tmp_path, FULL + '[[installations]]\nprobe = "pH-A2"\npoint = "CT-7"\n')
    assert reading.problems[0].mend == 'did you mean "pH-A1"?'
    probe = reading.plant.probe("pH-A2")
    assert probe is not None
    assert probe.measurand == "conductivity"


def test_overlapping_installations_are_remarked(tmp_path: Path) -> None:
    later = '[[installations]]\nprobe = "pH-A1"\npoint = "CT-7"\nfrom = 2024-10-01\n'
    reading = load(tmp_path, FULL + later)
    assert any("two installations at once" in problem.found for problem in reading.problems)


def test_an_installation_that_ends_before_it_starts_is_a_fault(tmp_path: Path) -> None:
    text = '[[points]]\nname = "A"\n[[installations]]\nprobe = "P"\npoint = "A"\nfrom = 2024-02-01\nto = 2024-01-01\n'
    assert faults(tmp_path, text)[0][0] == 3


def test_an_unknown_section_names_the_nearest(tmp_path: Path) -> None:
    assert faults(tmp_path, "[installation_s]\n")[0][2] == 'did you mean "installations"?'


@pytest.mark.parametrize(
    "content",
    [
        b"\xff\xfe" + "[plant]\nname='x'\n".encode("utf-16-le"),
        b"\xef\xbb\xbf[plant]\nname='x'\n",
        b"[plant]\r\nname='x'\r\n",
    ],
    ids=["utf-16", "mark", "crlf"],
)
def test_other_encodings_and_line_ends_are_read(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(content)
    assert load_register(path).plant.name == "x"


@pytest.mark.parametrize("content", [b"\x00\x01\x02", b"\xe4\xf6", b"[", b"= = =\n" * 30, b"[[a]]\n[a]\n"])
def test_what_is_no_register_is_refused_with_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "p.toml"
    path.write_bytes(content)
    with pytest.raises(RegisterProblems) as caught:
        load_register(path)
    assert str(caught.value).startswith(str(path))


def test_a_file_that_is_not_there_is_a_fault_too(tmp_path: Path) -> None:
    with pytest.raises(ExcursionsError, match="no readable file"):
        load_register(tmp_path / "none.toml")


def test_more_than_twenty_faults_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text("".join(f'[[points]]\nname = "{i}"\nbogus_key = 1\n' for i in range(25)))
    with pytest.raises(RegisterProblems) as caught:
        load_register(path)
    assert str(caught.value).endswith("... and 5 more in this register.")
    assert pickle.loads(pickle.dumps(caught.value)).problems == caught.value.problems


def test_a_tag_stated_as_empty_and_a_silent_measurand_are_told_apart(tmp_path: Path) -> None:
    point = load(tmp_path, '[[points]]\nname = "A"\ntemperature = ""\n').plant.points[0]
    assert point.inferred == {"temperature": "stated as none", "measurand": "not stated"}
