"""Boxes that are ticked or crossed, figures that are none, formulas without a value, and lists packed with a trend."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
import xlsxwriter

from excursions.read import ReadOptions
from excursions.read.logs.log import read_calibrations
from excursions.read.sorting import packed_apart
from excursions.read.text.units import quantities
from excursions.read.text.workbooks import Workbook, percent_cells
from excursions.records import CalibrationEntry


def entries(folder: Path, text: str) -> tuple[CalibrationEntry, ...]:
    (folder / "log.csv").write_text(text, encoding="utf-8")
    return read_calibrations(folder / "log.csv", options=ReadOptions(tz="UTC"), columns={}).entries


def test_a_cross_beside_ticks_says_that_it_was_not_done(tmp_path: Path) -> None:
    head = "date,point,adjusted,slope %\n"
    done, left = entries(tmp_path, head + "2026-03-01 10:00,A1,✓,98.2\n2026-04-01 10:00,A1,✗,97.9\n")
    assert (done.action, left.action) == ("calibration", "verification")


def test_a_figure_of_nought_under_a_word_for_work_is_no_box(tmp_path: Path) -> None:
    head = "date,point,slope %,zero calibration [mV]\n"
    found = entries(tmp_path, head + "2026-03-01 10:00,A1,98.2,0\n2026-04-01 10:00,A1,97.9,0\n")
    assert all(0.0 in row.figures.values() for row in found)


@pytest.mark.parametrize("value", ["", "<v></v>"])
def test_formulas_without_a_value_do_not_move_what_is_shown_in_per_cent(value: str) -> None:
    out = BytesIO()
    book = xlsxwriter.Workbook(out)
    sheet, percent = book.add_worksheet("Data"), book.add_format({"num_format": "0.0%"})
    sheet.write_row(0, 1, ["slope", "plain"])
    for row in range(1, 4):
        sheet.write_number(row, 1, 0.864, percent)
        sheet.write_number(row, 2, 0.5)
    sheet.write_formula(1, 0, "=B9", None, 7)
    sheet.write_formula(1, 4, "=B9", percent, 7)
    book.close()
    emptied = BytesIO()
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(emptied, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name.endswith("sheet1.xml"):
                data = re.sub(rb"(</f>)<v>7</v>", rb"\1" + value.encode(), data)
            new.writestr(name, data)
    assert percent_cells(emptied.getvalue(), "Data") == {0: [1, 2, 3]}
    frame = Workbook(emptied.getvalue()).sheet("Data")
    assert frame.to_series(0).to_list()[1:] == ["86.4", "86.4", "86.4"]
    assert [float(cell) for cell in frame.to_series(1).to_list()[1:]] == [0.5, 0.5, 0.5]


def test_a_list_packed_with_a_trend_is_what_it_is_alone(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        archive.writestr("trend.csv", "time,A1.PH\n2026-03-01T00:00:00Z,7.01\n2026-03-01T00:01:00Z,7.02\n")
        rows = "".join(f"0{day}.03.2026 09:30,A1,7.0{day},7.1{day},calm\n" for day in range(1, 6))
        archive.writestr("list.csv", "date,sample point,lab pH,online pH,remark\n" + rows)
    assert [kind for _, kind in packed_apart(tmp_path / "all.zip")] == ["samples"]


def test_siemens_a_metre_may_be_written_with_a_power() -> None:
    assert quantities("S·m⁻¹") == quantities("S/m") != ()
