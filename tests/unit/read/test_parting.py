"""Files that call different signals alike are kept apart; parts of one signal are put together."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from excursions.read import Reading, ReadOptions, read_exports

START = datetime(2025, 3, 5, 8)


def export(path: Path, levels: list[float], first: int = 0, seconds: int = 0) -> Path:
    stamps = (START + timedelta(minutes=first + k, seconds=seconds) for k in range(len(levels)))
    rows = [f"{stamp.isoformat()},{level:.3f}" for stamp, level in zip(stamps, levels, strict=True)]
    path.write_text("\n".join(["Time,pH,", *(f"{row}," for row in rows)]) + "\n")
    return path


def read(*paths: Path) -> Reading:
    return read_exports(list(paths), ReadOptions())


def wave(low: float, count: int = 60) -> list[float]:
    return [low + 0.01 * (k * k % 17) for k in range(count)]


@pytest.mark.parametrize("seconds", [0, 7])
def test_keeps_two_tanks_apart(tmp_path: Path, seconds: int) -> None:
    found = read(
        export(tmp_path / "Tank1_20250305.csv", wave(7.0)),
        export(tmp_path / "Tank2_20250305.csv", wave(4.2), seconds=seconds),
    )
    assert list(found.series) == ["Tank1 pH", "Tank2 pH"]
    assert [len(series.time) for series in found.series.values()] == [60, 60]
    assert any("2 files hold a signal of this name" in decision.what for decision in found.decisions)


def test_puts_parts_of_one_signal_together(tmp_path: Path) -> None:
    whole = wave(7.0, 120)
    found = read(
        export(tmp_path / "a.csv", whole[:80]),
        export(tmp_path / "b.csv", [round(level, 2) for level in whole[50:]], first=50),
    )
    assert list(found.series) == ["pH"]
    assert len(found.series["pH"].time) == 150


@pytest.mark.parametrize(
    ("attribute", "names"),
    [("PV", ["PV", "Tank 2/PV"]), ("pH", ["Tank 1/pH", "Tank 2/pH"])],  # a quantity alone names no signal
)
def test_keeps_places_apart_that_each_file_names(tmp_path: Path, attribute: str, names: list[str]) -> None:
    for number in (1, 2):
        rows = [
            f"Tank {number},{attribute},{(START + timedelta(days=number, minutes=k)).isoformat()},7.{k:02d}"
            for k in range(9)
        ]
        (tmp_path / f"t{number}.csv").write_text("Asset,Attribute,Timestamp,Value\n" + "\n".join(rows) + "\n")
    assert list(read(tmp_path).series) == names


def test_names_signals_after_folders_where_files_are_called_alike(tmp_path: Path) -> None:
    for folder, low in (("P101", 5.1), ("P102", 8.4)):
        (tmp_path / folder).mkdir()
        export(tmp_path / folder / "pH.csv", wave(low))
    assert list(read(tmp_path).series) == ["P101 pH", "P102 pH"]
