"""Standards, and their temperature, that an entry names beside those the record shows; and fewer of them than it names."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np

from excursions.calibrations import evaluate, models
from excursions.calibrations.standards import is_signal
from excursions.clock import NS_PER_DAY, wall
from excursions.conclusions import AuditFinding
from excursions.link.sight import Look
from excursions.link.traces import touches
from excursions.measurands import Window, converted, to_canonical
from excursions.records import Calibration, CalibrationEntry, FloatArray, Link, Shift, StandardReading
from excursions.states.standards import VISITED, label_of, widened

# A calibration that shows one standard less than the others of its point is also shorter than they are (cp).
_SHORTER, _OTHERS = 0.6, 2
# Between what the entry says of its standards and where the probe's own element came to rest: a slope off by 1.7 % (cp).
_OTHER_K = 5.0
_MILLIVOLTS = ("electrode", "offset")  # forms whose raw signal is in mV


def other_plateaus(look: Look) -> Iterator[AuditFinding]:
    """Standards seen that the entry does not name, or fewer than it names."""
    spans = {
        c.id: (c, _entered(c), look.traces.standards[i], look.traces.work[i], look.traces.rests[i])
        for c in look.mine
        if (i := look.matched.get(c.id)) is not None
    }
    for c, entered, seen, (start, end), rests in spans.values():
        if c.copied or not entered or not seen | rests or touches(look.traces.hold, start, end):
            continue  # a copied entry tells of other work, and is told as one
        if _far_off(look, c):
            continue
        others = [row for row in spans.values() if row[0] is not c and row[2] >= entered]
        # What was joined to one piece is too long sooner than too short.
        usual = min(float(row[3][1] - row[3][0]) for row in others) if len(others) >= _OTHERS else math.inf
        # Recorded on change, a second standard that was read under hold leaves nothing.
        fewer = (
            bool(seen)
            and not look.on_change
            and seen | rests < entered
            and not _sits_in(look, entered - seen, int(start))
            and math.isfinite(usual)
            and float(end - start) < _SHORTER * usual
        )
        shown = seen | rests
        if (shown - entered and entered - shown) or fewer:
            yield look.finding(
                "other plateaus",
                c,
                f"the entry names {_listed(entered)}; the record from {wall(int(start), look.tz)} to {wall(int(end), look.tz)} "
                f"shows the reading still in {_listed(shown)}",
                span=(int(start), int(end)),
                hides=("a standard read for less than two minutes, or by a probe that was far off, does not show", *look.hides),
            )  # fmt: skip


def other_temperature(look: Look) -> Iterator[AuditFinding]:
    """Standards entered at another temperature than the probe stood at while it was out of the line."""
    for c in look.mine:
        i = look.matched.get(c.id)
        said = [s.temperature_degc for s in c.standards if math.isfinite(s.temperature_degc)]
        if i is None or not said or c.copied:
            continue
        stood, entered = look.traces.stood[i], float(np.median(said))
        if math.isfinite(stood) and abs(stood - entered) > _OTHER_K:
            start, end = (int(t) for t in look.traces.work[i])
            yield look.finding(
                "other temperature",
                c,
                f"the entry gives its standards {entered:.0f} °C; the probe stood at {stood:.0f} °C out of the line from "
                f"{wall(start, look.tz)} to {wall(end, look.tz)}{_slope_then(look, c, stood)}",
                span=(start, end),
                hides=("the element may lag, or the temperature be measured beside the probe",),
            )  # fmt: skip


def with_misread(
    links: Sequence[Link],
    shifts: Sequence[Shift],
    calibrations: Sequence[Calibration],
    audited: Sequence[AuditFinding],
    tz: ZoneInfo,
) -> tuple[Link, ...]:
    """Links to something not in the record say first where an entry at either end may have made the shift by itself.

    That is an entry whose standards had another temperature than it gives.
    """
    misread = {f.calibration for f in audited if f.kind == "other temperature"}
    when = {(c.point, c.time) for c in calibrations if c.id in misread}
    ends = {s.id: (s.point, (s.start, s.end)) for s in shifts}
    told = []
    for link in links:
        point, times = ends[link.shift]
        near = [wall(t, tz) for t in times if (point, t) in when]
        words = f"the entry of {' and that of '.join(near)} gives its standards another temperature than the record shows, which may be all of it"
        told.append(
            replace(link, reasons=(words, *link.reasons)) if near and link.cause == "unrecorded" else link
        )
    return tuple(told)


def _slope_then(look: Look, c: Calibration, temp_degc: float) -> str:
    """What the slope would be with the standards at the temperature the probe stood at; empty where that changes nothing."""
    read = tuple(replace(s, temperature_degc=temp_degc) for s in c.standards)
    entry = CalibrationEntry(
        time=c.time, file="", line=0, point=c.point, probe=c.probe, phase="as_found", action="verification", standards=read
    )  # fmt: skip
    (again,) = evaluate([entry], look.plant)
    now, then = c.as_found.get("slope"), again.as_found.get("slope")
    if now is None or then is None or now.unit != "%" or then.unit != "%":
        return ""
    return f"; with that its slope is {then.value:.1f} % and not {now.value:.1f} %"


def _far_off(look: Look, calibration: Calibration) -> bool:
    """Whether by its own raw values the probe read none of its standards anywhere near: then no reading tells which it was in.

    What the transmitter used before the first entry is taken as nominal.  One standard alone says nothing of the distance to
    another: there it must be near whichever of all the earlier figures of the point was in use.
    """
    earlier = [c for c in look.mine if c.time < calibration.time]
    used: dict[str, float] = {}
    for c in earlier:
        if c.probe == calibration.probe and c.id not in look.kept:
            used |= {name: p.value for name, p in c.as_left.items()}
    possible = [used]
    if len(calibration.standards) == 1:
        possible += [{}, *({name: p.value for name, p in c.as_left.items()} for c in earlier)]
    told = [[_near(look, calibration, s, state) for s in calibration.standards] for state in possible]
    return any(False in near and True not in near for near in told)


def _near(look: Look, c: Calibration, standard: StandardReading, used: dict[str, float]) -> bool | None:
    """Whether a standard was read in its own window, if widened; None when its raw value does not say."""
    shape = models.form(c.measurand, {})
    label = _label(c, standard)
    window = next((w for w in look.point.quantity.windows if w.label == label), None)
    if window is None or not math.isfinite(standard.raw) or not standard.raw_unit.strip():
        return None
    if is_signal(c.measurand, standard):
        if shape.kind not in _MILLIVOLTS or standard.raw_unit.strip() != "mV":
            return None
        state = models.filled(shape, used, {})
        shown = models.reading_of_raw(shape, standard.raw, state, standard.temperature_degc)
    else:
        scale = to_canonical(c.measurand, standard.raw_unit) or (1.0, 0.0)
        shown = converted(standard.raw, scale)
    wide = widened(window)
    return wide.low <= shown <= wide.high


def _sits_in(look: Look, labels: frozenset[str], when: int) -> bool:
    """Whether the process was at one of these standards the day before, or is there at times: a probe put into it shows nothing.

    What the process visits by itself is no sign of a standard, so that nobody looked for it there.
    """
    known = np.isfinite(look.line.value)
    every = look.line.value[known]
    before = every[(look.line.time[known] >= when - NS_PER_DAY) & (look.line.time[known] < when)]
    level = float(np.median(before)) if before.size else math.nan
    return any(
        w.low <= level <= w.high or _share_within(w, every) > VISITED
        for w in look.point.quantity.windows
        if w.label in labels
    )


def _share_within(window: Window, values: FloatArray) -> float:
    return float(np.mean((values >= window.low) & (values <= window.high))) if values.size else 0.0


def _entered(calibration: Calibration) -> frozenset[str]:
    """Labels of the standards an entry names; empty when one of them has no window of its own."""
    labels = [_label(calibration, standard) for standard in calibration.standards]
    return frozenset(labels) if all(labels) else frozenset()


def _label(calibration: Calibration, standard: StandardReading) -> str:
    scale = to_canonical(calibration.measurand, standard.standard_unit) or (1.0, 0.0)
    return label_of(calibration.measurand, converted(standard.standard, scale), standard.label)


def _listed(labels: frozenset[str]) -> str:
    return " and ".join(sorted(labels))
