"""Where everything of a site lies, and how a new one is made."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from excursions.errors import UsageError
from excursions.records import short_id
from excursions.site.durable import make_folder, write_file
from excursions.site.schedule import schedule_files
from excursions.site.settings import TEMPLATE, load_settings

REGISTER_TEMPLATE = """\
# The plant of this site, as for "excursions scan --register".  What is not stated here is worked out from the exports.
# To begin with what an export shows:  excursions register EXPORT... --out register.toml

# [plant]
# name = "..."
# zone = "Europe/Vienna"
"""

_FOLDERS = ("inbox", "kept", "archive", "findings", "reports", "aside", "logs", "schedule")


@dataclass(frozen=True, slots=True)
class Site:
    """The paths of a site."""

    root: Path

    @property
    def settings(self) -> Path:
        """Settings, written by people."""
        return self.root / "site.toml"

    @property
    def register(self) -> Path:
        """The plant register, written by people."""
        return self.root / "register.toml"

    @property
    def inbox(self) -> Path:
        """Untrusted files to be taken in."""
        return self.root / "inbox"

    @property
    def kept(self) -> Path:
        """Copies of all files taken."""
        return self.root / "kept"

    @property
    def archive(self) -> Path:
        """Parquet by point and month."""
        return self.root / "archive"

    @property
    def findings(self) -> Path:
        """Remembered results of searches."""
        return self.root / "findings"

    @property
    def reports(self) -> Path:
        """Pages, tables, digest."""
        return self.root / "reports"

    @property
    def aside(self) -> Path:
        """Damaged files."""
        return self.root / "aside"

    @property
    def logs(self) -> Path:
        """One line a night."""
        return self.root / "logs"

    @property
    def ledger(self) -> Path:
        """The ledger."""
        return self.root / "ledger.sqlite"

    @property
    def ledger_copy(self) -> Path:
        """The ledger as it was after the last run."""
        return self.root / "ledger-copy.sqlite"

    @property
    def lock(self) -> Path:
        """Held by the run that is at work."""
        return self.root / "lock"

    def refused_of(self, sha256: str) -> Path:
        """Rows of a kept file that could not be used."""
        return self.kept / sha256 / "refused.csv"

    def inside(self, relative: str) -> Path:
        """A path of the ledger as a path of this site.

        Raises
        ------
        UsageError
            If it would lead out of the folder.
        """
        if os.path.isabs(relative) or ".." in Path(relative).parts:
            raise UsageError(found=f'the path "{relative}" in the ledger', expected="a path inside the site")
        return self.root / relative


def init_site(root: Path) -> Site:
    """Make the folder of a new site; what is there already stays as it is, but for ``schedule/``, which follows the settings.

    Raises
    ------
    UsageError
        If the folder holds something that is no site, or settings that cannot be used.
    """
    site = Site(root.absolute())
    if site.root.exists() and not site.settings.exists():
        foreign = [] if site.root.is_dir() else [site.root]
        foreign += (
            sorted(p for p in site.root.iterdir() if p.name not in (*_FOLDERS, "register.toml", "lock"))
            if not foreign
            else []
        )
        if foreign:
            raise UsageError(
                found=f'"{foreign[0].name}" in {site.root}',
                expected="an empty folder, a new name or a site",
                mend="name another folder",
            )
    for name in _FOLDERS:
        make_folder(site.root / name)
    for path, text in ((site.register, REGISTER_TEMPLATE), (site.settings, TEMPLATE)):
        if not path.exists():
            write_file(path, text.encode())
    for name, text in schedule_files(site.root, load_settings(site.settings).schedule).items():
        write_file(site.root / "schedule" / name, text.encode())
    return site


def folder_name(name: str) -> str:
    """A folder or file name for any text: a readable part and ten digits that depend on the exact text."""
    plain = re.sub(r"[^A-Za-z0-9._-]+", "_", name).strip("._-")[:40]
    return f"{plain or 'x'}-{short_id('folder', name)}"
