"""Times taken as UTC that show the changes of a wall clock are told, with the option; nothing is moved."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from excursions.read import ReadOptions, read_exports


def write(
    path: Path, zone: str, first: datetime, *, step: int = 15, hours: int = 96, skip: Iterable[int] = ()
) -> Path:
    moments = [first + timedelta(minutes=step * number) for number in range(hours * 60 // step)]
    kept = [moment.astimezone(ZoneInfo(zone)) for number, moment in enumerate(moments) if number not in set(skip)]
    rows = [f"{moment:%Y-%m-%d %H:%M},{7 + number % 7 / 100}" for number, moment in enumerate(kept)]
    path.write_text("\n".join(["time,AI-1", *rows]) + "\n")
    return path


def told(*paths: Path, tz: str = "") -> list[str]:
    decisions = read_exports(list(paths), ReadOptions(tz=tz)).decisions
    return [f"{d.what}; {d.why}; {d.option}" for d in decisions if d.subject == "clock" and "an hour" in d.what]


@pytest.mark.parametrize(
    ("zone", "first", "said"),
    [
        ("Europe/Vienna", datetime(2026, 3, 27, tzinfo=UTC), "is missing on 2026-03-29 from 02:00 to 03:00; clocks go forward there in Central"),
        ("Europe/Vienna", datetime(2025, 10, 24, tzinfo=UTC), "comes twice on 2025-10-26 from 02:00 to 03:00; clocks go back there in Central"),
        ("America/Chicago", datetime(2026, 3, 6, tzinfo=UTC), "is missing on 2026-03-08 from 02:00 to 03:00; clocks go forward there in North America"),
        ("Australia/Sydney", datetime(2026, 4, 2, tzinfo=UTC), "comes twice on 2026-04-05 from 02:00 to 03:00; clocks go back there in south-eastern Australia or New Zealand"),
    ],
)  # fmt: skip
def test_local_times_are_told_by_their_hour(tmp_path: Path, zone: str, first: datetime, said: str) -> None:
    (found,) = told(write(tmp_path / "a.csv", zone, first))
    assert said in found
    assert "--tz" in found


def test_nothing_is_said_where_nothing_shows(tmp_path: Path) -> None:
    spring = datetime(2026, 3, 27, tzinfo=UTC)
    assert told(write(tmp_path / "utc.csv", "UTC", spring)) == []
    assert told(write(tmp_path / "june.csv", "Europe/Vienna", datetime(2026, 6, 1, tzinfo=UTC))) == []
    assert told(write(tmp_path / "hourly.csv", "Europe/Vienna", spring, step=60)) == []
    local = write(tmp_path / "a.csv", "Europe/Vienna", spring)
    assert told(local, tz="Europe/Vienna") == []


def test_a_longer_silence_is_no_sign(tmp_path: Path) -> None:
    around = range(190, 205)  # 47:30 h to 51:00 h: the hour and more
    assert told(write(tmp_path / "a.csv", "UTC", datetime(2026, 3, 27, tzinfo=UTC), skip=around)) == []


def test_a_tag_with_readings_in_the_hour_speaks_against_it(tmp_path: Path) -> None:
    first = datetime(2026, 3, 27, tzinfo=UTC)
    local = write(tmp_path / "a.csv", "Europe/Vienna", first)
    other = write(tmp_path / "b.csv", "UTC", first)
    other.write_text(other.read_text().replace("AI-1", "AI-2"))
    assert told(local, other) == []
