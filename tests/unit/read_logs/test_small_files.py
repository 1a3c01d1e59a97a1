"""Logs and lists of samples as plants keep them, each with the entries it must give (``*.entries`` beside it).

To add one: put the file into ``tests/corpus/logs`` or ``tests/corpus/samples`` and write its entries by hand, or run
this module as a program, which writes those that are missing, and read them against the file.
"""

from __future__ import annotations

import math
import zipfile
from pathlib import Path

import pytest

from excursions.clock import iso
from excursions.errors import UsageError
from excursions.pipeline.options import ScanOptions
from excursions.pipeline.scan import read_all
from excursions.read.logs.log import LogReading, read_calibrations
from excursions.read.logs.roles import ROLES, role_of
from excursions.read.logs.samples import SampleReading, read_samples
from excursions.read.model import ReadOptions
from excursions.read.sorting import classify, sort_out

CORPUS = Path(__file__).parents[2] / "corpus"
VIENNA = ReadOptions(tz="Europe/Vienna")


def files(kind: str) -> list[Path]:
    return sorted(path for path in (CORPUS / kind).iterdir() if path.suffix != ".entries")


def figure(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.6g}"


def lines_of(reading: LogReading | SampleReading) -> list[str]:
    """One line an entry, sample, installation and refused row."""
    lines = []
    for entry in reading.entries if isinstance(reading, LogReading) else ():
        parts = [str(entry.line), iso(entry.time), entry.point, entry.probe, entry.action, entry.phase]
        parts += [f"{name}={figure(value)}" for name, value in entry.figures.items()]
        parts += [
            f"{figure(s.raw)} {s.raw_unit} in {figure(s.standard) or s.label} {s.standard_unit} @{figure(s.temperature_degc)}"
            for s in entry.standards
        ]
        lines.append(" | ".join([*parts, figure(entry.air_pressure_kpa), entry.comment]))
    for sample in reading.samples if isinstance(reading, SampleReading) else ():
        parts = [
            str(sample.line),
            iso(sample.time),
            sample.point,
            figure(sample.value),
            sample.unit,
            sample.comment,
        ]
        lines.append(" | ".join(parts))
    for row in reading.installations if isinstance(reading, LogReading) else ():
        ends = ["" if end is None else iso(end) for end in (row.start, row.end)]
        lines.append(" | ".join(["installed", row.probe, row.point, *ends]))
    cleanings = reading.cleanings if isinstance(reading, LogReading) else ()
    lines += [f"cleaned | {row.line} | {row.point}" for row in cleanings]
    lines += [
        f"refused | {line} | {reason}"
        for line, reason in reading.refused.select("line", "reason").iter_rows()
    ]
    return lines


def read(kind: str, path: Path) -> LogReading | SampleReading:
    return (read_calibrations if kind == "logs" else read_samples)(path, options=VIENNA)


@pytest.mark.parametrize(
    ("kind", "path"),
    [(kind, path) for kind in ("logs", "samples") for path in files(kind)],
    ids=lambda v: getattr(v, "stem", v),
)
def test_a_small_file_gives_its_entries_and_every_row_is_accounted_for(kind: str, path: Path) -> None:
    reading = read(kind, path)
    assert lines_of(reading) == path.with_suffix(".entries").read_text().splitlines()
    assert reading.rows == reading.used + reading.refused.height
    assert reading.refused.filter(reading.refused["reason"].str.len_chars() < 5).is_empty()


@pytest.mark.parametrize("path", files("logs"), ids=lambda p: p.stem)
def test_a_log_is_known_by_what_it_holds(tmp_path: Path, path: Path) -> None:
    plain = tmp_path / f"file{path.suffix}"
    plain.write_bytes(path.read_bytes())
    assert classify(plain)[0] == "calibrations"


@pytest.mark.parametrize("path", files("samples"), ids=lambda p: p.stem)
def test_a_list_of_samples_is_known_by_what_it_holds(tmp_path: Path, path: Path) -> None:
    plain = tmp_path / f"file{path.suffix}"
    plain.write_bytes(path.read_bytes())
    assert classify(plain)[0] == "samples"


def test_there_are_enough_of_them() -> None:
    assert len(files("logs")) >= 20
    assert len(files("samples")) >= 8


def test_logs_in_an_archive_are_opened(tmp_path: Path) -> None:
    path = tmp_path / "logs.zip"
    chosen = files("logs")[:3]
    with zipfile.ZipFile(path, "w") as archive:
        for file in chosen:
            archive.write(file, f"2025/{file.name}")
    assert classify(path)[0] == "calibrations"
    got = [(e.time, e.point) for e in read_calibrations(path, options=VIENNA).entries]
    assert got == [
        (e.time, e.point) for file in chosen for e in read_calibrations(file, options=VIENNA).entries
    ]


def test_a_pattern_is_sorted_like_a_folder(tmp_path: Path) -> None:
    log = tmp_path / "one.csv"
    log.write_bytes(files("logs")[0].read_bytes())
    (tmp_path / "two.csv").write_text("tag,time,value\nA,2024-03-01T00:00:00Z,7.0\n")
    found = sort_out([tmp_path / "*.csv"])
    assert (found.calibrations, found.exports) == ((log,), (tmp_path / "two.csv",))
    assert sort_out([tmp_path / "*.txt"]).exports == (tmp_path / "*.txt",)


def test_an_archive_that_grows_too_much_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", b"date,point,slope [%]\n" + b"0" * (80 * 2**20))
    (problem,) = read_calibrations(path).problems
    assert "more than" in problem.found


def test_every_role_is_understood_and_a_wrong_one_lists_them_nearest_first() -> None:
    assert {role: role_of(role) for role in ROLES} == ROLES
    assert role_of("as found slope [%]").phase == "as_found"
    with pytest.raises(UsageError) as caught:
        role_of("slpoe")
    assert caught.value.expected.startswith("one of slope, ")
    assert 'did you mean "slope"?' in caught.value.mend


def test_a_column_that_no_file_has_is_named(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("date,point,serial,slope [%],zero [pH]\n2024-01-02 08:00,A,7,98,7.0\n")
    options = ScanOptions(columns={"probe": "serail", "point": "POINT"})
    from excursions.pipeline.engine import LocalEngine
    from excursions.pipeline.progress import quiet

    (told,) = [
        p
        for p in read_all(sort_out([log]), options, LocalEngine(jobs=1), quiet).problems
        if "columns" in p.found
    ]
    assert (told.found, told.mend) == (
        '--columns "probe=serail", but no column "serail"',
        'did you mean "serial"?',
    )


def test_two_columns_that_mean_the_same_are_named_and_the_first_counts(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("date,point,slope [%],slope new [%],Slope in %\n2024-01-02 08:00,A,98,99,97\n")
    reading = read_calibrations(path)
    assert [(e.phase, e.figures["slope"]) for e in reading.entries] == [("as_left", 99.0)]
    assert any(
        "second column" in problem.found and problem.column == "Slope in %" for problem in reading.problems
    )


def test_the_doubled_hour_is_marked_and_resolved_by_order(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    times = [
        "2025-10-26 01:50",
        "2025-10-26 02:30",
        "2025-10-26 02:10",
        "2025-10-26 02:50",
        "2025-03-30 02:30",
    ]
    path.write_text("date,point,slope [%]\n" + "".join(f"{time},A,98\n" for time in times))
    reading = read_calibrations(path, options=VIENNA)
    assert [iso(entry.time)[11:16] for entry in reading.entries] == [
        "23:50",
        "00:30",
        "01:10",
        "01:50",
        "01:30",
    ]
    marks = [entry.comment for entry in reading.entries]
    assert [("first pass" in mark, "second pass" in mark) for mark in marks] == [
        (False, False),
        (True, False),
        (False, True),
        (False, True),
        (False, False),
    ]
    assert "never showed" in marks[4]
    assert sum("marked" in decision.what for decision in reading.decisions) == 3


if __name__ == "__main__":
    for kind in ("logs", "samples"):
        for file in files(kind):
            target = file.with_suffix(".entries")
            if not target.exists():
                target.write_text("".join(f"{line}\n" for line in lines_of(read(kind, file))))
