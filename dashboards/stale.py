"""Pages of an earlier run that no point of this run has: taken away, but only what this tool wrote itself.

A manifest beside the pages holds the digest of each.  A page that somebody changed or put there is left alone.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from pathlib import Path

from excursions.report.write import write_whole

MANIFEST = "pages.json"


def digest(content: bytes) -> str:
    """The identity of a page's bytes."""
    return hashlib.sha256(content).hexdigest()


def clear_stale(folder: Path, written: Mapping[str, str], current: Collection[str]) -> tuple[str, ...]:
    """Remove pages of earlier runs and write the manifest of what is there now.

    Parameters
    ----------
    folder : Path
        Where the pages lie.
    written : mapping of file name to digest
        Pages written by this run.
    current : collection of file names
        Every page that has a point now, written by this run or kept from an earlier one.

    Returns
    -------
    tuple of str
        Names of the pages removed.
    """
    before = _manifest(folder)
    removed = []
    for name in sorted(before.keys() - set(current)):
        path = folder / name
        if path.is_file() and digest(path.read_bytes()) == before[name]:
            path.unlink()
            removed.append(name)
    kept = {name: before[name] for name in before.keys() & set(current)} | dict(written)
    if folder.is_dir():
        text = json.dumps({"pages": kept}, indent=1, sort_keys=True) + "\n"
        write_whole(folder / MANIFEST, text.encode())
    return tuple(removed)


def _manifest(folder: Path) -> dict[str, str]:
    """Names and digests of an earlier run; names that could lead out of the folder are no names."""
    try:
        pages = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["pages"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    if not isinstance(pages, dict):
        return {}
    return {
        n: d for n, d in pages.items() if isinstance(d, str) and Path(n).name == n and n.endswith(".html")
    }
