"""What only shows further down than the first rows, and what stands once for many rows."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.errors import InputFileError
from excursions.read import Reading, ReadOptions, read_exports


def reading_of(folder: Path, lines: list[str], name: str = "made.csv", **options: str) -> Reading:
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(lines) + "\n")
    return read_exports([path], ReadOptions(**options))  # type: ignore[arg-type]


def moment(minute: int) -> str:
    return f"2025-03-{4 + minute // 1_440:02d} {minute // 60 % 24:02d}:{minute % 60:02d}"


def times(reading: Reading, tag: str) -> list[str]:
    return [str(time.astype("datetime64[ns]").astype("datetime64[m]")) for time in reading.series[tag].time]


def test_another_device_far_down_takes_its_readings_apart(tmp_path: Path) -> None:
    lines = ["time,device,pH,temp", *(f"{moment(m)},one,7.0,20.0" for m in range(3_000))]
    lines += [f"{moment(m)},two,5.0,30.0" for m in range(20)]
    found = reading_of(tmp_path, lines)
    assert {tag: series.time.size for tag, series in found.series.items()} == {
        "one/pH": 3_000, "one/temp": 3_000, "two/pH": 20, "two/temp": 20,
    }  # fmt: skip
    assert found.series["two/pH"].value.max() == 5.0


def test_a_device_that_stays_the_same_is_no_part_of_the_names(tmp_path: Path) -> None:
    lines = ["time,device,pH,temp", *(f"{moment(m)},one,7.0,20.0" for m in range(50))]
    assert list(reading_of(tmp_path, lines).series) == ["pH", "temp"]


def test_a_row_that_names_no_device_is_refused(tmp_path: Path) -> None:
    lines = ["time,device,pH,temp", *(f"{moment(m)},{'one' if m % 2 else 'two'},7.0,20.0" for m in range(40))]
    lines.insert(21, f"{moment(19)},,7.0,20.0")
    found = reading_of(tmp_path, lines)
    assert found.refused["line"].unique().to_list() == [22]
    assert (found.files[0].rows, found.files[0].used, found.files[0].refused) == (82, 80, 2)


@pytest.mark.parametrize("far", [5, 2_500])
def test_a_header_of_other_columns_begins_another_table_near_and_far(tmp_path: Path, far: int) -> None:
    lines = ["tag,time,unit,value,quality", *(f"A1,{moment(m)},pH,7.0,192" for m in range(far))]
    lines += ["tag,time,unit,quality,value", *(f"A1,{moment(far + m)},pH,192,7.5" for m in range(30))]
    found = reading_of(tmp_path, lines)
    values = found.series["A1"].value
    assert values.tolist() == [7.0] * far + [7.5] * 30
    assert found.files[0].rows == far + 30


def test_days_over_several_readings_without_a_time_of_day_are_refused(tmp_path: Path) -> None:
    lines = ["date,when,pH", *(f"2025-03-{4 + m // 24:02d},{m % 24}.5 h,7.0{m % 10}" for m in range(96))]
    with pytest.raises(InputFileError, match=r"days without a time of day.*24 rows"):
        reading_of(tmp_path, lines)
    daily = ["date,pH", *(f"2025-03-{4 + m:02d},7.0{m}" for m in range(9))]
    assert reading_of(tmp_path, daily).series["pH"].time.size == 9


@pytest.mark.parametrize(
    ("name", "above", "expected"),
    [
        ("A1_2025-03-04.csv", [], "2025-03-04T22:00"),
        ("2025-03-04/A1.csv", [], "2025-03-04T22:00"),
        ("A1.csv", ["Day 04.03.2025"], "2025-03-04T22:00"),
        ("A1_2025-03-04.csv", ["Printed 20.04.2025"], "2025-03-04T22:00"),
    ],
)
def test_the_day_of_times_of_day_stands_once(
    tmp_path: Path, name: str, above: list[str], expected: str
) -> None:
    lines = [*above, "time;A1", *(f"{(22 + h) % 24:02d}:00;7.{h}" for h in range(6))]
    found = times(reading_of(tmp_path, lines, name), "A1")
    assert found[0] == expected
    assert found[2:4] == ["2025-03-05T00:00", "2025-03-05T01:00"]  # on into the next day


def test_two_days_named_above_decide_nothing(tmp_path: Path) -> None:
    lines = ["04.03.2025 and 05.03.2025", "time;A1", *(f"{h:02d}:00;7.{h}" for h in range(6))]
    with pytest.raises(InputFileError, match="times of day without a date"):
        reading_of(tmp_path, lines, "A1.csv")


def test_a_start_that_can_be_read_in_two_ways_is_asked_for(tmp_path: Path) -> None:
    lines = ["Start: 04/05/2025 08:00", "Elapsed [h],A1", *(f"{h},7.{h}" for h in range(6))]
    with pytest.raises(InputFileError, match="--date-order"):
        reading_of(tmp_path, lines)
    assert times(reading_of(tmp_path, lines, date_order="month-first"), "A1")[1] == "2025-04-05T09:00"


def test_a_step_over_missing_lines_is_refused(tmp_path: Path) -> None:
    lines = ["Start: 2025-03-04 00:00", "Interval: 10 min", "A1", *(f"7.{h}" for h in range(6))]
    assert times(reading_of(tmp_path, lines), "A1")[-1] == "2025-03-04T00:50"
    lines.insert(6, "")
    with pytest.raises(InputFileError, match="counted by a step"):
        reading_of(tmp_path, lines)


def test_a_key_twice_in_a_record_of_lines_is_refused_and_counted(tmp_path: Path) -> None:
    record = ["tag: A1", "time: 2025-03-04 0{}:00", "value: 7.{}", ""]
    lines = [line.format(hour) for hour in range(4) for line in record]
    del lines[4]  # the tag of the second record
    found = reading_of(tmp_path, lines, "made.txt")
    assert found.series["A1"].value.tolist() == [7.0, 7.2, 7.3]
    assert found.refused["line"].to_list() == [5, 6]
    assert (found.files[0].rows, found.files[0].used, found.files[0].refused) == (5, 3, 2)
