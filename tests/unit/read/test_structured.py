"""Files with a form of their own (XML, YAML, archives): what is hostile or cut off in them, and what they are called."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import struct
import tarfile
import zipfile
from contextlib import nullcontext
from pathlib import Path

import pytest
import xlsxwriter
import zstandard

from excursions.clock import iso
from excursions.errors import InputFileError
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.files.lookups import lookups
from excursions.read.exports.files.stems import signal_name
from excursions.read.sorting import classify
from excursions.read.text.unpack import packed_inside

DAY = "2025-03-04T0{}:00:00Z"


def reading_of(folder: Path, name: str, text: str) -> Reading:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return read_exports([path], ReadOptions())


def refusal_of(folder: Path, name: str, text: str) -> InputFileError:
    with pytest.raises(InputFileError) as caught:
        reading_of(folder, name, text)
    return caught.value


def samples(count: int) -> str:
    return "".join(f'<s tag="A1" time="{DAY.format(hour)}" value="7.0{hour}"/>\n' for hour in range(count))


@pytest.mark.parametrize(
    "declared",
    [
        '<!ENTITY a "7.01"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///etc/hostname">',
        '<!ENTITY % a SYSTEM "http://127.0.0.1:9/a.dtd">%a;',
    ],
)
def test_entities_are_refused_before_anything_is_expanded_or_opened(tmp_path: Path, declared: str) -> None:
    text = f"<?xml version='1.0'?><!DOCTYPE e [{declared}]><e>{samples(3)}<s>&b;</s></e>"
    assert "declares entities" in refusal_of(tmp_path, "a.xml", text).found


def test_a_document_type_elsewhere_is_not_fetched(tmp_path: Path) -> None:
    (tmp_path / "e.dtd").write_text('<!ENTITY a "7.01">')
    text = f'<!DOCTYPE e SYSTEM "{(tmp_path / "e.dtd").as_uri()}"><e>{samples(3)}</e>'
    found = reading_of(tmp_path, "a.xml", "<?xml version='1.0'?>" + text)
    assert found.series["A1"].value.tolist() == [7.0, 7.01, 7.02]


def test_elements_within_one_another_without_end_are_refused(tmp_path: Path) -> None:
    text = "<?xml version='1.0'?>" + "<a>" * 100_000
    assert "elements within one another" in refusal_of(tmp_path, "a.xml", text).found


def test_the_record_a_cut_runs_through_is_not_used(tmp_path: Path) -> None:
    whole = "<e>" + "".join(
        f"<s><tag>A1</tag><time>{DAY.format(hour)}</time><value>7.0{hour}</value></s>" for hour in range(4)
    )
    found = reading_of(tmp_path, "a.xml", whole[:-12])  # within the last value
    assert found.series["A1"].value.tolist() == [7.0, 7.01, 7.02]
    (report,) = found.files
    assert (report.rows, report.used, report.refused) == (4, 3, 1)
    assert any("cut off" in note for note in report.notes)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("- tag: &a A1\n  value: 7\n- tag: *a\n  value: 8\n", "an anchor"),
        ("- tag: !!python/object/apply:os.system [ls]\n  value: 7\n", "a type of its own"),
        ("- tag: |\n    A1\n  value: 7\n", "a text over several lines"),
        ("- tag: A1\n  values: [7,\n    8]\n", "brackets over several lines"),
        ("- tag: A1\n  tag: A2\n", 'the key "tag" twice'),
    ],
)
def test_yaml_that_is_more_than_plain_records_is_refused(tmp_path: Path, text: str, found: str) -> None:
    error = refusal_of(tmp_path, "a.yaml", text)
    assert found in error.found
    assert "CSV" in error.mend


def test_an_array_of_readings_beside_one_time_is_refused(tmp_path: Path) -> None:
    text = '{"tag": "A1", "start": "2025-03-04T00:00:00Z", "values": [7.0, 7.1, 7.2]}'
    assert "beside one time" in refusal_of(tmp_path, "a.json", text).found
    stepped = text.replace('"values"', '"interval": 600, "values"')
    assert "states no unit" in refusal_of(tmp_path, "b.json", stepped).found


def packed(folder: Path, sizes: dict[str, int | bytes]) -> Path:
    path = folder / "a.tar"
    with tarfile.open(path, "w") as archive:
        for name, content in sizes.items():
            info = tarfile.TarInfo(name)
            info.size = content if isinstance(content, int) else len(content)
            archive.addfile(info, io.BytesIO(bytes(info.size) if isinstance(content, int) else content))
    return path


ROWS = b"time;value\n2025-03-04 00:00;7.0\n2025-03-04 01:00;7.1\n"


def test_a_tar_archive_is_read_up_to_its_damage(tmp_path: Path) -> None:
    path = packed(tmp_path, {"A1.csv": ROWS, "../../A2.csv": ROWS, "A3.csv": ROWS * 40})
    found = read_exports([path], ReadOptions())
    assert sorted(found.series) == ["A1", "A2", "A3"]
    assert not (tmp_path.parent.parent / "A2.csv").exists()
    path.write_bytes(path.read_bytes()[: 5 * 512 + 100])
    cut = read_exports([path], ReadOptions())
    assert sorted(cut.series) == ["A1", "A2"]
    assert "cut off" in cut.problems[0].found


def test_a_packed_file_within_a_tar_archive_is_refused(tmp_path: Path) -> None:
    inner = packed(tmp_path, {"A1.csv": ROWS}).read_bytes()
    path = packed(tmp_path, {"inner.tar": inner})
    with pytest.raises(InputFileError, match="packed file inside an archive"):
        read_exports([path], ReadOptions())


@pytest.mark.parametrize("kind", ["zip", "tar"])
@pytest.mark.parametrize("pack", [gzip.compress, lzma.compress, bz2.compress, zstandard.compress])
def test_days_packed_one_by_one_within_an_archive_are_read(tmp_path: Path, kind: str, pack) -> None:
    files = {f"A{day}.csv.x": pack(ROWS) for day in (1, 2)}
    path = packed(tmp_path, files)
    if kind == "zip":
        path = tmp_path / "days.zip"
        with zipfile.ZipFile(path, "w") as archive:
            for name, content in files.items():
                archive.writestr(name, content)
    found = read_exports([path], ReadOptions())
    assert [len(series.value) for series in found.series.values()] == [2, 2]
    assert found.refused.height == 0
    assert not found.problems


def test_the_limits_of_a_file_packed_twice_are_of_both_packings(tmp_path: Path) -> None:
    """Noughts in gzip in an archive that holds a tenth of it: by the gzip alone they are within the ratio."""
    size = 300 * 2**20
    bomb = gzip.compress(bytes(size), 1)
    for held, refused in ((len(bomb), False), (len(bomb) // 10, True)):
        inside, name = packed_inside(lambda: iter([bomb]), held, ReadOptions(max_ratio=2 * size // len(bomb)))
        assert name == "gzip"
        with pytest.raises(InputFileError, match="unpacks to more than") if refused else nullcontext():
            assert sum(map(len, inside())) == size


def holding(folder: Path, kind: str, content: bytes) -> Path:
    """An archive with one packed file."""
    if kind == "tar":
        return packed(folder, {"A1.csv.gz": content})
    path = folder / "days.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("A1.csv.gz", content)
    return path


@pytest.mark.parametrize("kind", ["zip", "tar"])
def test_a_packed_file_within_an_archive_has_limits(tmp_path: Path, kind: str) -> None:
    content = gzip.compress(ROWS + b"2025-03-04 02:00;7.1\n" * 50_000)
    path = holding(tmp_path, kind, content)
    with pytest.raises(InputFileError, match="unpacks to more than"):
        read_exports([path], ReadOptions(max_unpacked_bytes=500_000))


@pytest.mark.parametrize("kind", ["zip", "tar"])
def test_twice_packed_within_an_archive_is_refused(tmp_path: Path, kind: str) -> None:
    content = gzip.compress(gzip.compress(ROWS))
    path = holding(tmp_path, kind, content)
    with pytest.raises(InputFileError, match="packed file inside an archive"):
        read_exports([path], ReadOptions())


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("F1-PH_2026-03-14.csv", "F1-PH"),
        ("F1-PH 2026-03-01 to 2026-03-31.csv.gz", "F1-PH"),
        ("20260314_20260315_F1-PH.csv", "F1-PH"),
        ("a/F1-PH/2026-03.csv", "F1-PH"),
        ("a/export.zip!line 1/F1-PH/2026-03-14.csv", "F1-PH"),
        ("a/F1-PH.xlsx!14.03.2026", "F1-PH"),
        ("pH von 01.03.2026 bis 31.03.2026.txt", "pH"),
        ("AI_2024.csv", "AI_2024"),  # the number of an instrument, and no year
        ("TIC2026-03A.csv", "TIC2026-03A"),
        ("Tag to be.csv", "Tag to be"),
    ],
)
def test_a_signal_is_called_after_its_file_without_the_dates(path: str, name: str) -> None:
    assert signal_name(path) == name


KINDS = {
    "a.xml": (f"<e>{samples(4)}</e>", "export"),
    "a.html": ("<html><table>" + "".join(f"<tr><td>2025-03-04 0{h}:00<td>7.0{h}" for h in range(4)), "export"),
    "page.html": ("<html><p>Nothing but words.</p></html>", "ignored"),
    "a.yaml": ("".join(f"- {{t: 2025-03-04 0{h}:00, v: 7.0{h}}}\n" for h in range(4)), "export"),
    "settings.yaml": ("scan:\n  every: 5\n  tags:\n    - A1\n", "ignored"),
    "a.ini": ("[A1]\n" + "".join(f"2025-03-04 0{h}:00=7.0{h}\n" for h in range(4)), "export"),
    "settings.ini": ("[scan]\nevery=5\n", "ignored"),
    "topics.log": ("".join(f"line/A1 7.0{h} 2025-03-04T0{h}:00:00Z\n" for h in range(4)), "export"),
    "program.log": ("".join(f"2025-03-04 0{h}:00:00 INFO took {h} files from the inbox\n" for h in range(4)), "ignored"),
    "averages.csv": ("from,to,A1 min,A1 max\n" + "".join(f"2025-03-04 0{h}:00,2025-03-04 0{h + 1}:00,7.0,7.1\n" for h in range(9)), "export"),
    "alarms.csv": ("from,to,text\n" + "".join(f"2025-03-04 0{h}:00,2025-03-04 0{h}:10,pump {h}\n" for h in range(9)), "ignored"),
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_a_file_is_looked_into_whatever_it_is_called(tmp_path: Path, name: str) -> None:
    text, kind = KINDS[name]
    (tmp_path / name).write_text(text)
    assert classify(tmp_path / name)[0] == kind


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('{"columns": ["time", "A", "A"], "data": [["2026-03-14T06:00:00Z", 7.0, 8.0], ["2026-03-14T06:10:00Z", 7.0, 8.0]]}', {"A": 7.0, "A (2)": 8.0}),
        ("\n".join('{"time": "2026-03-14T06:%0:00Z", "A": {"B": 7.0, "C": 9.0}, "B": 6.0, "A.B": 8.0}'.replace("%", ten) for ten in "01"),
         {"A.B": 8.0, "A.B (2)": 7.0, "B": 6.0, "C": 9.0}),
    ],
)  # fmt: skip
def test_readings_of_one_name_in_json_are_two_signals(
    tmp_path: Path, text: str, found: dict[str, float]
) -> None:
    (tmp_path / "trend.json").write_text(text)
    series = read_exports([tmp_path / "trend.json"], ReadOptions()).series
    assert {tag: one.value.tolist() for tag, one in series.items()} == {
        tag: [value] * 2 for tag, value in found.items()
    }


def test_numbers_of_signals_point_to_a_table_of_signals_and_to_no_other() -> None:
    readings = ["tag_id", "time", "v"]
    assert lookups("readings", {"operator": ["id", "name"], "readings": readings}) == []
    (found,) = lookups(
        "readings", {"operator": ["id", "name"], "taglist": ["id", "name"], "readings": readings}
    )
    assert found.other == "taglist"


def test_codes_of_states_point_to_their_words() -> None:
    tables = {
        "channel": ["id", "name", "unit"],
        "state": ["code", "word"],
        "reading": ["channel_id", "utc_ms", "val", "state_code"],
    }
    found = {lookup.column: lookup for lookup in lookups("reading", tables)}
    assert found["channel_id"].name == "name"
    assert (found["state_code"].other, found["state_code"].key, found["state_code"].name) == (
        "state",
        "code",
        "word",
    )


def test_a_hidden_sheet_is_read_and_said_to_be_hidden(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "trend.xlsx"))
    for name in ("Trend", "old"):
        sheet = book.add_worksheet(name)
        for row, cells in enumerate(
            (("Time", "AX-1"), (f"2026-03-1{len(name)} 06:00", 7.0), (f"2026-03-1{len(name)} 06:10", 7.1))
        ):
            sheet.write_row(row, 0, cells)
    book.get_worksheet_by_name("old").hide()
    book.close()
    reports = read_exports([tmp_path / "trend.xlsx"], ReadOptions()).files
    assert [any("hidden" in note for note in report.notes) for report in reports] == [False, True]
    assert [report.used for report in reports] == [2, 2]


def dbf(path: Path, fields: list[tuple[bytes, bytes, int]], records: list[bytes], behind: int = 0) -> Path:
    """A table with these fields (name, kind, bytes) and records, and as many bytes behind its list of fields."""
    listed = b"".join(
        name.ljust(11, b"\0") + kind + b"\0" * 4 + bytes([size]) + b"\0" * 15 for name, kind, size in fields
    )
    width, head = 1 + sum(size for *_, size in fields), 32 + len(listed) + 1 + behind
    start = struct.pack("<BBBBIHH20x", 0x30, 26, 3, 14, len(records), head, width)
    path.write_bytes(start + listed + b"\x0d" + b"\0" * behind + b"".join(records))
    return path


def test_a_damaged_stamp_of_a_dbf_table_costs_its_row_alone(tmp_path: Path) -> None:
    sound = [(2_461_114, 21_600_000 + 600_000 * number) for number in range(5)]
    stamps = [sound[0], (2_147_483_647, 5), (2_461_114, -7), (-4, 0), *sound[1:]]
    records = [
        b" AT-1" + struct.pack("<iid", day, ms, 7.0 + number / 10) for number, (day, ms) in enumerate(stamps)
    ]
    path = dbf(tmp_path / "trend.dbf", [(b"TAG", b"C", 4), (b"AT", b"T", 8), (b"VAL", b"B", 8)], records)
    reading = read_exports([path], ReadOptions())
    series = reading.series["AT-1"]
    assert series.value.tolist() == [7.0, 7.4, 7.5, 7.6, 7.7]
    assert [iso(int(time)) for time in series.time[:2]] == ["2026-03-14T06:00:00Z", "2026-03-14T06:10:00Z"]
    assert reading.refused["line"].to_list() == [2, 3, 4]
    assert "2147483647 days and 5 ms" in reading.refused["reason"][0]


TIMED = [b" 2026-03-14 06:0%d:00" % minute + struct.pack("<dd", 7.0, 20.0) for minute in range(4)]


def test_fields_of_one_name_in_a_dbf_table_are_two_signals(tmp_path: Path) -> None:
    fields = [(b"AT", b"C", 19), (b"VAL", b"B", 8), (b"VAL", b"B", 8)]
    series = read_exports([dbf(tmp_path / "trend.dbf", fields, TIMED)], ReadOptions()).series
    assert {tag: found.value.tolist() for tag, found in series.items()} == {
        "VAL": [7.0] * 4,
        "VAL (2)": [20.0] * 4,
    }


def test_a_field_of_no_width_in_a_dbf_table_is_left_out(tmp_path: Path) -> None:
    fields = [(b"AT", b"C", 19), (b"A", b"B", 8), (b"B", b"B", 8), (b"NOTE", b"C", 0), (b"SUM", b"N", 0)]
    assert list(read_exports([dbf(tmp_path / "trend.dbf", fields, TIMED)], ReadOptions()).series) == [
        "A",
        "B",
    ]


def test_a_dbf_table_that_is_cut_off_within_its_head_is_refused_with_a_sentence(tmp_path: Path) -> None:
    path = dbf(tmp_path / "trend.dbf", [(b"AT", b"C", 19), (b"A", b"B", 8), (b"B", b"B", 8)], TIMED, 263)
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(InputFileError, match="cut off before the first of its 4 rows"):
        read_exports([path], ReadOptions())
