"""How the times of a column are written, and what reading them gives."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.clock import TimeArray
from excursions.records import BoolArray

MILLISECOND = 1_000_000


ORDERS = ("day-first", "month-first", "year-first")


LETTERS = {"day-first": "dmy", "month-first": "mdy", "year-first": "ymd"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePlan:
    """How the times of a column are written.

    parts : what the columns hold: ``date`` (with or without a clock), then perhaps ``clock`` (or ``hours``, ``hhmm``, ``h.mm``,
        ``hhmmss`` as numbers, ``minute of day``, ``second of day``; ``minutes`` and ``seconds`` behind hours), ``half`` (AM and PM), ``milliseconds``, ``zone``; or ``year`` and the other parts of
        :data:`excursions.read.exports.times.calendartimes.PARTS`, a column each
    kind : ``text``, ``typed`` or a key of :data:`NUMBER_TIMES`
    fast : strptime pattern, empty when only the general way reads it
    zoned : whether `fast` reads an offset
    flagged : whether what is written is no offset but whether summer time holds (:data:`SUMMER_FLAGS`)
    order : which of two short numbers is the day (:data:`ORDERS`), empty when no date needs it
    shift : ns to add (spreadsheets that count from 1904); example : a time as the column writes it
    """

    parts: tuple[str, ...] = ("date",)
    kind: str = "text"
    fast: str = ""
    zoned: bool = False
    flagged: bool = False
    order: str = ""
    shift: int = 0
    example: str = ""


@dataclass(frozen=True, slots=True)
class Times:
    """time (n,) ns; ok (n,) where the text was understood; zoned (n,) where an offset was written (UTC then).

    passes : whether an hour was marked as the first or the second pass of the one that comes twice (``02A``, ``02B``)
    """

    time: TimeArray
    ok: BoolArray
    zoned: BoolArray
    passes: bool = False
