"""Entries of the log that no trace in the record bears out, and traces that no entry names.

Which trace belongs to which entry, :mod:`excursions.link.traces` has matched; here is told what is left on either side, and
of which of it nothing can be told.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

import numpy as np

from excursions.calibrations.entries import on_bench
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, duration_text, wall
from excursions.conclusions import AuditFinding, Levels
from excursions.link.elsewhen import missed_entry, missed_work
from excursions.link.sight import Look, tells_nothing
from excursions.link.traces import NEAR_NS, distance, reach, shows_traces, touches
from excursions.measurands import converted, to_canonical
from excursions.plant import Plant
from excursions.read.logs.actions import says_sample
from excursions.records import Calibration
from excursions.states.element import WILD_K
from excursions.states.reading import TOLERANCES

# What heats a probe finds it in the line, so that heat hides no calibration: it must only leave room for the work, which takes up
# to an hour and is mostly entered at its end; half of it would show as well (cp).
_ROOM_BEFORE_NS, _ROOM_AFTER_NS = NS_PER_HOUR, 30 * NS_PER_MINUTE
_BESIDE_HEAT_NS = 10 * NS_PER_MINUTE
_WARM_NS, _WALK_K = 3 * NS_PER_HOUR, 5.0  # a smaller walk of the temperature may be the process's own (cp)
_STANDING_NS, _STANDING_FEWEST = 12 * NS_PER_HOUR, 12
# Work of one point takes about as long each time: a piece without any standard that is longer than this many times the longest
# entered one is none (cp).
_LONGER = 3.0
_OTHERS = 2  # entries from which on the point's own habit is asked
# More pieces of work than this about one another that nobody entered are the process's own (cp).
_OFTEN, _OFTEN_NS = 2, 4 * NS_PER_DAY
_HELD = "recorded on change, an output held during the work leaves nothing"


def unmatched(look: Look) -> list[AuditFinding]:
    """Entries of a point without a trace and traces without an entry, and where either cannot be told."""
    missing, strays = _missing(look), _strays(look)
    return [*_without_trace(look, missing, strays), *_without_entry(look, missing, strays)]


def _without_trace(
    look: Look, missing: Sequence[Calibration], strays: Sequence[tuple[int, int]]
) -> list[AuditFinding]:
    """Entries that nothing in the record bears out (`missing`), or of which that cannot be told."""
    with_trace = sum(_traced(c, look) for c in look.mine)
    clear = [c for c in missing if not _covered(c, look)]
    # Recorded on change, a held output and a quiet process look alike; what is seen only where the log points need not be seen.
    faint = look.on_change and not any(look.traces.alone[i] for i in look.matched.values())
    telling = shows_traces(with_trace, len(clear)) and not faint
    usual = [
        f"only {with_trace} of {with_trace + len(clear)} calibrations of this point left a trace that can be told"
    ]
    if faint and with_trace:
        usual = ["no calibration of this point would be told without its entry"]
    elif telling:
        usual = [_HELD] if look.on_change else []
    made = []
    for c in missing:
        covered = _covered(c, look)
        # Recorded on change, a held output leaves nothing: missed is only what would have walked, or was not measured anyway.
        shows = telling and (c.copied or not look.on_change)
        plain = (shows or _would_walk(look, c.time)) and not covered and not look.coarse
        words = (
            f"{covered} in part of the time between {_between(c, look.tz)}: whether this {c.action} left a trace cannot be told"
            if covered
            else f"no trace of this {c.action} in the record between {_between(c, look.tz)}{missed_work(c, strays, look.tz)}"
        )
        made.append(
            look.finding(
                "no trace" if plain else "cannot tell",
                c,
                words,
                span=_around(c, look.tz),
                hides=(*(() if covered else usual), *look.hides),
            )
        )
    return made


def _missing(look: Look) -> list[Calibration]:
    """Entries that should have left a trace and did not."""
    return [c for c in look.mine if _looked_for(c, look) and not _traced(c, look)]


def _covered(calibration: Calibration, look: Look) -> str:
    """What else fills part of the time in which a trace is looked for; empty when nothing does."""
    if touches(look.traces.silent, *_around(calibration, look.tz)):
        return "no data"
    when = calibration.time
    if touches(look.traces.hot, when - _ROOM_BEFORE_NS, when + _ROOM_AFTER_NS):
        return "cleaning or steam"
    if tells_nothing(calibration):
        return "a probe that by its own entry tells its standards no longer apart"
    if _stands(look.line, when):
        return "a reading that stands still"
    if _element_failed(look.line, when):
        return "a temperature element that had failed, by which the standards are read,"
    return "a process that lies where the standards do" if _lies_at_standards(calibration, look) else ""


def _would_walk(look: Look, when: int) -> bool:
    """Whether work of this point at an instant would have shown by its temperature, however few of its entries left a trace.

    A calibration that was plain came to rest at some temperature out of the line; where the process stood far from that, and
    quietly, another one walks there as well, and is looked for as well.
    """
    rests = [
        look.traces.stood[i]
        for i in look.matched.values()
        if look.traces.sure[i] and math.isfinite(look.traces.stood[i])
    ]
    around = look.line.temperature[np.abs(look.line.time - when) <= _WARM_NS]
    around = around[np.isfinite(around)]
    if not rests or not around.size:
        return False
    walk = abs(float(np.median(around)) - float(np.median(rests)))
    return walk >= _WALK_K and float(np.ptp(around)) <= 0.5 * walk


def _lies_at_standards(calibration: Calibration, look: Look) -> bool:
    """Whether the reading hardly moves when the probe comes into the standards of an entry, by value or by temperature.

    So near to the process, work is told from it neither where a log enters it nor elsewhere.
    """
    level = look.line.value[np.abs(look.line.time - calibration.time) <= _WARM_NS]
    level = level[np.isfinite(level)]
    scales = [to_canonical(calibration.measurand, s.standard_unit) for s in calibration.standards]
    if not level.size or not scales or None in scales or _would_walk(look, calibration.time):
        return False
    shown = [
        converted(s.standard, scale)
        for s, scale in zip(calibration.standards, scales, strict=True)
        if scale is not None
    ]
    middle = float(np.median(level))
    return bool(np.all(np.abs(np.array(shown) - middle) <= TOLERANCES * look.point.tolerance_at(middle)))


def _stands(line: Levels, when: int) -> bool:
    """Whether the reading shows one and the same value for hours about an instant: pinned, held or dead, it shows no work."""
    near = line.value[np.abs(line.time - when) <= _STANDING_NS]
    near = near[np.isfinite(near)]
    return bool(near.size >= _STANDING_FEWEST and np.ptp(near) == 0)


def _element_failed(line: Levels, when: int) -> bool:
    """Whether the temperature stands dead far from where it usually is: it walks nowhere, and moves what is read in standards."""
    near = line.temperature[np.abs(line.time - when) <= _WARM_NS]
    near, known = near[np.isfinite(near)], line.temperature[np.isfinite(line.temperature)]
    return bool(near.size and np.ptp(near) == 0 and abs(float(near[0]) - float(np.median(known))) > WILD_K)


def _around(calibration: Calibration, tz: ZoneInfo) -> tuple[int, int]:
    far = reach(calibration, tz)
    return calibration.time - far, calibration.time + far


def _between(calibration: Calibration, tz: ZoneInfo) -> str:
    low, high = _around(calibration, tz)
    return f"{wall(low, tz)} and {wall(high, tz)}"


def _traced(calibration: Calibration, look: Look) -> bool:
    return calibration.id in look.matched or touches(look.traces.hold, *_around(calibration, look.tz))


def _looked_for(calibration: Calibration, look: Look) -> bool:
    """Whether an entry should have left a trace: inside the record, and at the point."""
    low, high = _around(calibration, look.tz)
    inside = high >= look.traces.start and low <= look.traces.end
    return inside and not _by_sample(calibration) and not _off_the_point(calibration, look.plant)


def _by_sample(calibration: Calibration) -> bool:
    """Whether the reading was set to what the laboratory found in a sample: the probe stays where it is."""
    labels = {standard.label for standard in calibration.standards}
    return labels == {"sample"} or (not labels and says_sample(calibration.comment))


def _off_the_point(calibration: Calibration, plant: Plant) -> bool:
    """Done in the workshop by its own words, or with the probe installed only afterwards or taken out before."""
    if on_bench(calibration.comment):
        return True
    stays = [row for row in plant.installations if row.probe == calibration.probe and row.probe]
    edges = [edge for row in stays for edge in (row.start, row.end) if edge is not None]
    there = any(
        row.point == calibration.point
        and (row.start is None or row.start <= calibration.time)
        and (row.end is None or calibration.time < row.end)
        for row in stays
    )
    near_swap = any(abs(edge - calibration.time) <= NEAR_NS for edge in edges)
    return bool(stays) and (not there or near_swap)


# --- traces without an entry ---------------------------------------------------------------------


def _without_entry(
    look: Look, missing: Sequence[Calibration], strays: Sequence[tuple[int, int]]
) -> Iterator[AuditFinding]:
    """Spans that look like a calibration and that no entry claims (`strays`); and where such spans cannot be told.

    Where the logs say nothing of a point at all, what is missing is its log and not an entry of it.
    """
    if strays and not look.mine:
        yield _unlogged(look, strays)
        return
    # Who keeps a log enters rather than forgets: what comes more often than entries do is a routine that looks alike.
    if len(strays) > max(_OFTEN, len(look.mine)):
        yield _routine(look, strays)
        strays = ()
    for start, end in strays:
        yield AuditFinding(
            point=look.point.name,
            probe=look.plant.probe_at(look.point.name, start) or "",
            kind="no entry",
            start=start,
            end=end,
            sentence=f"the record looks like a calibration from {wall(start, look.tz)} for {duration_text((end - start) / 1e9)}, and no entry names it"
            + missed_entry((start, end), missing, strays, look.tz),
            could_hide=("a cleaning, an exchange of the probe or a check without figures can look the same",),
        )
    yield from _limit_without_entry(look)


def _unlogged(look: Look, strays: Sequence[tuple[int, int]]) -> AuditFinding:
    """Work at a point of which no entry is known, once for all of it."""
    first, last = wall(strays[0][0], look.tz), wall(strays[-1][0], look.tz)
    when = f"{len(strays)} times between {first} and {last}" if len(strays) > 1 else f"on {first}"
    return AuditFinding(
        point=look.point.name, probe="", kind="cannot tell", start=strays[0][0], end=strays[-1][1],
        sentence=f"the record looks like a calibration {when}; no entry of this point was given",
        could_hide=(
            "its entries may stand in another log, or in rows that could not be read",
            "a cleaning or an exchange of the probe can look the same",
        ),
    )  # fmt: skip


def _routine(look: Look, strays: Sequence[tuple[int, int]]) -> AuditFinding:
    """More work without an entry than there are entries, once for all of it."""
    return _limit(
        look,
        f"the record looks like a calibration {len(strays)} times where no entry names one, and {len(look.mine)} entries name others: "
        "a routine that looks alike, or a log that does not hold all",
    )


def _strays(look: Look) -> list[tuple[int, int]]:
    """Work that is plain and that no entry claims."""
    used = set(look.matched.values())
    edges = [
        edge
        for row in look.plant.installations
        if row.point == look.point.name
        for edge in (row.start, row.end)
        if edge is not None
    ]
    found: list[tuple[int, int]] = []
    entered = [look.traces.work[i] for i in used]
    longest = _LONGER * max((float(end - start) for start, end in entered), default=math.inf)
    for index, (start, end) in enumerate(look.traces.work.tolist()):
        seen = look.traces.standards[index]
        # A cleaning begins and ends with the reading elsewhere, too.
        beside_heat = touches(look.traces.hot, start - _BESIDE_HEAT_NS, end + _BESIDE_HEAT_NS)
        if (not seen and end - start > longest) or (len(seen) < 2 and beside_heat):
            continue
        near = any(distance(c, start, end) <= reach(c, look.tz) for c in look.mine)
        swapped = any(start - NEAR_NS <= edge <= end + NEAR_NS for edge in edges)
        if index not in used and not near and not swapped and look.traces.sure[index]:
            found.append((start, end))
    # Whatever the reading does where such spans come in clusters, nobody calibrates so often.
    return [s for s in found if sum(abs(other - s[0]) <= _OFTEN_NS for other, _ in found) <= _OFTEN]


def _limit_without_entry(look: Look) -> Iterator[AuditFinding]:
    """The stated limit: points whose entered calibrations would not have been told by their traces alone."""
    if look.coarse and look.mine:
        words = "calibrations that nobody entered, standards other than the entry's and adjustments not taken over need not show in this export"
        yield _limit(look, words)
        return
    entered = [c for c in look.mine if _looked_for(c, look)]
    alone = sum(look.traces.alone[i] for c in entered if (i := look.matched.get(c.id)) is not None)
    if len(entered) < _OTHERS or shows_traces(alone, len(entered) - alone):
        return
    words = f"a calibration that nobody entered can go unseen here: the record alone would have shown {alone or 'none'} of the {len(entered)} that were entered"
    yield _limit(look, words)


def _limit(look: Look, sentence: str) -> AuditFinding:
    """A stated limit of the whole record of a point."""
    return AuditFinding(
        point=look.point.name, probe="", kind="cannot tell", start=look.traces.start, end=look.traces.end,
        sentence=sentence, could_hide=look.hides,
    )  # fmt: skip
