"""One tag series in, one signal out, with the count of every row that did not make it and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_S, TimeArray, iso
from excursions.condition.bridged import bridged_stretches
from excursions.condition.lattice import resolution
from excursions.condition.order import Ordered, put_in_order
from excursions.condition.sampling import describe
from excursions.digits import written
from excursions.measurands import converted, to_canonical
from excursions.measurands import measurand as quantity_of
from excursions.read.text.aggregates import aggregate_of
from excursions.read.text.nothing import Code, figures_for_nothing
from excursions.records import BAD, Decision, FloatArray, IndexArray, Sampling, Signal, TagSeries


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditioned:
    """A signal and the account of its rows: rows == len(signal) + duplicates + conflicts."""

    signal: Signal
    rows: int
    duplicates: int
    conflicts: int
    decisions: tuple[Decision, ...]


def condition(
    series: TagSeries, *, measurand: str, unit: str = "", quality_words: Mapping[str, str] | None = None
) -> Conditioned:
    """Put one tag series in order and describe how it was recorded.

    Parameters
    ----------
    series : TagSeries
        As read; not changed.
    measurand : str
        Key of the measurand table; ``other`` keeps the unit as it stands.
    unit : str
        Unit as the register states it; empty takes the unit in the file, and that missing too, the canonical one.
    quality_words : mapping of text to quality
        As the register states them; a figure such as ``-9999`` stated as ``good`` is taken for a reading.

    Raises
    ------
    KeyError
        If `measurand` is not a key of the table.
    """
    ordered = put_in_order(series.time, series.value, series.quality)
    ordered, said = without_codes(series.tag, ordered, quality_words)
    value = _without_bad(ordered)
    factor, offset, final_unit, decisions = _conversion(series, measurand, unit)
    step = resolution(value) * abs(factor)
    if (factor, offset) != (1.0, 0.0):
        value = converted(value, (factor, offset))
    sampling = describe(
        ordered.time, value, ordered.quality, resolution=step, words=f"{series.tag} {series.description}"
    )
    sampling = _of_extremes(sampling, series.tag)
    breaks = sampling.longest_silence_s > sampling.gap_s
    segments = unbroken(ordered.time, sampling.gap_s if breaks else math.inf)
    bridged = bridged_stretches(ordered.time, value, segments, sampling)
    signal = Signal(
        tag=series.tag,
        unit=final_unit,
        time=ordered.time,
        value=value,
        quality=ordered.quality,
        sampling=with_bridges(sampling, ordered.time, bridged),
        segments=segments,
        bridged=bridged,
    )
    return Conditioned(
        signal=signal,
        rows=int(series.time.size),
        duplicates=ordered.duplicates,
        conflicts=ordered.conflicts,
        decisions=decisions + said + row_decisions(series.tag, ordered),
    )


def _of_extremes(sampling: Sampling, tag: str) -> Sampling:
    """The same, with what the name says where each value is the greatest or the least of its interval."""
    figure = aggregate_of(tag)[1]
    if figure not in ("greatest", "least") or sampling.kind not in ("grid", "averages", "interpolated"):
        return sampling
    return replace(sampling, kind="grid", extreme=figure, sure=True, why="its name says so")


def with_bridges(sampling: Sampling, time: TimeArray, bridged: IndexArray) -> Sampling:
    """The same sampling with the count and the longest [s] of these bridged index ranges, from end to end."""
    if not bridged.shape[0]:
        return sampling
    outer = np.minimum(bridged[:, 1], time.size - 1), np.maximum(bridged[:, 0] - 1, 0)
    longest = float((time[outer[0]] - time[outer[1]]).max()) / NS_PER_S
    return replace(sampling, bridged=int(bridged.shape[0]), bridged_longest_s=longest)


def unbroken(time: TimeArray, gap_s: float) -> IndexArray:
    """Index ranges [from, to), shape (k, 2), that no silence longer than `gap_s` cuts."""
    if not time.size:
        return np.empty((0, 2), dtype=np.int64)
    cuts = (
        np.flatnonzero(np.diff(time) > gap_s * NS_PER_S) + 1 if np.isfinite(gap_s) else np.empty(0, np.int64)
    )
    return np.column_stack([np.append(0, cuts), np.append(cuts, time.size)]).astype(np.int64)


def without_codes(
    tag: str, ordered: Ordered, quality_words: Mapping[str, str] | None
) -> tuple[Ordered, tuple[Decision, ...]]:
    """Figures that stand for no reading become bad ones, and what is to be said of them."""
    codes = figures_for_nothing(ordered.value, ordered.quality, quality_words)
    if not codes:
        return ordered, ()
    nothing = np.isin(ordered.value, [code.figure for code in codes])
    settled = replace(ordered, quality=np.where(nothing, BAD, ordered.quality).astype(np.uint8))
    return settled, tuple(_code_said(tag, code, iso(int(ordered.time[code.first]))) for code in codes)


def _code_said(tag: str, code: Code, first: str) -> Decision:
    many = f"{code.count} readings of" if code.count > 1 else "a reading of"
    return Decision(
        subject=tag,
        what=f"{many} {code.figure:.10g} taken as bad (first at {first})",
        why=f"recorders write this figure where they have no reading, and all others lie from {written(code.low, 4)} to {written(code.high, 4)}",
        option=f'"{code.figure:.10g}" = "good" under [quality_words] in the register',
    )


def _without_bad(ordered: Ordered) -> FloatArray:
    """Values with NaN for bad quality and for what is no number; a copy only when something changes."""
    lost = (ordered.quality == BAD) | np.isinf(ordered.value)
    return np.where(lost, np.nan, ordered.value) if lost.any() else ordered.value


def _conversion(series: TagSeries, key: str, stated: str) -> tuple[float, float, str, tuple[Decision, ...]]:
    """Factor, offset, unit of the signal, and what had to be assumed."""
    row = quantity_of(key)
    given = stated or series.unit
    if not given:
        taken = Decision(
            subject=series.tag,
            what=f"values taken as {row.unit}",
            why="neither the file nor the register gives a unit",
            option="state the unit of the point in the register",
        )
        needless = row.unit in ("", row.label)  # a quantity that has but one unit needs no remark
        return 1.0, 0.0, row.unit, () if needless else (taken,)
    found = to_canonical(key, given)
    if found is None:
        kept = Decision(
            subject=series.tag,
            what=f'values kept in "{given}"',
            why=f"not a known unit of {row.label}, whose unit is {row.unit}",
            option="state the unit of the point in the register",
        )
        return 1.0, 0.0, given, (kept,)
    return *found, row.unit if key != "other" else given, ()


def row_decisions(tag: str, ordered: Ordered) -> tuple[Decision, ...]:
    """What is to be said of rows that contradict one another."""
    if not ordered.conflicts:
        return ()
    at, dropped, kept = ordered.clash
    return (
        Decision(
            subject=tag,
            what=f"{ordered.conflicts} rows dropped that contradict a later row of the same instant "
            f"(first at {iso(at)}: {written(dropped, 6)} dropped, {written(kept, 6)} used)",
            why="the row that stands last in the files is the historian's later word",
            option="remove the earlier rows or files; where a clock was put back for winter time, pass its zone with --tz",
        ),
    )
