"""A file taken while it was written: what was decided of its half is not said of the whole."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from excursions.site.durable import begins_with
from excursions.site.evidence import _export_decisions
from excursions.site.layout import Site

WHOLE = b"time,A\n2026-03-01T00:00:00Z,7.0\n2026-03-01T00:01:00Z,7.1\n"
HALF = WHOLE[:-6]


def version(site: Site, name: str, content: bytes, *choices: str) -> Any:
    kept = site.root / "kept" / hashlib.sha256(content).hexdigest()[:8]
    kept.parent.mkdir(exist_ok=True)
    kept.write_bytes(content)
    decisions = [{"subject": "b.csv", "what": c, "why": "no zone"} for c in choices]
    return {
        "name": name,
        "kept": kept.relative_to(site.root).as_posix(),
        "bytes": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
        "facts": json.dumps({"decisions": decisions}),
    }


@pytest.mark.parametrize(
    ("first", "later_name", "said"),
    [
        (HALF, "a.csv", ["utc"]),
        (HALF, "b.csv", ["local", "utc"]),  # another file that begins alike is no later version
        (HALF.replace(b"7.0", b"6.0"), "a.csv", ["local", "utc"]),  # nor is one that begins otherwise
        (WHOLE, "a.csv", ["local", "utc"]),  # nor the same again
    ],
)
def test_what_was_decided_of_half_a_file_goes_when_the_whole_came(
    tmp_path: Path, first: bytes, later_name: str, said: list[str]
) -> None:
    site = Site(tmp_path)
    files = [version(site, "a.csv", first, "local"), version(site, later_name, WHOLE, "utc")]
    assert [decision.what for decision in _export_decisions(site, files)] == said


def test_a_file_begins_with_what_it_was_before_it_grew(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(WHOLE)
    assert begins_with(path, len(HALF), hashlib.sha256(HALF).hexdigest())
    assert not begins_with(path, len(HALF) - 1, hashlib.sha256(HALF).hexdigest())
    assert not begins_with(path, len(WHOLE), hashlib.sha256(WHOLE).hexdigest())
    assert not begins_with(tmp_path / "none.csv", 1, "")
