"""All evidence of one point together: claims from flags, heat, calibrations and rhythm, then what follows them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE, NS_PER_S, TimeArray, duration_text
from excursions.plant import Plant, Point
from excursions.records import CALIBRATING, CLEANING, HOLD, NO_DATA, STEAMING, WASHING, Signal, StateLine
from excursions.states.calibration import calibrations
from excursions.states.flags import active_spans
from excursions.states.heat import Usual, cleaning, cleaning_by_reading, steaming, usual_temperature
from excursions.states.line import Claim, state_line
from excursions.states.reading import Reading, reading_of
from excursions.states.settling import Pace, pace_of, recovering
from excursions.states.signs import Signs
from excursions.states.trace import Trace, trace_of
from excursions.states.washes import washes_by_rhythm

FLAG = 0.99
ENTERED, CLEANED_WITHIN_MIN = 0.8, 20.0  # a probe is wiped within minutes (cp)
SURE, SURE_WITHOUT_TEMPERATURE = 0.95, 0.9  # that nothing shows is good evidence, less so with less to see
TEMPERATURE_MOVE_K = 0.5  # over a block of minutes; less is never a recovery
TOLERANCE_SHARE = 0.1  # a move of the reading below this share of its tolerance is never a recovery


def recognise(
    point: Point,
    plant: Plant,
    value: Signal | None,
    temperature: Signal | None,
    hold: Signal | None,
    wash: Signal | None,
) -> StateLine:
    """Split the time line of a point into states.

    Flags are believed; without them the temperature and the reading must show it, and weak evidence stays
    measuring.  The line covers everything from the first to the last sample of reading and temperature.

    Parameters
    ----------
    point, plant : Point, Plant
        Measurand, tolerance and air pressure; when the logs enter a calibration.
    value, temperature, hold, wash : Signal or None
        Conditioned signals; each may be missing.
    """
    seen = [s for s in (value, temperature) if s is not None and len(s)] or [
        s for s in (hold, wash) if s is not None and len(s)
    ]
    if not seen:
        return state_line([], 0, 0, otherwise=SURE)
    start, end = min(int(s.time[0]) for s in seen), max(int(s.time[-1]) for s in seen) + 1
    heat, reading = trace_of(temperature), reading_of(trace_of(value), point)
    paces = (_reading_pace(reading), pace_of(heat, TEMPERATURE_MOVE_K))
    noted = np.array(plant.noted_at(point.name), dtype=np.int64)
    causes = _causes(reading, heat, paces, active_spans(hold), active_spans(wash), noted)
    causes = _with_cleanings(plant.cleaned_at(point.name), plant.noted_at(point.name), causes)
    claims = [*causes, *recovering(causes, paces, end), *_silences(seen[0], start, end)]
    return state_line(claims, start, end, otherwise=SURE if heat is not None else SURE_WITHOUT_TEMPERATURE)


def _causes(
    reading: Reading | None,
    heat: Trace | None,
    paces: tuple[Pace | None, Pace | None],
    held: TimeArray,
    washed: TimeArray,
    noted: TimeArray,
) -> list[Claim]:
    """Everything that takes the probe away from measuring."""
    claims = _flagged(held, HOLD, "hold active") + _flagged(washed, WASHING, "wash active")
    flagged = np.concatenate([held, washed])
    usual: Usual | None = None
    if heat is not None:
        usual = usual_temperature(heat)
        steamed = steaming(heat, usual)
        claims += steamed
        claims += cleaning(heat, usual, reading=reading, flagged=flagged, steamed=steamed)
    elif reading is not None:
        claims += cleaning_by_reading(reading)
    if reading is not None:
        hot = sorted((c.start, c.end) for c in claims if c.code not in (HOLD, WASHING))
        heated = np.array(hot, dtype=np.int64).reshape(-1, 2)
        tried = calibrations(
            Signs(reading=reading, moves=paces[0], pace=paces[1], usual=usual, flagged=held, noted=noted, hot=heated)
        )  # fmt: skip
        claims += [kept for c in tried if (kept := _beside_heat(c, heated))]
        claims += washes_by_rhythm(reading) if not washed.size else []
    return claims


def _beside_heat(claim: Claim, hot: TimeArray) -> Claim | None:
    """A calibration where it does not lie in heat; None when it does, or partly and no log enters it.

    People calibrate straight after a cleaning: its widened edges then reach into the heat.
    """
    meets = hot[(hot[:, 0] < claim.end) & (hot[:, 1] > claim.start)]
    if not meets.size:
        return claim
    edges = [claim.start, *meets.ravel().tolist(), claim.end]
    free = max(zip(edges[::2], edges[1::2], strict=True), key=lambda part: part[1] - part[0])
    if not claim.helped or free[1] - free[0] < 0.5 * (claim.end - claim.start):
        return None
    return replace(claim, start=free[0], end=free[1])


def _with_cleanings(cleaned: Sequence[int], noted: Sequence[int], causes: Sequence[Claim]) -> list[Claim]:
    """Causes with the cleanings by hand that a log enters, at either end of the work.

    What looks like a calibration then, and of which the log enters none, is the cleaning; where nothing shows, the time
    about the entry is taken.
    """
    near = int(CLEANED_WITHIN_MIN * NS_PER_MINUTE)
    spans = [(when - near, when + near) for when in cleaned]

    def meant(claim: Claim, span: tuple[int, int]) -> bool:
        return (
            claim.code in (CLEANING, CALIBRATING, STEAMING) and claim.start < span[1] and span[0] < claim.end
        )

    def other(claim: Claim) -> bool:
        calibrated = any(claim.start - near < when < claim.end + near for when in noted)
        return claim.code == CALIBRATING and not calibrated and any(meant(claim, span) for span in spans)

    evidence = "cleaning entered in the log"
    told = [
        replace(c, code=CLEANING, evidence=f"{c.evidence}; {evidence}", standards=(), rests=())
        if other(c)
        else c
        for c in causes
    ]
    blank = [span for span in spans if not any(meant(c, span) for c in told)]
    return [
        *told,
        *(Claim(start=a, end=b, code=CLEANING, confidence=ENTERED, evidence=evidence) for a, b in blank),
    ]


def _flagged(spans: TimeArray, code: int, evidence: str) -> list[Claim]:
    return [Claim(start=int(a), end=int(b), code=code, confidence=FLAG, evidence=evidence) for a, b in spans]


def _reading_pace(reading: Reading | None) -> Pace | None:
    if reading is None:
        return None
    least = TOLERANCE_SHARE * reading.point.tolerance_at((reading.low + reading.high) / 2)
    return pace_of(reading.trace, least)


def _silences(signal: Signal, start: int, end: int) -> list[Claim]:
    """Claims for silences and bad stretches longer than the recording rule of the signal allows."""
    longest = signal.sampling.gap_s
    good = np.isfinite(signal.value)
    for lo, hi in signal.bridged:
        good[lo:hi] = False
    time = signal.time[good]
    if not time.size:
        return [_silence(start, end, "no usable reading at all")]
    if not math.isfinite(longest):
        return []
    edges = np.concatenate([[start], time, [end]])
    step = round(min(signal.sampling.interval_s, longest) * NS_PER_S)
    at = np.flatnonzero(np.diff(edges) > longest * NS_PER_S)
    claims = []
    for i in at:
        since = int(edges[i]) + (step if i else 0)
        lost = np.count_nonzero(~good[slice(*np.searchsorted(signal.time, (since, edges[i + 1])))])
        what = f"{lost} samples bad or drawn" if lost else "no samples"
        length = duration_text((int(edges[i + 1]) - since) / NS_PER_S)
        claims.append(_silence(since, int(edges[i + 1]), f"{what} for {length}"))
    return claims


def _silence(start: int, end: int, evidence: str) -> Claim:
    return Claim(start=start, end=end, code=NO_DATA, confidence=FLAG, evidence=evidence)
