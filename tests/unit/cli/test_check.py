"""The check command: what it says of every file, and that it says it whatever the file is."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from excursions.cli.app import app
from excursions.cli.check_facts import check_facts
from excursions.cli.checked import check_lines
from excursions.pipeline.check import check
from tests.builders import grid, level, on_exception, quantised

CORPUS = Path("tests/corpus/files")
ROWS = "time;AI-1.PV [pH];TI-1.PV\n"


def wide(folder: Path, rows: int = 400) -> Path:
    x, t = quantised(level(rows, 7.0, 0.03, seed=1), 0.01), quantised(level(rows, 25.0, 0.2, seed=2), 0.1)
    path = folder / "export.csv"
    times = np.datetime_as_string(grid(rows).astype("datetime64[ns]"), unit="s")
    text = "".join(f"{w};{a:.2f};{b:.1f}\n" for w, a, b in zip(times, x, t, strict=True))
    path.write_text(ROWS + text + f"{times[5]};{x[5]:.2f};{t[5]:.1f}\n" + "no time;7.0;25\n")
    return path


def said(*paths: Path, everything: bool = False) -> str:
    return "\n".join(check_lines(check(paths), everything=everything))


def test_the_first_rows_stand_beside_what_they_mean(tmp_path: Path) -> None:
    text = said(wide(tmp_path))
    assert "line 2      2024-01-01T00:00:00;7.01;25.0" in text
    assert "= 2024-01-01T00:00:00+00:00  AI-1.PV  7.01 pH  good" in text


def test_rows_add_up_and_the_refused_one_is_shown(tmp_path: Path) -> None:
    found = check([wide(tmp_path)])
    assert found.rows == {"read": 804, "used": 800, "repeated": 2, "contradicted": 0, "refused": 2}
    assert "804 read = 800 used + 2 repeated + 2 refused" in "\n".join(check_lines(found, everything=False))
    assert found.files[0].refused_rows[0]["line"] == 403


def test_every_signal_says_what_it_can_show(tmp_path: Path) -> None:
    text = " ".join(said(wide(tmp_path)).split())
    assert "By the clock, every 60 s" in text
    assert "a peak that lasts 60 s or longer leaves a sample" in text.replace("A peak", "a peak")
    assert "lat means that the reading moved by less than 0.01 pH" in text


def test_each_status_text_has_its_count_over_all_tags(tmp_path: Path) -> None:
    path = tmp_path / "e.csv"
    rows = [
        f"{tag},2024-03-01T00:{m:02d}:00Z,{'I/O Timeout' if m % 3 else 7 + m / 100}"
        for tag in "AB"
        for m in range(30)
    ]
    path.write_text("tag,time,value\n" + "\n".join(rows) + "\n")
    assert "40  taken as bad        I/O Timeout  (2 tags)" in said(path)


def test_every_file_is_named_with_what_it_was_taken_for(tmp_path: Path) -> None:
    wide(tmp_path)
    (tmp_path / "log.csv").write_text(
        "date,point,probe,action,slope [%],zero point [pH]\n2024-01-02,AI-1,P1,calibration,98.1,7.02\n"
    )
    (tmp_path / "lab.csv").write_text("sampled,point,value,unit\n2024-01-01 02:00,AI-1,7.05,pH\n")
    (tmp_path / "plant.toml").write_text('[plant]\nzone = "Europe/Vienna"\n')
    (tmp_path / "notes.md").write_text("hello")
    found = check([tmp_path])
    kinds = {Path(file.path).name: file.taken_for for file in found.files}
    assert kinds == {
        "export.csv": "export",
        "log.csv": "calibration log",
        "lab.csv": "laboratory samples",
        "plant.toml": "register",
        "notes.md": "ignored",
    }
    text = "\n".join(check_lines(found, everything=False))
    assert "= 2024-01-02T12:00:00+01:00  AI-1 probe P1" in text
    assert "slope 98.1 %; zero" in text
    assert "no table of readings in its first lines" in text


def test_patterns_and_standard_input_are_understood(tmp_path: Path) -> None:
    wide(tmp_path)
    assert check([tmp_path / "*.csv"]).files[0].rows == 804
    piped = CliRunner().invoke(app, ["check", "-"], input=wide(tmp_path).read_text())
    assert piped.exit_code == 0
    assert "804 read" in piped.output


@pytest.mark.parametrize("path", sorted(CORPUS.iterdir()), ids=lambda p: p.name)
def test_every_file_of_the_corpus_is_told_and_adds_up(path: Path) -> None:
    found = check([path])
    assert found.files
    assert found.rows["read"] == sum(
        found.rows[part] for part in ("used", "repeated", "contradicted", "refused")
    )
    text = check_lines(found, everything=True)
    assert max(len(line) for line in text if "line " not in line and "/" not in line) <= 90
    assert all(char.isprintable() for line in text for char in line)
    json.dumps(check_facts(found), allow_nan=False)


def test_a_file_that_cannot_be_read_ends_with_2_and_its_sentence(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"")
    (tmp_path / "b.csv").write_text("only,words\nhere,now\n")
    result = CliRunner().invoke(app, ["check", str(tmp_path / "a.csv"), str(tmp_path / "b.csv")])
    assert result.exit_code == 2
    assert " ".join(result.output.split()).count("not readable") >= 2
    assert "an empty file" in result.output


def many(tags: int, samples: int = 40) -> list[str]:
    return [
        f"T{n:05d},{t},{7 + (n + k) % 5 / 10}"
        for n in range(tags)
        for k, t in enumerate(np.datetime_as_string(grid(samples).astype("datetime64[ns]"), unit="s"))
    ]


def test_many_signals_are_counted_and_the_oddest_come_first(tmp_path: Path) -> None:
    lines = many(400)
    lines += [
        f"ODD,{t},7.0"
        for t in np.datetime_as_string(
            (grid(40) + np.r_[np.zeros(38), [9e17, 9e17]].astype("int64")).astype("datetime64[ns]"), unit="s"
        )
    ]
    path = tmp_path / "many.csv"
    path.write_text("tag,time,value\n" + "\n".join(lines) + "\n")
    found = check([path])
    text = check_lines(found, everything=False)
    assert found.signals[0].tag == "ODD"
    assert len(text) < 220
    assert any("and 395 more" in line for line in text)
    assert len(check_lines(found, everything=True)) > 400 * 5


def test_json_has_times_as_text_and_no_endless_numbers(tmp_path: Path) -> None:
    time, value = on_exception(grid(3000, 10.0), quantised(level(3000, 7.0, 0.05, seed=2), 0.01), 0.03, 600.0)
    path = tmp_path / "e.csv"
    stamps = np.datetime_as_string(time.astype("datetime64[ns]"), unit="s")
    path.write_text(
        "tag,time,value\n" + "".join(f"AI-1,{t},{v:.2f}\n" for t, v in zip(stamps, value, strict=True))
    )
    facts = json.loads(CliRunner().invoke(app, ["check", str(path), "--json"]).output)
    (signal,) = facts["signals"]
    assert signal["sampling"]["kind"] == "exception"
    assert math.isclose(signal["sampling"]["deadband"], 0.03)
    assert signal["first"] == "2024-01-01T00:00:00Z"
    assert signal["sampling"]["longest_silence_at"].startswith("2024-01-01T")
    assert facts["files"][0]["shown"][0]["readings"][0]["time"] == "2024-01-01T00:00:00+00:00"


def test_steps_are_told_in_the_unit_of_the_export(tmp_path: Path) -> None:
    """A reader has the rows of the file above the sentence: 0.52 mS/cm moves by thousandths of that, 98.6 degF by tenths."""
    x, t = quantised(level(400, 0.5, 0.01, seed=1), 0.001), quantised(level(400, 98.0, 0.5, seed=2), 0.1)
    times = np.datetime_as_string(grid(400).astype("datetime64[ns]"), unit="s")
    rows = "".join(f"{w};{a:.3f};{b:.1f}\n" for w, a, b in zip(times, x, t, strict=True))
    path = tmp_path / "export.csv"
    path.write_text("time;AI-1 LF [mS/cm];TI-1 [degF]\n" + rows)
    text = said(path)
    assert "Smallest step 0.001 mS/cm." in text
    assert "Smallest step 0.1 degF." in text
    facts = check_facts(check([path]))["signals"]
    assert {row["tag"]: "0.001 mS/cm" in row["words"]["flat"] for row in facts}["AI-1 LF"]  # type: ignore[attr-defined]
