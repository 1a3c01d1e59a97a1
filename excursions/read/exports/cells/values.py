"""Whole columns of written values to numbers, exact to the last digit; what is no number becomes a status text.

The fast way is one cast for the column.  Texts it does not read are looked at once each: numbers with
thousands marks, units or comparison marks around them, two-state words, status words; the rest is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import polars as pl

from excursions.read.exports.times.timeshapes import MONTHS
from excursions.read.text.fold import plain, unwrapped
from excursions.read.text.numbers import GIVE_OR_TAKE, MARKS, without_give_or_take
from excursions.read.text.quality import QualityPlan, fold_word, is_quality_text, quality_of
from excursions.read.text.units import is_unit
from excursions.read.text.words import STATE_WORDS, is_status_text
from excursions.records import BAD, GOOD, UNCERTAIN, BoolArray, ByteArray, FloatArray, IndexArray

# While a file is read, a two-state word keeps a code of its own: whether "Off" is the state of a valve or the
# end of a pH reading is decided when the whole tag is known.
STATE_OFF, STATE_ON = 16, 17

_MARK = f"[{MARKS}]{{0,2}}"
_NUMBER = re.compile(
    rf"(?P<mark>{_MARK})\s*(?P<sign>[+-]?)\s?(?P<digits>\d[\d.,' ]*|[.,]\d+)(?P<power>[eEdD][+-]?\d+)?(?P<rest>.*)",
    re.S,
)
_GROUPED = {
    ".": re.compile(r"\d{1,3}(?:[,' ]\d{3})+(?:\.\d*)?|\d+(?:\.\d*)?|\.\d+"),
    ",": re.compile(r"\d{1,3}(?:[.' ]\d{3})+(?:,\d*)?|\d+(?:,\d*)?|,\d+"),
}
_UNIT = re.compile(
    r"(?![xXeEdD][+-]?\d*$)[^\W\d_%°‰][\w%°‰/.^²³·*-]{0,11}|[%°‰][\w ]{0,8}|[^\W\d_]{1,6} ?/ ?\w{1,6}|\([^\W\d_%]{1,8}\)"
)
NOTHING_STATED: Mapping[str, int] = MappingProxyType({})
_LONGEST_NUMBER = 64  # with its unit and all; what is longer is text, and patterns need not try
_MOST_DIGITS = 400  # longer strings of digits are no readings


@dataclass(frozen=True, slots=True)
class Reading:
    """One text understood: number or status word, its quality, the unit behind it."""

    value: float
    quality: int
    word: str = ""
    unit: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Values:
    """value (n,), NaN where no number; quality (n,) (see STATE_OFF); ok (n,) False where refused; empty (n,);

    odd: the distinct texts that were not plain numbers, each with what it means and the rows (indices) it stood in.
    """

    value: FloatArray
    quality: ByteArray
    ok: BoolArray
    empty: BoolArray
    odd: tuple[tuple[str, Reading | None, IndexArray], ...] = ()


def parse_values(column: pl.Series, decimal: str, own: Mapping[str, int] = NOTHING_STATED) -> Values:
    """Values of a column (n,), numeric or text, written with this decimal mark.

    `own` is the user's meaning of texts and figures, folded (:func:`excursions.read.text.quality.user_words`).
    """
    if column.dtype.is_numeric() or column.dtype == pl.Boolean:
        return _with_stated(_typed(column), own)
    if column.dtype != pl.String:
        column = column.cast(pl.String, strict=False)
    empty = (column.is_null() | (column == "").fill_null(True)).to_numpy().copy()
    plainly = column.str.replace(",", ".", literal=True) if decimal == "," else column
    if decimal == ",":
        # A point in a column of decimal commas is a thousands mark: leave it to the careful way.
        plainly = pl.select(
            pl.when(column.str.contains(".", literal=True)).then(None).otherwise(plainly)
        ).to_series()
    number = plainly.cast(pl.Float64, strict=False)
    value = number.fill_null(np.nan).to_numpy().copy()
    left = np.flatnonzero(~np.isfinite(value) & ~empty)
    quality = np.zeros(value.size, np.uint8)
    quality[empty] = BAD
    ok = np.ones(value.size, np.bool_)
    odd = _careful(column, decimal, own, left, value, quality, ok, empty) if left.size else ()
    return _with_stated(Values(value, quality, ok, empty, odd), own)


def _with_stated(values: Values, own: Mapping[str, int]) -> Values:
    """Figures that the user states to be bad or uncertain, such as -9999."""
    odd = list(values.odd)
    for word, meant in own.items():
        figure = _figure(word)
        if meant == GOOD or figure is None:
            continue
        rows = np.flatnonzero(values.value == figure)
        if rows.size:
            values.quality[rows] = np.maximum(values.quality[rows], meant)
            odd.append((word, Reading(figure, meant, word), rows))
    return replace(values, odd=tuple(odd))


def _figure(word: str) -> float | None:
    try:
        return float(word)
    except ValueError:
        return None


def _typed(column: pl.Series) -> Values:
    if column.dtype == pl.Boolean:
        empty = column.is_null().to_numpy()
        on = column.fill_null(False).to_numpy()
        return Values(
            on.astype(np.float64),
            np.where(empty, BAD, GOOD).astype(np.uint8),
            np.ones(on.size, np.bool_),
            empty,
        )
    total = column.sum() if column.null_count() == 0 else None
    if total is not None and np.isfinite(float(total)):
        size = len(column)
        value = column.cast(pl.Float64).to_numpy()
        return Values(value, np.zeros(size, np.uint8), np.ones(size, np.bool_), np.zeros(size, np.bool_))
    empty = column.is_null().to_numpy()
    value = column.cast(pl.Float64).fill_null(np.nan).to_numpy()
    strange = ~np.isfinite(value)
    if not strange.any():
        return Values(value, np.zeros(value.size, np.uint8), np.ones(value.size, np.bool_), empty)
    missing = strange & ~empty
    value = np.where(strange, np.nan, value)
    rows = np.flatnonzero(missing)
    odd = (("NaN", Reading(np.nan, BAD, "NaN"), rows),) if rows.size else ()
    return Values(
        value, np.where(strange, BAD, GOOD).astype(np.uint8), np.ones(value.size, np.bool_), empty, odd
    )


def _careful(
    column: pl.Series,
    decimal: str,
    own: Mapping[str, int],
    left: IndexArray,
    value: FloatArray,
    quality: ByteArray,
    ok: BoolArray,
    empty: BoolArray,
) -> tuple[tuple[str, Reading | None, IndexArray], ...]:
    """Understand each distinct text once and write what it means into the arrays."""
    frame = pl.DataFrame({"text": column.gather(left), "row": left})
    groups = frame.group_by("text", maintain_order=True).agg("row")
    odd: list[tuple[str, Reading | None, IndexArray]] = []
    for text, rows in zip(groups["text"].to_list(), groups["row"], strict=True):
        index = rows.to_numpy()
        if not text.strip():
            empty[index], quality[index], value[index] = True, BAD, np.nan
            continue
        stated = own.get(fold_word(text)) if own else None
        meant = Reading(np.nan, stated, text.strip()) if stated is not None else understand(text, decimal)
        if meant is None:
            value[index], quality[index], ok[index] = np.nan, BAD, False
        else:
            value[index], quality[index] = meant.value, meant.quality
        if meant is None or meant.word or meant.unit or meant.mark:
            odd.append((text, meant, index))
    return tuple(odd)


def understand(text: str, decimal: str) -> Reading | None:
    """What one text in a value column means, or None when it must be refused.

    A text that does not begin like a number is a status word.  One that does must be a number to the end,
    save for a unit or a status word behind it.
    """
    if len(text) > _MOST_DIGITS:
        return None if text.lstrip(" +-")[:1].isdecimal() else Reading(np.nan, BAD, text[:_LONGEST_NUMBER])
    said = unwrapped(plain(text))
    folded = said.casefold()
    if folded in STATE_WORDS:
        return Reading(np.nan, STATE_ON if STATE_WORDS[folded] else STATE_OFF, text.strip())
    if is_date_damage(said):
        return None
    if is_status_text(said):
        return Reading(np.nan, BAD, text.strip())
    if _IN_BRACKETS.fullmatch(said):
        return None  # negative, or doubtful: nobody says which
    said, before = _without_unit_before(said)
    match = _NUMBER.fullmatch(written(said, decimal))
    if match is None:
        return Reading(np.nan, BAD, text.strip()) if not re.match(r"[+-]*[.,]?\d", said) else None
    digits = match["digits"].rstrip(" '")
    if len(digits) > _MOST_DIGITS or not _GROUPED[decimal].fullmatch(digits):
        return None
    power = (match["power"] or "").lower().replace("d", "e")  # Fortran writes 1.5D+00
    rest = match["rest"].strip()
    if match["rest"] == "k" and not power:  # "25.2k" of a display; a capital K is a kelvin
        power, rest = "e3", ""
    number = float(match["sign"] + _bare(digits, decimal) + power)
    found = _with_rest(number, match["mark"].strip("="), rest, text.strip())
    return replace(found, unit=found.unit or before) if found is not None and before else found


_BEFORE = re.compile(r"([^\W\d_]{1,5}|°[CF])[\s:=]{1,3}(?=[+-]?[.,]?\d)")


def _without_unit_before(said: str) -> tuple[str, str]:
    """A number without a unit that stands before it (``pH 7.02``), and that unit."""
    match = None if said[:1] in "0123456789.,+-<>" else _BEFORE.match(said)
    return (said[match.end() :], match[1]) if match and is_unit(match[1]) else (said, "")


# A minus behind its number, a power of ten written out, a raised point.
_MINUS_BEHIND = re.compile(r"(\d[\d.,' ]*)-")
_POWER = re.compile(r"(.*\d)\s*[x×*·]\s*10\s*\^?\s*([+-]?\d{1,2})")
_RAISED = re.compile(r"(?<=\d)·(?=\d)")
_IN_BRACKETS = re.compile(r"\([\d.,' ]*\d[\d.,' ]*\)")


def written(text: str, decimal: str = ".") -> str:
    """A number in the common writing: ``12.5-``, ``1.2 x 10^3`` and ``7·01`` as -12.5, 1.2e3 and 7.01."""
    if match := _MINUS_BEHIND.fullmatch(text):
        return f"-{match[1].strip()}"
    if match := _POWER.fullmatch(text):
        return f"{match[1]}e{match[2]}"
    return _RAISED.sub(decimal, text) if "·" in text else text


def is_date_damage(text: str) -> bool:
    """Whether a spreadsheet has made a date of a number: 2.7 became "02. Jul" or "2-Jul"."""
    match = re.fullmatch(
        r"(?:\d{1,2}[.\-/ ]*([^\W\d]{3,9})\.?|([^\W\d]{3,9})[.\-/ ]*\d{2,4})", plain(text).strip()
    )
    return match is not None and (match[1] or match[2]).casefold() in MONTHS


def _bare(digits: str, decimal: str) -> str:
    """The digits with a point for the decimal mark and nothing else."""
    kept = re.sub(r"[.' ]" if decimal == "," else r"[,' ]", "", digits)
    return kept.replace(",", ".")


def _with_rest(number: float, mark: str, rest: str, text: str) -> Reading | None:
    if not np.isfinite(number):
        return Reading(np.nan, BAD, text)
    quality = UNCERTAIN if mark else GOOD
    if not rest:
        return Reading(number, quality, mark=mark)
    if rest.strip("()[] ").casefold() in ("bad", "b"):
        return Reading(np.nan, BAD, text)
    if rest.strip("()[] ").casefold() in ("good", "g", "ok"):
        return Reading(number, quality, mark=mark)
    if rest[0] in "([" and is_quality_text(rest):
        known = quality_of(rest, QualityPlan())
        return (
            Reading(np.nan, BAD, text)
            if known == BAD
            else Reading(number, max(quality, known or GOOD), mark=mark)
        )
    if rest.strip("()[]* ").casefold() in (
        "?",
        "",
        "uncertain",
        "u",
        "questionable",
        "q",
        "s",
        "substituted",
        "*",
    ):
        return Reading(number, UNCERTAIN, mark=mark or rest)
    if GIVE_OR_TAKE.match(rest):
        return _with_rest(number, mark, without_give_or_take(rest), text)
    if _UNIT.fullmatch(rest):
        return Reading(number, quality, unit=rest, mark=mark)
    return None


_PLAIN_NUMBER = re.compile(
    rf"\s*{_MARK}\s*[+-]? ?(?:\d[\d.,' \u00a0\u202f’]*|[.,]\d+)(?:[eEdD][+-]?\d+)?\s*(?:"
    + GIVE_OR_TAKE.pattern
    + r"\s*)?(?:[^\W\d][^\s;|]{0,8}|[%°]\S{0,6}|[(\[][^()\[\]]{1,14}[)\]])?\s*"
)


def looks_numeric(text: str) -> bool:
    """Whether a text is a number in either decimal writing, perhaps with a mark or a unit."""
    return (
        len(text) <= _LONGEST_NUMBER
        and bool(_PLAIN_NUMBER.fullmatch(_simple(text)))
        and not is_date_damage(text)
    )


def _simple(text: str) -> str:
    said = text if text.isascii() and text[:1] not in "='\"" else unwrapped(plain(text))
    said = _without_unit_before(said.strip())[0]
    return said.strip("() ") if _IN_BRACKETS.fullmatch(said) else written(said)
