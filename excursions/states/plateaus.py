"""Still stretches of the reading in buffers, standards, air or zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.measurands import Window
from excursions.ranks import median, quantiles
from excursions.records import FloatArray, IndexArray
from excursions.runs import runs
from excursions.states.reading import Reading
from excursions.states.standards import inside, telling_standards, widened
from excursions.states.trace import Trace, split_at_gaps

SHORTEST_MIN, LONGEST_MIN = 2.0, 60.0  # (cp) a standard is read for minutes, not for hours
FEWEST_SAMPLES = 3
NEXT_STANDARD_MIN = 30.0
VISIT_LONGEST_H = 4.0
CALM_MIN = 5.0
STILL = 0.5  # noise in a standard over noise in the process
LOOKED_AT = 50_000
AS_LIVELY = 0.8  # of the usual change from sample to sample
AT_ONE_LEVEL = 0.3  # of the way from the level before
MOST_SCALED = 2.0  # by which a wrong temperature may scale a compensated reading (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A still stretch [start, end) (ns) of the reading in a standard."""

    standard: str
    start: int
    end: int
    still: bool


def visits(reading: Reading, near: TimeArray) -> list[list[Plateau]]:
    """Plateaus that follow each other like the standards of one calibration.

    near (k, 2) : spans about entries of a log; there a standard may be one the process visits too, if the reading is
    stiller in it than the process ever is.
    """
    groups = in_a_row(_plateaus(reading, near))
    return [g for g in groups if g[-1].end - g[0].start <= VISIT_LONGEST_H * NS_PER_HOUR]


def in_a_row(plateaus: Sequence[Plateau]) -> list[list[Plateau]]:
    """Plateaus in time order, parted where the next standard is too long in coming."""
    groups: list[list[Plateau]] = []
    for plateau in plateaus:
        if groups and plateau.start - groups[-1][-1].end <= NEXT_STANDARD_MIN * NS_PER_MINUTE:
            groups[-1].append(plateau)
        else:
            groups.append([plateau])
    return groups


def _plateaus(reading: Reading, near: TimeArray) -> Sequence[Plateau]:
    trace = reading.trace
    usual = usual_noise(trace)
    telling = telling_standards(reading.windows, trace)
    found = [
        plateau
        for standard in telling
        for first, past in _stays(trace, standard)
        if (plateau := _plateau(trace, standard, (int(first), int(past)), usual))
    ]
    others = [s for s in reading.windows if s not in telling]
    found += [p for span in near for s in others for p in _still_in(trace, s, span, usual)]
    return sorted(set(found), key=lambda p: (p.start, p.end, p.standard))


def _still_in(trace: Trace, standard: Window, span: TimeArray, usual: float) -> list[Plateau]:
    """Stretches of a span in which the reading is in a window and far calmer than usual, minutes at a time."""
    window = trace.slice(int(span[0]), int(span[1]))
    time, value = trace.time[window], trace.value[window]
    size = max(2 * FEWEST_SAMPLES, round(CALM_MIN * 60.0 / trace.usual_s))
    if trace.held or usual == 0.0 or value.size <= size:
        return []
    blocks = np.lib.stride_tricks.sliding_window_view(value, size)
    calm = (np.median(np.abs(np.diff(blocks, axis=1)), axis=1) <= STILL * usual) & np.all(
        inside(standard, blocks), axis=1
    )
    return [
        Plateau(standard=standard.label, start=int(time[a]), end=int(time[b + size - 2]), still=True)
        for a, b in runs(calm)
    ]


def rests(reading: Reading, start: int, end: int) -> list[Plateau]:
    """Plateaus within [start, end) that lie in one widened window alone: standards as a probe far off shows them."""
    trace = reading.trace
    part = trace.slice(start, end)
    usual = usual_noise(trace)
    value = trace.value[part]
    wide = [_as_far_off(s, reading.windows) for s in reading.windows]
    only = np.sum([inside(w, value) for w in wide], axis=0) == 1 if wide else np.zeros(0, np.bool_)
    made = []
    for standard, around in zip(reading.windows, wide, strict=True):
        for first, past in _lasting(trace, part.start + runs(inside(around, value) & only)):
            plateau = _plateau(trace, standard, (int(first), int(past)), usual)
            if plateau:
                made.append(plateau)
    return made


def _as_far_off(standard: Window, known: Sequence[Window]) -> Window:
    """The widened window, but for one that would swallow another standard: that is wide as it stands."""
    wide = widened(standard)
    others = (w for w in known if w is not standard)
    return standard if any(wide.low <= w.low and w.high <= wide.high for w in others) else wide


def usual_noise(trace: Trace) -> float:
    """Typical size of the change from sample to sample, over the whole record."""
    return _noise(trace.value) if len(trace) <= LOOKED_AT else median(_changes_sampled(trace))


def _changes_sampled(trace: Trace) -> FloatArray:
    at = np.linspace(0, len(trace) - 2, LOOKED_AT).astype(np.int64)
    return np.asarray(np.abs(trace.value[at + 1] - trace.value[at]))


def _noise(value: FloatArray) -> float:
    return median(np.abs(np.diff(value))) if value.size > 1 else 0.0


def _stays(trace: Trace, standard: Window) -> IndexArray:
    """Stretches in the window that last as long as a standard is read."""
    return _lasting(trace, runs(inside(standard, trace.value)))


def _lasting(trace: Trace, ranges: IndexArray) -> IndexArray:
    """Index ranges that last as long as a standard is read, with samples enough to be sure."""
    ranges = split_at_gaps(ranges, trace)
    lasted = _until(trace, ranges) - trace.time[ranges[:, 0]]
    good = (lasted >= SHORTEST_MIN * NS_PER_MINUTE) & (lasted <= LONGEST_MIN * NS_PER_MINUTE)
    fewest = 1 if trace.held else FEWEST_SAMPLES
    return ranges[good & (ranges[:, 1] - ranges[:, 0] >= fewest)]


def _until(trace: Trace, ranges: IndexArray) -> TimeArray:
    """End of each stretch: its next sample; for a sampled record at most one usual interval after its last."""
    following = trace.time[np.minimum(ranges[:, 1], len(trace) - 1)]
    if trace.held:
        return following
    latest = trace.time[ranges[:, 1] - 1] + round(trace.interval_s * NS_PER_S)
    return np.asarray(np.minimum(following, latest))


def _plateau(trace: Trace, standard: Window, span: tuple[int, int], usual: float) -> Plateau | None:
    """A plateau, when the second half of the stay keeps within a sixth of the window, wild samples aside."""
    first, past = span
    late = trace.value[(first + past) // 2 : past]
    low, high = quantiles(late, (0.1, 0.9))
    if high - low > max((standard.high - standard.low) / 6, 2 * trace.resolution):
        return None
    start, end = int(trace.time[first]), int(_until(trace, np.array([span]))[0])
    # Recorded on change: still is what was seldom recorded.  On a clock: what moves less, in samples enough to say.
    few = past - first <= max(FEWEST_SAMPLES, STILL * (end - start) / (trace.usual_s * NS_PER_S))
    calm = past - first >= 2 * FEWEST_SAMPLES and usual > 0 and _noise(late) <= STILL * usual
    return Plateau(
        standard=standard.label,
        start=start,
        end=end,
        still=few if trace.held else calm,
    )


def all_calm(trace: Trace, stays: Sequence[tuple[int, int]]) -> bool:
    """Whether the reading moves far less in each of some stretches [ns] than it usually does."""
    usual = usual_noise(trace)
    seen = [trace.value[trace.slice(*stay)] for stay in stays]
    return (
        not trace.held
        and usual > 0.0
        and all(v.size >= FEWEST_SAMPLES and _noise(v) <= STILL * usual for v in seen)
    )


def all_lively(trace: Trace, stays: Sequence[tuple[int, int]]) -> bool:
    """Whether the reading moves as restlessly as ever in most of some stretches [ns]: then it is still in the process."""
    usual = usual_noise(trace)
    seen = [trace.value[trace.slice(*stay)] for stay in stays]
    told = [_noise(v) >= AS_LIVELY * usual for v in seen if v.size >= FEWEST_SAMPLES]
    return not trace.held and usual > 0.0 and bool(told) and sum(told) > len(told) / 2


def goes_on_lively(trace: Trace, span: tuple[int, int], before: float) -> bool:
    """Whether the reading goes on as restlessly as ever, at one other level: then it is still in the process.

    A temperature element that jumps takes a compensated reading along, and brings both back.
    """
    seen, usual = trace.value[trace.slice(*span)], usual_noise(trace)
    if trace.held or seen.size < 8 * FEWEST_SAMPLES or usual == 0.0:
        return False
    low, middle, high = quantiles(seen, (0.1, 0.5, 0.9))
    if high - low > AT_ONE_LEVEL * abs(middle - before):
        return False  # from standard to standard, or on the way to one
    calmest = min(float(np.median(np.abs(np.diff(part)))) for part in np.array_split(seen, 4))
    share = abs(before) / max(abs(float(middle)), 1e-12)
    scaled = calmest * share if 1.0 / MOST_SCALED <= share <= MOST_SCALED else calmest
    return scaled >= AS_LIVELY * usual
