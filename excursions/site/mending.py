"""A damaged ledger is set aside; the copy behind it takes its place, or one begun anew from the kept copies."""

from __future__ import annotations

import json
from pathlib import Path

from excursions.site.durable import make_folder, move_in, remove, sync_folder, write_file
from excursions.site.layout import Site
from excursions.site.ledger import Ledger, LedgerDamagedError, copy_is_sound, open_ledger

NAMES = "names.json"  # beside each kept file: under which names, in which order it came


def sound_ledger(site: Site, remarks: list[str]) -> Ledger:
    """Open the ledger; where it is damaged or missing, bring back the best there is and say so.

    What only the ledger knew since its last copy (notes, nights) cannot be brought back; files, archive and events
    can, because the next steps take in again every kept file that the ledger does not name.
    """
    if site.ledger.exists() or not _ever_kept(site):
        try:
            if site.ledger.exists() and not site.ledger.stat().st_size and _ever_kept(site):
                raise LedgerDamagedError("it is empty")  # and not a new one: files were taken already
            return open_ledger(site.ledger)
        except LedgerDamagedError as error:
            remarks.append(f"the ledger was damaged ({error}) and is set aside as {_set_aside(site).name}")
    if copy_is_sound(site.ledger_copy):
        write_file(site.ledger, site.ledger_copy.read_bytes())
        try:
            found = open_ledger(site.ledger)
        except LedgerDamagedError:
            remove(site.ledger)
        else:
            remarks.append(
                "the copy of the ledger from the run before took its place; later files are taken in again"
            )
            return found
    remarks.append(
        "the ledger was begun anew from the kept copies; notes of people and first nights are lost with it"
    )
    return open_ledger(site.ledger)


def _ever_kept(site: Site) -> bool:
    return any(site.kept.glob(f"*/{NAMES}"))


def _set_aside(site: Site) -> Path:
    journal = site.ledger.with_name(f"{site.ledger.name}-journal")
    target = free_name(site.aside / "ledger.sqlite")
    make_folder(site.aside)
    move_in(site.ledger, target)
    if journal.exists():
        move_in(journal, target.with_name(f"{target.name}-journal"))
    sync_folder(site.root)
    return target


def set_aside(site: Site, path: Path) -> Path:
    """Move a damaged file out of the way, without ever overwriting one that lies there."""
    target = free_name(site.aside / path.name)
    move_in(path, target)
    return target


def free_name(path: Path) -> Path:
    """The first name of this kind that is not taken."""
    number = 1
    while (found := path.with_name(f"{path.stem}.{number}{path.suffix}")).exists():
        number += 1
    return found


def kept_names(folder: Path) -> list[tuple[str, int, str]]:
    """Names and arrivals of a kept file: (name in the inbox, arrival, name of the copy)."""
    found = json.loads((folder / NAMES).read_text(encoding="utf-8"))
    return [(str(name), int(arrival), str(copy)) for name, arrival, copy in found]
