"""A scan result of our own making: invented points with every verdict, long names and hostile names.

Nothing here went through the pipeline; it exists so that pages can be tested without files.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE
from excursions.conclusions import HeatTally
from excursions.detect.heat.bands import tally_heat
from excursions.kinds import KINDS
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import (
    CALIBRATING,
    HOLD,
    MEASURING,
    RECOVERING,
    STEAMING,
    WASHING,
    Calibration,
    Decision,
    Doubt,
    Event,
    FloatArray,
    LabSample,
    Link,
    Parameter,
    Sampling,
    Shift,
    StateLine,
)
from excursions.report.result import Levels, PointFindings, ScanResult, Trace, Verdict
from excursions.report.thin import thin

START = 1_767_222_000_000_000_000  # 2026-01-01 00:00 in Vienna
HOSTILE = "<script>window.broken=1</script>\"'&{{7*7}}"
LONG = "Fermenter hall north, third row, second vessel from the door, outlet side, pH after the heat exchanger (redundant, do not use for control)"
NON_LATIN = "Бродильный чан 3 · 発酵槽"
FORMULA = "=cmd|' /C calc'!A0"
PATH = "../../etc/passwd"
ADVICE = KINDS["step"].advice


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What happens at one invented point; days are counted from the start of the record."""

    name: str
    measurand: str
    verdict: str
    kind: str = ""
    day: float = 0.0
    until: float = math.nan
    size: float = 0.0
    level: float = 7.0
    swing: float = 0.1
    noise: float = 0.01
    origin: str = "probe"
    description: str = ""


STORIES = (
    Story(name="AT-101", measurand="ph", verdict="doubt", kind="over_temperature", day=92.4, until=92.45, size=143.2, description="reactor 1, jacket side"),
    Story(name="AT-102", measurand="ph", verdict="do not use", kind="stuck", day=111.2, size=7.02, swing=0.15),
    Story(name="AT-201", measurand="conductivity", verdict="doubt", kind="drift", day=60.0, size=-180.0, level=2100.0, swing=40.0, noise=4.0),
    Story(name="AT-202", measurand="turbidity", verdict="doubt", kind="fouling", day=80.0, size=3.1, level=4.0, swing=0.4, noise=0.08),
    Story(name="AT-301", measurand="oxygen", verdict="cannot tell", kind="step", day=104.0, size=-0.8, level=6.5, swing=0.5, noise=0.05, origin="undecided"),
    Story(name="AT-302", measurand="oxygen", verdict="doubt", kind="noise_growth", day=98.0, size=4.2, level=7.1, swing=0.4, noise=0.05),
    Story(name="AT-401", measurand="redox", verdict="trust", level=310.0, swing=15.0, noise=2.0),
    Story(name="AT-402", measurand="co2", verdict="trust", kind="step", day=30.0, until=30.0, size=350.0, level=4800.0, swing=120.0, noise=20.0, origin="process"),
    Story(name=HOSTILE, measurand="ph", verdict="doubt", kind="step", day=70.0, size=0.32),
    Story(name=LONG, measurand="ph", verdict="trust"),
    Story(name=NON_LATIN, measurand="oxygen_saturation", verdict="trust", level=88.0, swing=6.0, noise=0.6),
    Story(name=FORMULA, measurand="other", verdict="trust", level=12.0),
    Story(name=PATH, measurand="redox", verdict="cannot tell", kind="dropout", day=101.0, size=9.5, level=250.0, swing=10.0, noise=1.0, origin="undecided"),
)  # fmt: skip


def instant(day: float) -> int:
    """Nanoseconds of a day of the invented record, to the minute."""
    return START + round(day * 1440) * NS_PER_MINUTE


def made_event(story: Story, days: float) -> Event:
    """The leading event of a story."""
    end = story.until if math.isfinite(story.until) else days
    unit = {"over_temperature": "degC", "noise_growth": "ratio", "dropout": "h"}.get(
        story.kind, Point(name="x", measurand=story.measurand).quantity.unit
    )
    half = abs(story.size) * 0.15
    heat = story.kind == "over_temperature"
    return Event(
        point=story.name,
        kind=story.kind,
        start=instant(story.day),
        end=instant(end) + NS_PER_MINUTE,
        size=story.size,
        size_unit=unit,
        size_low=story.size if heat else story.size - half,
        size_high=story.size + (4.1 if heat else half),
        confidence=0.87,
        origin=story.origin,
        severity="act",
        probe=f"S-{story.name[:6]}-2",
        open_end=not math.isfinite(story.until),
        onset_uncertainty_s=1_800.0,
        evidence=(
            "began 12 min after the steam-out ended",
            "the neighbouring point did not move",
            f"text from the file is shown as text: {HOSTILE}",
        ),
        details={"minutes_above_rating_min": 31.0, "f0_min": 412.0, "dose_h": 6.3}
        if heat
        else {"rate_per_day": story.size / 40},
    )


def made_series(
    story: Story, days: float, seed: int, step_min: int
) -> tuple[np.ndarray, FloatArray, FloatArray]:
    """Time [ns], reading and temperature [degC] with the story's event in it."""
    draw = np.random.default_rng(seed)
    count = int(days * 1440 / step_min)
    time = START + np.arange(count, dtype=np.int64) * step_min * NS_PER_MINUTE
    day = np.arange(count) * step_min / 1440
    value = story.level + story.swing * (
        np.sin(2 * np.pi * day / 6.3) + 0.6 * np.sign(np.sin(2 * np.pi * day / 2.9))
    )
    value += story.noise * draw.normal(size=count)
    temperature = 37 + 1.2 * np.sin(2 * np.pi * day) + 0.1 * draw.normal(size=count)
    for steam in steam_days(days):
        inside = (day >= steam) & (day < steam + 40 / 1440)
        temperature[inside] = 121.6 + 0.2 * draw.normal(size=int(inside.sum()))
    after = day >= story.day
    match story.kind:
        case "over_temperature":
            hot = after & (day < story.until)
            temperature[hot] = 143.2 - 8 * np.abs(np.linspace(-1, 1, int(hot.sum())))
            temperature[np.flatnonzero(hot)[int(hot.sum()) // 2]] = story.size
            value[after] += 0.24
        case "stuck":
            value[after] = story.size
        case "drift" | "fouling":
            value[after] += story.size * (day[after] - story.day) / (days - story.day)
        case "step" if story.origin != "process":
            value[after] += story.size
        case "step":
            value[after & (day < story.day + 3)] += story.size
        case "noise_growth":
            value[after] += story.noise * story.size * draw.normal(size=int(after.sum()))
        case "dropout":
            value[after] = np.nan
    value[(day > 44) & (day < 45.3)] = np.nan
    return time, np.round(value, 3), np.round(temperature, 2)


@lru_cache(maxsize=64)
def made_signals(
    story: Story, days: float, seed: int, step_min: int
) -> tuple[np.ndarray, FloatArray, FloatArray, HeatTally]:
    """The series and their heat; points of a fleet that differ in nothing but their name share them, unchanged."""
    time, value, temperature = made_series(story, days, seed, step_min)
    edges = np.array([40.0, 60.0, 80.0, 100.0, 120.0, 130.0, 140.0])
    for held in (time, value, temperature):
        held.setflags(write=False)
    return time, value, temperature, tally_heat(time, temperature, edges, cuts=np.array([instant(5)]))


def steam_days(days: float) -> FloatArray:
    """Days on which the invented plant sterilises."""
    return np.arange(5.25, days, 14.0)


@lru_cache(maxsize=4)
def made_states(days: float) -> StateLine:
    """Washes every eight hours, a sterilisation a fortnight, two calibrations under hold."""
    marks = [(day, 2 / 1440, WASHING, "wash valve open") for day in np.arange(0.3, days, 1 / 3)]
    marks += [(day, 40 / 1440, STEAMING, "plateau at 121 °C") for day in steam_days(days)]
    marks += [(day + 40 / 1440, 30 / 1440, RECOVERING, "after steam") for day in steam_days(days)]
    marks += [(day, 20 / 1440, HOLD, "hold flag") for day in (10.4, 86.4) if day < days]
    marks += [
        (day + 20 / 1440, 25 / 1440, CALIBRATING, "two buffer plateaus") for day in (10.4, 86.4) if day < days
    ]
    spans: list[tuple[int, int, int, float, str]] = []
    now = START
    for begin, length, code, why in sorted(marks):
        a, b = instant(begin), instant(begin + length)
        if a < now:
            continue
        spans += [(now, a, MEASURING, 0.98, "nothing speaks against it"), (a, b, code, 0.9, why)]
        now = b
    spans.append((now, instant(days), MEASURING, 0.98, "nothing speaks against it"))
    start, end, code, sure, why = zip(*[s for s in spans if s[1] > s[0]], strict=True)
    return StateLine(
        start=np.array(start, np.int64), end=np.array(end, np.int64), code=np.array(code, np.uint8),
        confidence=np.array(sure), evidence=tuple(why),
    )  # fmt: skip


def sterilisations(story: Story, days: float) -> list[Event]:
    """One routine event a fortnight."""
    return [
        Event(
            point=story.name, kind="sterilisation", start=instant(day), end=instant(day) + 40 * NS_PER_MINUTE,
            size=121.9, size_low=121.9, size_high=122.3, size_unit="degC", confidence=0.99, origin="routine",
            severity="note", probe=f"S-{story.name[:6]}-2", evidence=("steady plateau, 40 min",),
            details={"f0_min": 44.0, "dose_h": 0.0},
        )
        for day in steam_days(days)
    ]  # fmt: skip


def trace(
    name: str, unit: str, time: np.ndarray, value: FloatArray, events: list[Event], budget: int
) -> Trace:
    """Thin a made series the way the pipeline does."""
    keep = np.array([[e.start, e.end] for e in events], np.int64).reshape(-1, 2)
    index = thin(time, value, budget, keep)
    return Trace(name=name, unit=unit, time=time[index], value=value[index], samples=int(time.size))


def made_point(
    story: Story, *, days: float = 120.0, seed: int = 7, step_min: int = 5, budget: int = 6_000
) -> PointFindings:
    """One invented point with traces, states, levels and events."""
    point = Point(
        name=story.name, measurand=story.measurand, description=story.description, value=f"{story.name}.PV",
        temperature=f"{story.name}.TT", plan_days=30.0,
        neighbours={"AT-101": ("AT-102", "AT-201"), HOSTILE: (LONG,)}.get(story.name, ()), inferred={"measurand": "tag name and range"},
    )  # fmt: skip
    time, value, temperature, heat = made_signals(
        dataclasses.replace(story, name="", description=""), days, seed, step_min
    )
    events = sterilisations(story, days) + ([made_event(story, days)] if story.kind else [])
    events.sort(key=lambda e: e.start)
    hour = time // NS_PER_HOUR
    first = np.flatnonzero(np.diff(hour, prepend=hour[0] - 1))
    unit = point.quantity.unit
    noise = np.full(first.size, story.noise) * (1 + 0.1 * np.sin(np.arange(first.size)))
    noise[time[first] >= instant(story.day)] *= story.size if story.kind == "noise_growth" else 1.0
    return PointFindings(
        point=point,
        start=int(time[0]),
        end=int(time[-1]),
        samples=2 * int(time.size),
        events=tuple(events),
        states=made_states(days),
        sampling={
            "value": Sampling(kind="exception", interval_s=step_min * 60.0, heartbeat_s=3600.0, gap_s=9000.0,
                              resolution=0.001, deadband=0.01, longest_silence_s=1.3 * 86400, share_bad=0.002),
            "temperature": Sampling(kind="averages", interval_s=600.0, gap_s=3600.0, resolution=0.01),
        },
        traces={
            "value": trace("value", unit, time, value, events, budget),
            "temperature": trace("temperature", "degC", time, temperature, events, budget),
            "noise": Trace(name="noise", unit=unit, time=time[first], value=noise, samples=int(first.size)),
        },
        levels=Levels(time=(time[first] // NS_PER_HOUR) * NS_PER_HOUR, value=value[first], temperature=temperature[first]),
        heat=heat,
        decisions=(Decision(subject=story.name, what=f"measurand is {point.quantity.label}",
                            why="name of the tag and range of the readings", option="measurand in the register"),),
    )  # fmt: skip


def made_verdict(findings: PointFindings, story: Story) -> Verdict:
    """The answer that goes with a story."""
    lead = next((e for e in findings.events if e.kind == story.kind and story.kind), None)
    rank = {"do not use": 4, "doubt": 3, "cannot tell": 2, "trust": 1}[story.verdict]
    trouble = story.verdict != "trust"
    label = KINDS[story.kind].label if lead else ""
    return Verdict(
        point=story.name,
        verdict=story.verdict,
        sentence=f"{label[:1].upper()}{label[1:]} on {story.day:.0f} January or later; reads about 0.24 too high since then."
        if trouble
        else "Nothing in this record speaks against the reading now.",
        since=lead.start if lead and trouble else None,
        advice=KINDS[story.kind].advice
        if lead and trouble
        else "Nothing to do until the next planned calibration.",
        caution=KINDS[story.kind].caution if lead and trouble else "",
        rank_score=rank + story.day / 1000,
        error=0.24 if story.verdict == "doubt" else math.nan,
        error_band=0.06 if story.verdict == "doubt" else math.nan,
        event=lead.id if lead and trouble else "",
        knowledge="Last calibration 28 Mar 09:20, 33 d before the end of the record.",
        reasons=("begins within minutes of heat", "does not come back", "neighbour unmoved")
        if trouble
        else (),
    )


def made_calibrations(story: Story, days: float) -> tuple[Calibration, ...]:
    """Two calibrations, the second with something that does not fit."""
    names = Point(name="x", measurand=story.measurand).quantity.parameters or ("offset",)
    units = {
        "slope": "%",
        "zero_point": "pH",
        "offset": "mV",
        "cell_constant": "1/cm",
        "zero": "mg/L",
        "gain": "1",
    }

    def parameters(scale: float) -> dict[str, Parameter]:
        return {
            n: Parameter(
                value=98.2 * scale if n == "slope" else 6.98 * scale,
                uncertainty=0.4,
                unit=units[n],
                basis="computed",
            )
            for n in names
        }

    return tuple(
        Calibration(
            time=instant(day), point=story.name, probe=f"S-{story.name[:6]}-2", measurand=story.measurand,
            action="calibration" if number == 0 else "verification",
            as_found=parameters(1 - 0.02 * number), as_left=parameters(1.0),
            checks=("no trace in the record between 08:00 and 12:00",) if number else (),
            comment=f"by hand {HOSTILE}" if number else "",
        )
        for number, day in enumerate((10.42, 86.42))
        if day < days
    )  # fmt: skip


def made_shift(story: Story, event: Event) -> tuple[Shift, list[Link]]:
    """One shift between the calibrations with three candidate causes."""
    shift = Shift(
        probe=f"S-{story.name[:6]}-2", point=story.name, measurand=story.measurand,
        parameter=(Point(name="x", measurand=story.measurand).quantity.parameters or ("offset",))[0],
        unit="%", start=instant(10.42), end=instant(86.42), before=98.2, after=94.1, uncertainty=0.9,
        p_value=0.0004, significant=True, reading_error=0.21, reading_error_uncertainty=0.05,
    )  # fmt: skip
    causes = [("event", event.id, 0.81), ("ageing", "", 0.12), ("unrecorded", "", 0.07)]
    return shift, [
        Link(
            shift=shift.id, cause=cause, event=of, probability=p, rank=rank, predicted=-4.0 * p, predicted_uncertainty=1.1,
            reasons=("size and sign fit", "nothing else in between"),
        )
        for rank, (cause, of, p) in enumerate(causes, start=1)
    ]  # fmt: skip


def made_result(
    stories: tuple[Story, ...] = STORIES,
    *,
    days: float = 120.0,
    step_min: int = 5,
    budget: int = 6_000,
    seeds: int = 1_000,
) -> ScanResult:
    """A whole invented scan; the points have so many different seeds."""
    points = tuple(
        made_point(s, days=days, seed=n % seeds, step_min=step_min, budget=budget)
        for n, s in enumerate(stories)
    )
    verdicts = sorted(
        (made_verdict(f, s) for f, s in zip(points, stories, strict=True)),
        key=lambda v: (-v.rank_score, v.point),
    )
    shifts: list[Shift] = []
    links: list[Link] = []
    doubts: list[Doubt] = []
    outcomes: dict[str, tuple[str, str]] = {}
    for story, findings in zip(stories, points, strict=True):
        lead = next((e for e in findings.events if story.kind and e.kind == story.kind), None)
        if lead is None:
            continue
        shift, causes = made_shift(story, lead)
        shifts.append(shift)
        links += causes
        outcomes[lead.id] = ("not verified yet", "No calibration of this probe came after it.")
        if story.verdict == "doubt":
            error = 0.24 if story.kind == "over_temperature" else story.size
            half = abs(error) * 0.25
            doubts.append(
                Doubt(
                    point=story.name, probe=lead.probe, start=lead.start, end=findings.end, open_end=True,
                    knots=((lead.start, error if story.kind in ("step", "over_temperature") else 0.0), (findings.end, error)),
                    band=(half, half), basis=f"the {KINDS[story.kind].label} found", hours_out_of_tolerance=412.5,
                    event=lead.id, reasons=("error starts at the event",),
                )
            )  # fmt: skip
    return ScanResult(
        plant=Plant(
            name="Invented plant", zone="Europe/Vienna", points=tuple(f.point for f in points),
            probes=tuple(Probe(serial=f"S-{s.name[:6]}-2", measurand=s.measurand, rating_continuous_degc=80.0,
                               rating_sterilisation_degc=130.0 if n == 0 else None) for n, s in enumerate(stories)),
            installations=tuple(
                row
                for s in stories
                for row in (
                    Installation(probe=f"S-{s.name[:6]}-1", point=s.name, start=instant(0), end=instant(5)),
                    Installation(probe=f"S-{s.name[:6]}-2", point=s.name, start=instant(5), end=None),
                )
            ),
        ),
        points=points,
        verdicts=tuple(verdicts),
        calibrations=tuple(c for s in stories for c in made_calibrations(s, days)),
        shifts=tuple(shifts),
        links=tuple(links),
        doubts=tuple(doubts),
        samples=tuple(
            LabSample(point=s.name, time=instant(day), value=s.level + 0.02 * n, unit="", comment="grab sample")
            for s in stories[:4]
            for n, day in enumerate(np.arange(8.0, days, 11.0))
        ),
        decisions=(
            Decision(subject="export_march.csv", what="times are Europe/Vienna", why="the register says so", option="--tz"),
            Decision(subject=HOSTILE, what="paired with a temperature", why="same stem of the tag names", option="temperature in the register"),
            *(d for f in points for d in f.decisions),
        ),
        outcomes=outcomes,
        run={
            "run": "a1b2c3d4e5",
            "version": "0.1.0",
            "versions": {"numpy": "2.4", "plotly": "7.1", "polars": "2.1", "python": "3.11", "scipy": "1.16"},
            "settings": {},
            "inputs": {
                "exports": [{"path": "export_march.csv", "sha256": "0" * 64, "rows": 1_244_160, "used": 1_244_100, "refused": 60,
                             "dialect": "long", "first": "2025-12-31T23:00:00Z", "last": "2026-04-30T22:00:00Z"}],
                "calibrations": [{"path": "calibrations.csv", "sha256": "1" * 64, "rows": 26, "used": 26, "refused": 0}],
                "samples": [], "register": {"path": "plant.toml", "sha256": "2" * 64},
                "ignored": [{"file": "notes.docx", "reason": "not a table"}],
            },
            "rows": {"read": 1_244_160, "used": 1_244_000, "duplicates": 80, "conflicts": 20, "refused": 60},
            "status_words": [{"word": "Bad Input", "meaning": "bad", "count": 312}],
            "problems": [f'calibrations.csv, line 14, column "slope": found "{HOSTILE}", expected a number. Write 98.2.'],
        },
    )  # fmt: skip


def made_fleet(count: int, *, days: float = 42.0) -> ScanResult:
    """Many points with every second one in trouble, for size and speed."""
    plain = [s for s in STORIES if s.name.startswith("AT-")]
    stories = tuple(
        Story(
            name=f"AT-{n:04d}", measurand=base.measurand, verdict=base.verdict, kind=base.kind,
            day=base.day % 30 + 3, until=(base.day % 30 + 3.05) if math.isfinite(base.until) else math.nan,
            size=base.size, level=base.level, swing=base.swing, noise=base.noise, origin=base.origin,
        )
        for n in range(count)
        for base in [plain[n % len(plain)]]
    )  # fmt: skip
    return made_result(stories, days=days, step_min=30, budget=300, seeds=5 * len(plain))
