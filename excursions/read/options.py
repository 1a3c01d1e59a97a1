"""What goes into the reading room beside the files.

Apart from what comes out of it, because settings state options and no frame is needed for them: what says when a site
last ran is not to load the library of frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from excursions.plant import Plant


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What the exports say to whoever reads the logs beside them.

    orders : orders of day and month in which their dates are written, each once
    until : end of their record, ns UTC; None when there is none
    """

    orders: tuple[str, ...] = ()
    until: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """What the user states about the files; an empty field is decided from the data, and the decision listed.

    Attributes
    ----------
    tz : str
        IANA zone of times that carry none; empty: what the file states, else UTC.
    plant_zone : str
        IANA zone of the register, for times for which neither the user nor the file states one.
    decimal_mark : str
        ``.`` or ``,``.
    separator : str
        One character, or ``fixed`` for columns of fixed width.
    date_order : str
        ``day-first``, ``month-first`` or ``year-first``.
    encoding : str
        Name of the text encoding.
    sheet : str
        Name of the worksheet, or of the table in a data base file; empty: all that hold readings.
    quality_words : mapping of str to str
        Status text or code -> ``good``, ``uncertain`` or ``bad``; goes before the built-in table.
    date_system : str
        ``1900`` or ``1904``: first year of spreadsheet day numbers; empty: what the workbook states, else 1900.
    mixed_units : str
        ``convert`` (also empty): readings of a tag in a second unit are converted to its first unit where both
        measure the same; ``apart``: they are a signal of their own, ``TAG [unit]``, as those that cannot be converted are.
    max_unpacked_bytes : int
        A packed file that grows beyond this is refused.
    max_ratio : int
        A packed file that grows by more than this factor is refused as a likely bomb.
    spill_bytes : int
        Readings beyond this many bytes are kept in an unnamed temporary file instead of memory.
    block_bytes : int
        Text is read in blocks of about this size.
    show_rows : int
        How many first rows of each table are to be shown beside what was understood of them.
    apart : frozenset of str
        Files inside archives that are no exports (``archive.zip!member``) and are passed by.
    beside : Beside
        What the exports of the same run say, for logs and lists whose own dates leave their order open.
    """

    tz: str = ""
    plant_zone: str = ""
    decimal_mark: str = ""
    separator: str = ""
    date_order: str = ""
    encoding: str = ""
    sheet: str = ""
    quality_words: Mapping[str, str] = field(default_factory=dict)
    date_system: str = ""
    mixed_units: str = ""
    max_unpacked_bytes: int = 64 * 2**30
    max_ratio: int = 400
    spill_bytes: int = 600 * 2**20
    block_bytes: int = 8 * 2**20
    show_rows: int = 0
    apart: frozenset[str] = frozenset()
    beside: Beside = field(default_factory=Beside)

    def for_plant(self, plant: Plant) -> ReadOptions:
        """These options, with the register's zone and quality words where the user stated none.

        A file that states its zone keeps it: the register says where the plant stands, not how each export was made.
        """
        words = {**plant.quality_words, **self.quality_words}
        return replace(self, plant_zone="" if plant.zone == "UTC" else plant.zone, quality_words=words)

    def with_exports(self, orders: Iterable[Iterable[str]], until: int | None) -> ReadOptions:
        """These options for the logs beside exports of these date orders, whose record ends at `until` [ns UTC]."""
        known = tuple(sorted({order for each in orders for order in each}))
        return replace(self, beside=Beside(orders=known, until=until))
