"""The life of one probe on one time axis: where it sat, its heat, the dose it adds up to, slope and zero with their limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

import numpy as np

from dashboards.figures.drawing import with_unit
from dashboards.figures.spec import Spec, broken, label, note, stamp
from dashboards.look import axis, base_layout, date_axis
from dashboards.wording import PARAMETER_WORDS, Reader, capital
from excursions.clock import NS_PER_DAY, TimeArray
from excursions.digits import supported
from excursions.records import FloatArray
from excursions.report.lives import ProbeLife
from excursions.report.result import PointFindings
from excursions.report.rounded import to_digits
from excursions.report.stretch import between, daily_dose
from excursions.report.tracks import Track, TrackPoint

MOST_TRACKS = 3
DOSE_DIGITS = 3  # as in the sentences
BAND = 1.645  # standard uncertainties either way that hold nine times in ten
LANE, PANEL, GAP = 34, 118, 34  # pixels
Found = Mapping[str, PointFindings]


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Day by day through all stays: middle of the day [ns], highest temperature [degC], dose so far [h]; NaN breaks."""

    time: TimeArray
    peak: FloatArray
    dose: FloatArray

    @property
    def warm(self) -> bool:
        """Whether any temperature was recorded."""
        return bool(np.isfinite(self.peak).any())

    @property
    def aged(self) -> bool:
        """Whether there is a dose to draw."""
        return bool((self.dose > 0).any())


def days_of(life: ProbeLife, found: Found) -> Days:
    """Highest temperature and running dose of each day in an installation."""
    time, peak, dose, so_far = [], [], [], 0.0
    for stay in life.stays:
        heat = between(found[stay.point].heat, stay.start, stay.end + 1)
        time += [*((heat.start + heat.end) // 2).tolist(), stay.end]
        peak += [*heat.peak_degc.tolist(), math.nan]
        each = daily_dose(heat, stay.ratings.continuous_degc)
        run = so_far + np.cumsum(np.nan_to_num(each))
        so_far = float(run[-1]) if run.size else so_far
        dose += [*run.tolist(), so_far]
    return Days(
        time=np.array(time, np.int64), peak=np.array(peak, np.float64), dose=np.array(dose, np.float64)
    )


def unseen(life: ProbeLife, days: Days) -> str:
    """Why a panel is left out, in a sentence; empty where nothing is."""
    if not days.warm:
        return "No temperature of it was recorded, so that neither heat nor ageing dose can be drawn."
    if days.aged:
        return ""
    if not math.isfinite(life.dose_h):
        return "Its ageing dose is not known, so that none is drawn."
    return "No ageing dose is drawn, because no temperature was recorded above its continuous rating."


def life_spec(life: ProbeLife, found: Found, reader: Reader, ends: tuple[int, int]) -> Spec:
    """The whole life as a figure description; `ends` are those of the record [ns].

    Panels from the top: stays, heat where a temperature was recorded, dose where there is one, calibration parameters.
    """
    points, tracks, days = life.points, life.tracks[:MOST_TRACKS], days_of(life, found)
    titles = ["Where it sat; violet: calibrations"]
    titles += [heat_title(life, reader)] * days.warm + ["Ageing dose so far"] * days.aged
    titles += [track_title(t) for t in tracks]
    heights = [max(LANE * len(points), LANE), *([PANEL] * (len(titles) - 1))]
    total = sum(heights) + GAP * (len(heights) - 1)
    layout: Spec = base_layout(total + 90)
    layout["margin"] = {"l": 96, "r": 14, "t": 34, "b": 44}
    layout["hovermode"] = "closest"
    layout |= {"shapes": [], "annotations": []}
    left, right = (stamp(t) for t in reader.wall(np.array(ends, np.int64)))
    layout["xaxis"] = date_axis(
        range=[left, right], anchor=f"y{len(heights)}" if len(heights) > 1 else "y", side="bottom"
    )
    for n, (low, high) in enumerate(_domains(heights, total)):
        layout[_key(n)] = axis(domain=[low, high], anchor="x")
        layout["annotations"].append(
            note(
                label(titles[n], limit=120), ink="@ink", size=13,
                xref="paper", yref="paper", x=0, y=high, xanchor="left", yanchor="bottom",
            )
        )  # fmt: skip
    data = _lanes(life, layout, reader)
    if days.warm:
        data += _heat(life, days, layout, reader, (left, right))
    if days.aged:
        data.append(_dose(days, 1 + days.warm, layout, reader))
    for n, track in enumerate(tracks):
        data += _track(track, 1 + days.warm + days.aged + n, layout, reader, (left, right))
    return {"data": data, "layout": layout}


def _domains(heights: list[int], total: int) -> list[tuple[float, float]]:
    made, top = [], float(total)
    for height in heights:
        made.append((max(0.0, (top - height) / total), top / total))
        top -= height + GAP
    return made


def _key(n: int) -> str:
    return "yaxis" if n == 0 else f"yaxis{n + 1}"


def _axis(n: int) -> str:
    return "y" if n == 0 else f"y{n + 1}"


def _lanes(life: ProbeLife, layout: Spec, reader: Reader) -> list[Spec]:
    """Stays as thick lines, a lane a point; calibrations as dots, those on the bench below."""
    points = list(life.points)
    bench = any(c.point not in points for c in life.calibrations)
    names = [*points, *(["bench"] if bench or not points else [])]
    layout["yaxis"] |= {
        "tickvals": list(range(len(names))), "ticktext": [label(n, limit=14) for n in names],
        "range": [len(names) - 0.4, -0.6], "showgrid": False,
    }  # fmt: skip
    data: list[Spec] = []
    for lane, point in enumerate(points):
        stays = [s for s in life.stays if s.point == point]
        walls = [[stamp(t) for t in reader.wall(np.array([s.start, s.end], np.int64))] for s in stays]
        x, y = broken([(a, b) for a, b in walls], float(lane))
        data.append(
            {"type": "scatter", "mode": "lines", "x": x, "y": y, "yaxis": "y", "name": label(f"at {point}"),
             "line": {"color": "@state", "width": 14}, "hovertemplate": f"at {label(point)}, %{{x|%-d %b %Y}}<extra></extra>"}
        )  # fmt: skip
    times = np.array([c.time for c in life.calibrations], np.int64)
    lanes = [names.index(c.point) if c.point in names else len(names) - 1 for c in life.calibrations]
    if times.size:
        data.append(
            {"type": "scatter", "mode": "markers", "x": [stamp(t) for t in reader.wall(times)], "y": lanes, "yaxis": "y",
             "name": "calibration", "marker": {"color": "@mark", "size": 10, "symbol": "diamond"},
             "text": [label(c.action) for c in life.calibrations], "hovertemplate": "%{text}, %{x|%-d %b %Y %H:%M}<extra></extra>"}
        )  # fmt: skip
    return data


def _heat(life: ProbeLife, days: Days, layout: Spec, reader: Reader, ends: tuple[str, str]) -> list[Spec]:
    """Daily peaks against the ratings of the last stay, and exposures with what the sampling could hide."""
    unit = label(reader.unit("degC"))
    layout["yaxis2"] |= {"ticksuffix": f" {unit}"}
    for level in ratings_of(life):
        at = float(reader.level(np.array([level]), "degC")[0])
        _limit_line(layout, 1, at, ends, "", "@heat")
    wall = reader.wall(days.time)
    rows = [e for e in life.exposures if math.isfinite(e.peak_degc)]
    peak = np.array([e.peak_degc for e in rows])
    bound = np.array([max(e.bound_degc, e.peak_degc) for e in rows])
    shown, high = (np.round(reader.level(level, "degC"), 1) for level in (peak, bound))
    return [
        {"type": "scatter", "mode": "lines", "x": wall, "y": np.round(reader.level(days.peak, "degC"), 1), "yaxis": "y2",
         "name": "highest of the day", "line": {"color": "@heat", "width": 1.2, "shape": "hvh"}, "connectgaps": False,
         "hovertemplate": f"%{{x|%-d %b %Y}}: %{{y}} {unit}<extra></extra>"},
        {"type": "scatter", "mode": "markers", "yaxis": "y2", "name": "exposure",
         "x": [stamp(t) for t in reader.wall(np.array([e.start for e in rows], np.int64))], "y": shown.tolist(),
         "error_y": {"type": "data", "symmetric": False, "array": np.round(high - shown, 1).tolist(), "arrayminus": [0.0] * len(rows),
                     "color": "@heat", "thickness": 1.5, "width": 4},
         "marker": {"color": "@heat", "size": [11 if e.kind != "sterilisation" else 5 for e in rows],
                    "symbol": ["diamond" if e.kind != "sterilisation" else "circle" for e in rows]},
         "text": [label(reader.text(e.sentence), limit=200) for e in rows], "hovertemplate": "%{text}<extra></extra>"},
    ]  # fmt: skip


def _dose(days: Days, n: int, layout: Spec, reader: Reader) -> Spec:
    """The dose so far, a step a day."""
    layout[_key(n)] |= {"ticksuffix": " h", "rangemode": "tozero"}
    return {
        "type": "scatter", "mode": "lines", "x": reader.wall(days.time), "y": to_digits(days.dose, DOSE_DIGITS), "yaxis": _axis(n), "name": "dose so far",
        "line": {"color": "@pencil", "width": 1.8, "shape": "hv"},
        "hovertemplate": "%{x|%-d %b %Y}: %{y} h at the rating<extra></extra>",
    }  # fmt: skip


def ratings_of(life: ProbeLife) -> tuple[float, ...]:
    """The ratings of the last stay [degC]."""
    if not life.stays:
        return ()
    return life.stays[-1].ratings.continuous_degc, life.stays[-1].ratings.sterilisation_degc


def heat_title(life: ProbeLife, reader: Reader) -> str:
    """What the panel of heat holds, with the ratings of the last stay."""
    shown = [reader.amount(level, "degC", 1.0) for level in ratings_of(life)]
    if not shown:
        return "Highest of each day"
    assumed = ", assumed" if life.stays[-1].ratings.assumed else ""
    return f"Highest of each day; dashed: rated {shown[0]}, steam {shown[1]}{assumed}"


def track_title(track: Track, unit: str = "") -> str:
    """The parameter, with its unit where the scale does not have it, and whose limits are drawn with it."""
    words = capital(with_unit(PARAMETER_WORDS.get(track.parameter, track.parameter.replace("_", " ")), unit))
    return f"{words}; {track.limits.source}" if track.limits else words


def _track(track: Track, n: int, layout: Spec, reader: Reader, ends: tuple[str, str]) -> list[Spec]:
    """As found and as left with 90 % bands, and the limits of acceptance."""
    unit = label(reader.unit(track.unit))
    values = _shown([p.value for p in track.points], track, reader)
    halves = _shown([BAND * p.uncertainty for p in track.points], track, reader)
    seen = [v + side * np.nan_to_num(h) for v, h in zip(values, halves, strict=True) for side in (-1, 1)]
    if track.limits:
        for limit in (track.limits.low, track.limits.high):
            if math.isfinite(limit):
                seen += _shown([limit], track, reader)
                _limit_line(layout, n, seen[-1], ends, f"limit {reader.amount(limit, track.unit)}", "@mark")
    air = (max(seen) - min(seen)) * 0.14 or max(abs(max(seen)) * 0.02, 1e-6)
    layout[_key(n)] |= {
        "ticksuffix": f" {unit}" if unit else "", "range": [min(seen) - air, max(seen) + air], "nticks": 5,
    }  # fmt: skip
    made: list[Spec] = []
    for phase, symbol in (("as found", "circle-open"), ("as left", "circle")):
        rows = [p for p in track.points if p.phase == phase]
        figures = _shown([supported(p.value, p.uncertainty) for p in rows], track, reader)
        bands = [supported(BAND * p.uncertainty, BAND * p.uncertainty) for p in rows]
        if rows:
            made.append(
                {"type": "scatter", "mode": "lines+markers" if phase == "as left" else "markers", "yaxis": _axis(n), "name": phase,
                 "x": [stamp(t) for t in reader.wall(np.array([p.time for p in rows], np.int64))],
                 "y": figures,
                 "text": [label(_found(p, track, reader)) for p in rows],
                 "error_y": {"type": "data", "array": _shown(bands, track, reader), "color": "@pencil", "thickness": 1, "width": 3},
                 "line": {"color": "@mark", "width": 1.2, "dash": "dot"}, "marker": {"color": "@mark", "size": 9, "symbol": symbol},
                 "hovertemplate": f"{phase}, %{{x|%-d %b %Y}}: %{{text}}<extra></extra>"}
            )  # fmt: skip
    return made


def _shown(figures: list[float], track: Track, reader: Reader) -> list[float]:
    """Figures of a parameter in the unit shown; one in the unit of the reading is an offset of it."""
    return cast(list[float], reader.apart(np.array(figures, np.float64), track.unit).tolist())


def _found(found: TrackPoint, track: Track, reader: Reader) -> str:
    """A parameter in words, with the digits its uncertainty supports."""
    text = reader.amount(found.value, track.unit, found.uncertainty)
    known = math.isfinite(found.uncertainty) and found.uncertainty > 0
    return f"{text} ± {reader.half(found.uncertainty, track.unit)}" if known else text


def _limit_line(layout: Spec, n: int, at: float, ends: tuple[str, str], words: str, ink: str) -> None:
    layout["shapes"].append(
        {"type": "line", "x0": ends[0], "x1": ends[1], "y0": at, "y1": at, "yref": _axis(n),
         "line": {"color": ink, "width": 1, "dash": "6px,4px"}}
    )  # fmt: skip
    if not words:
        return
    layout["annotations"].append(
        note(label(words), ink=ink, x=ends[0], y=at, yref=_axis(n), xanchor="left", yanchor="middle")
    )  # fmt: skip


def record_ends(found: Found) -> tuple[int, int]:
    """First and last instant of all points that have a record [ns]."""
    held = [f for f in found.values() if f.end > f.start]
    return min((f.start for f in held), default=0), max((f.end for f in held), default=NS_PER_DAY)
