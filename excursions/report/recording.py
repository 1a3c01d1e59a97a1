"""What an export can and cannot show, for one signal: peaks, flat stretches, bridged stretches, in words and figures.

Everything follows from the :class:`Sampling` of the signal; no value of the signal is looked at here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from excursions.clock import duration_text, iso
from excursions.digits import written
from excursions.records import Sampling

Amount = Callable[[float], str]
When = Callable[[int], str]

# How much longer than the usual flat stretch one must be before it says something: common practice, no source (cp).
LONGER = 3.0
FLAT_SAMPLES = 12  # equal samples in a record that is never flat (cp)

KIND_WORDS = {
    "grid": "by the clock",
    "exception": "on change (exception)",
    "swinging": "compressed (swinging-door like)",
    "averages": "averages",
    "interpolated": "interpolated on a grid",
    "sparse": "irregular",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shows:
    """What a record can show, in seconds; NaN where it cannot be said.

    peak_s : a peak that lasts this long leaves a sample for certain; hidden_s : the longest that can hide between two
    samples; silence_s : silence up to this is how the recorder works; flat_s : a flat stretch from this length on
    says something about the probe.
    """

    peak_s: float
    hidden_s: float
    silence_s: float
    flat_s: float


def shows(sampling: Sampling) -> Shows:
    """The four lengths for one signal."""
    interval, beat, longest = sampling.interval_s, sampling.heartbeat_s, sampling.longest_silence_s
    unbroken = min(longest, sampling.gap_s) if math.isfinite(sampling.gap_s) else longest
    if sampling.on_change:
        flat = max(LONGER * beat, _usual(sampling)) if math.isfinite(beat) else math.nan
        scan = sampling.shortest_s if math.isfinite(sampling.shortest_s) else interval
        return Shows(peak_s=scan, hidden_s=scan, silence_s=beat, flat_s=flat)
    if sampling.kind == "sparse":
        return Shows(peak_s=longest, hidden_s=longest, silence_s=math.nan, flat_s=math.nan)
    held = sampling.deadband > 0 or sampling.kind == "interpolated"
    flat = math.nan if held else max(FLAT_SAMPLES * interval, _usual(sampling))
    return Shows(peak_s=unbroken, hidden_s=unbroken, silence_s=0.0 if not held else math.nan, flat_s=flat)


def _usual(sampling: Sampling) -> float:
    return LONGER * sampling.flat_usual_s if math.isfinite(sampling.flat_usual_s) else 0.0


def recorded(sampling: Sampling, amount: Amount) -> str:
    """How the signal was recorded, and what shows it."""
    kind = (
        f"the {sampling.extreme} of each interval"
        if sampling.extreme
        else KIND_WORDS.get(sampling.kind, sampling.kind)
    )
    if sampling.kind in ("grid", "averages", "interpolated"):
        kind += f", every {_span(sampling.interval_s)}"
    elif math.isfinite(sampling.interval_s):
        kind += f", {_span(sampling.interval_s)} apart on the median"
    else:
        kind += ", too few samples to say how far apart"
    if sampling.deadband > 0:
        about = "about " if sampling.kind == "swinging" else ""
        kind += f", changes below {about}{amount(sampling.deadband)} left out"
    if math.isfinite(sampling.heartbeat_s):
        kind += f", heartbeat {_span(sampling.heartbeat_s)}"
    text = kind if sampling.sure else f"cannot tell for certain; taken as {kind}"
    return f"{text} ({sampling.why})" if sampling.why else text


def peaks(sampling: Sampling, amount: Amount) -> str:
    """The shortest peak this export can show and the longest it can hide."""
    found, interval = shows(sampling), sampling.interval_s
    if sampling.on_change:
        line = (
            "; along the line between two samples the reading may have been off by as much"
            if sampling.kind == "swinging"
            else ""
        )
        band = amount(sampling.deadband) if sampling.deadband > 0 else "the dead band"
        return (
            f"a peak of more than {band} shows once it lasts one scan of the recorder (at most {_span(found.peak_s)}); "
            f"a smaller one can hide for any length{line}"
        )
    if sampling.extreme:
        shown, lost = ("peak", "fall") if sampling.extreme == "greatest" else ("fall", "peak")
        return (
            f"a {shown} of one scan shows at its full height, but not when within its {_span(interval)} it came nor how long it "
            f"lasted; a {lost} shows only where it lasts a whole interval"
        )
    if sampling.kind == "averages":
        return (
            f"a peak shows at its full height only from {_span(interval)} on; one of {_span(interval / 10)} keeps a tenth of "
            "its height, and the true peak can be higher than any drawn here"
        )
    if sampling.kind == "interpolated":
        return (
            f"a peak of less than {_span(found.hidden_s)} can hide between two points of the grid, and what the recorder "
            "behind the export left out cannot be known"
        )
    if sampling.kind == "sparse":
        return (
            f"anything of less than {_span(found.hidden_s)} can hide between two samples ({_span(interval)} on the median)"
            if math.isfinite(interval)
            else "a single sample shows no peak"
        )
    if sampling.deadband > 0:
        return (
            f"a peak that lasts {_span(found.peak_s)} and exceeds {amount(sampling.deadband)} shows; "
            "a shorter one can be missed, a smaller one can hide for any length"
        )
    more = f" ({_span(found.hidden_s)} where samples are missing)" if found.hidden_s > 1.5 * interval else ""
    return (
        f"a peak that lasts {_span(interval)} or longer leaves a sample; a shorter one can hide whole{more}"
    )


def flats(sampling: Sampling, amount: Amount) -> str:
    """Which flat stretches say something about the probe, and which are how the recorder works."""
    found = shows(sampling)
    usual = (
        f"; 99 of 100 flat stretches here stay below {_span(sampling.flat_usual_s)}"
        if math.isfinite(sampling.flat_usual_s)
        else ""
    )
    if sampling.on_change:
        if not math.isfinite(sampling.heartbeat_s):
            return (
                "no heartbeat shows, so a quiet reading, a stuck one and a dead line look the same: "
                "no length of silence is evidence by itself"
            )
        return (
            f"silence up to {_span(found.silence_s)} is how the recorder works; equal values beyond {_span(found.flat_s)} "
            f"are evidence{usual}"
        )
    if sampling.kind == "interpolated" or (sampling.kind == "grid" and sampling.deadband > 0):
        drawn = "repeats of the last value" if sampling.kind == "grid" else "drawn between samples"
        return f"flat and straight stretches may be {drawn}: no length is evidence by itself"
    if sampling.kind == "sparse":
        return "too few samples to tell a quiet reading from a stuck one"
    step = f" by less than {amount(sampling.resolution)}" if sampling.resolution > 0 else " not at all"
    return f"flat means that the reading moved{step}; flat stretches beyond {_span(found.flat_s)} are evidence{usual}"


def gaps(sampling: Sampling, when: When = iso) -> str:
    """Longest silence (its begin as `when` writes it), share of bad samples, bridged stretches."""
    parts = []
    if sampling.longest_silence_s > 0:
        parts.append(
            f"longest silence {_span(sampling.longest_silence_s)} from {when(sampling.longest_silence_at)}"
        )
    parts.append(f"{written(sampling.share_bad * 100, 2)} % bad" if sampling.share_bad > 0 else "none bad")
    if sampling.bridged:
        stretches = "stretch" if sampling.bridged == 1 else "stretches"
        parts.append(
            f"{sampling.bridged} {stretches} drawn across missing data, the longest {_span(sampling.bridged_longest_s)}"
        )
    else:
        parts.append("no stretch drawn across missing data shows")
    return "; ".join(parts)


def resolved(sampling: Sampling, amount: Amount) -> str:
    """The smallest step of the values."""
    return (
        f"smallest step {amount(sampling.resolution)}"
        if sampling.resolution > 0
        else "no smallest step shows"
    )


def _span(seconds: float) -> str:
    return duration_text(seconds) if math.isfinite(seconds) else "a time that does not show"
