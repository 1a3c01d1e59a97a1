"""Tables and pages of a conclusion into ``reports/``: pages only where their content or the file is not what it was."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from excursions.site.durable import remove, sync_folder

if TYPE_CHECKING:
    from excursions.report.result import ScanResult
    from excursions.site.evidence import Known
    from excursions.site.tasks import Task
    from excursions.site.work import Work

# Writes the pages of these points, those that are missing, and the overview into a folder.
Pages = Callable[["ScanResult", Path, frozenset[str]], None]
OWN = "digest."  # files of the digest, which are written each night that tells something


def publish(
    work: Work,
    pages: Pages,
    result: ScanResult,
    known: Known,
    wanted: Sequence[Task],
    *,
    display_units: str,
    key: str,
) -> None:
    """Write tables and changed pages, flushed to the disk, then name in the ledger what lies there and for which state."""
    from excursions.report.write import write_tables
    from excursions.site.account import refused_rows
    from excursions.site.pages import page_contents

    reports = work.site.reports
    for name in lost_reports(work):
        remove(reports / name)  # so that whoever writes pages finds them missing, not merely other
    write_tables(result, refused_rows(work, known), reports)
    contents = page_contents(result, wanted, display_units)
    before = {row["point"]: row["content"] for row in work.ledger.rows("SELECT * FROM pages")}
    there = (reports / "index.html").exists()
    changed = frozenset(
        name for name, content in contents.items() if not there or before.get(name) != content
    )
    pages(result, reports, changed)
    for folder in (reports, *(path for path in sorted(reports.iterdir()) if path.is_dir())):
        sync_folder(folder)
    with work.ledger.transaction() as connection:
        connection.execute("DELETE FROM pages")
        connection.executemany("INSERT INTO pages VALUES (?, ?)", sorted(contents.items()))
        work.ledger.set_meta("reports", json.dumps(_sizes(reports), ensure_ascii=False))
        work.ledger.set_meta("published", key)


def lost_reports(work: Work) -> list[str]:
    """Report files that are missing, or of another size than was written; empty before anything was."""
    now = _sizes(work.site.reports)
    written = json.loads(work.ledger.meta("reports") or "{}")
    return sorted(name for name, size in written.items() if now.get(name) != size)


def _sizes(reports: Path) -> dict[str, int]:
    """Every report file by its path within the folder, and its size."""
    found = {}
    for folder, _, _ in os.walk(reports):
        within = f"{os.path.relpath(folder, reports)}{os.sep}".removeprefix(f".{os.sep}")
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.is_file(follow_symlinks=False) and not entry.name.startswith((OWN, ".")):
                    found[f"{within}{entry.name}"] = entry.stat(follow_symlinks=False).st_size
    return dict(sorted(found.items()))
