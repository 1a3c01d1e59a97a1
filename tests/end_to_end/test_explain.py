"""The explain command as a person types it: on eighty columns, as JSON, as a page, and when it cannot."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.end_to_end.conftest import PLANT, run_command


@pytest.mark.slow
def test_a_reading_after_a_steam_out_is_explained_in_the_terminal_and_on_a_page(tmp_path: Path) -> None:
    done = run_command(
        "explain", PLANT, "--point", "f1-ph2", "--at", "27 Jun 14:05", "--out", tmp_path, "--display-units", "degF"
    )  # fmt: skip
    assert done.status == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == "DOUBT  F1-PH2 (pH), at 27 Jun 2026 14:05"
    assert max(len(line) for line in lines if not line.startswith("Page: ")) <= 80
    for head in (
        "Since ",
        "How wrong ",
        "Why ",
        "Checked ",
        "Do next ",
        "Take care ",
        "Could hide ",
        "Known ",
    ):
        assert any(line.startswith(head) for line in lines), head
    assert "295 °F" in done.out  # 146.1 degC
    assert "°C" not in done.out
    assert not re.search(r"\d K\b", done.out)  # differences are converted too
    page = Path(lines[-1].removeprefix("Page: "))
    assert page.parent == tmp_path
    text = page.read_text(encoding="utf-8")
    assert "What else it could have been" in text
    assert (tmp_path / "assets" / "plotly.min.js").is_file()


@pytest.mark.slow
def test_machines_get_the_same_answer_and_a_wrong_name_gets_the_nearest(tmp_path: Path) -> None:
    only = PLANT / "long_export_wastewater_1.csv.gz"
    done = run_command(
        "explain", only, "--point", "QM.N1-PH", "--from", "2026-04-01", "--to", "2026-04-02", "--json"
    )
    assert done.status == 0, done.err
    facts = json.loads(done.out)
    assert facts["point"] == "QM.N1-PH"
    assert facts["focus"]["to"].endswith("Z")
    assert facts["page"] is None
    assert {check["outcome"] for check in facts["checks"]}
    wrong = run_command("explain", only, "--point", "N1-PG")
    assert wrong.status == 2
    assert 'did you mean "QM.N1-PH"' in wrong.err.replace("Did", "did")
