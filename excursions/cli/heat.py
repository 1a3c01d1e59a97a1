"""Heat in the terminal: the answer in a sentence, the exposure, then all of them; and the same as JSON.

It is printed from rows of the tables ``lives`` and ``exposures``, so that a finished report folder answers as well as a scan.
"""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import polars as pl
import typer

from excursions import clock
from excursions.clock import minutes_text
from excursions.digits import f0_text, number
from excursions.errors import UsageError, nearest
from excursions.report.exposures import VERDICT_WORDS
from excursions.report.wording import is_seen

if TYPE_CHECKING:
    from dashboards.wording import Reader

Row = Mapping[str, object]
WIDTH, LEFT = 80, 12
MOST = 12  # exposures and probes in the terminal; the tables hold all
NEAR = 2 * clock.NS_PER_DAY  # how far from the moment asked about an exposure may lie
CAUTIONS = (
    "Steam, pressure, hot chemicals and broken glass hurt people: isolate, vent, drain and cool before a fitting is "
    "opened. Local procedures and authorised people decide who cools, retracts or replaces a probe, and when.",
    "F0 and dose describe heat on the probe. They release no batch and are no promise of a probe's maker.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Rows of both tables, the plant's zone, the unit of temperatures (``degC`` or ``degF``) and the page, if any."""

    lives: Sequence[Row]
    exposures: Sequence[Row]
    tz: ZoneInfo
    unit: str
    page: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was asked about: `life` when one probe, `exposure` the one told first, `others` the list."""

    life: Row | None
    exposure: Row | None
    others: Sequence[Row]
    sentence: str


# --- a finished report ---------------------------------------------------------------------------


def read_report(folder: Path) -> tuple[Sequence[Row], Sequence[Row], str]:
    """Rows of both tables and the zone of a finished report.

    Raises
    ------
    UsageError
        If the folder is no report, or one from before these tables.
    """
    try:
        tables = [
            pl.read_parquet(folder / "tables" / f"{name}.parquet").to_dicts()
            for name in ("lives", "exposures")
        ]
        plant = json.loads((folder / "run.json").read_text(encoding="utf-8"))["plant"]
        return tables[0], tables[1], str(plant["zone"])
    except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError) as error:
        raise UsageError(
            found=f'"{folder}", which holds no readable tables/lives.parquet, tables/exposures.parquet and run.json',
            expected="the --out folder of a finished scan",
            mend=f"run: excursions scan EXPORT... --out {folder}",
        ) from error


# --- choosing ------------------------------------------------------------------------------------


def choose(heat: Heat, *, probe: str, point: str, at: int | None) -> Answer:
    """Which life and which exposure were asked about.

    Raises
    ------
    UsageError
        If no probe or point is called so, or nothing hot is near the moment.
    """
    life = _named_life(heat, probe) if probe else None
    rows = list(heat.exposures)
    if life is not None:
        rows = [r for r in rows if _owner(r) == life["probe"]]
    if point:
        name = _named_point(heat, point)
        rows = [r for r in rows if r["point"] == name]
        here = [row for row in heat.lives if name in str(row["points"]).split(" | ")]
        if life is None and len(here) == 1:
            life = here[0]
    over = [r for r in rows if r["kind"] != "sterilisation"]
    exposure = _nearest(rows, at, heat.tz) if at is not None else next(iter(over or rows), None)
    if exposure is not None and life is None and (at is not None or point):
        life = next((row for row in heat.lives if row["probe"] == _owner(exposure)), None)
    return Answer(life=life, exposure=exposure, others=rows, sentence=_first(heat, life, exposure))


def _owner(row: Row) -> str:
    return str(row["probe"] or f"<{row['point']}>")


def _named_life(heat: Heat, asked: str) -> Row:
    names = {str(row["probe"]): row for row in heat.lives}
    same = [
        row
        for name, row in names.items()
        if asked.casefold() in (name.casefold(), name.strip("<>").casefold())
    ]
    if len(same) == 1:
        return same[0]
    raise _unknown("probe", asked, list(names))


def _named_point(heat: Heat, asked: str) -> str:
    names = list(dict.fromkeys(p for row in heat.lives for p in str(row["points"]).split(" | ") if p))
    same = [name for name in names if name == asked] or [n for n in names if n.casefold() == asked.casefold()]
    if len(same) == 1:
        return same[0]
    raise _unknown("point", asked, names)


def _unknown(what: str, asked: str, names: Sequence[str]) -> UsageError:
    near = nearest(asked, names)
    some = ", ".join(sorted(names)[:12]) + (" ..." if len(names) > 12 else "")
    return UsageError(
        found=f'{what} "{asked}"',
        expected=f"one of {some or 'no probe at all'}",
        mend=f'did you mean "{near}"?' if near else f"leave --{what} out to see all",
    )


def _nearest(rows: Sequence[Row], at: int, tz: ZoneInfo) -> Row:
    """The exposure at a moment, else the nearest one within two days."""

    def away(row: Row) -> int:
        start, end = _ns(row["start"]), _ns(row["end"])
        return max(start - at, at - end, 0)

    found = min(rows, key=away, default=None)
    if found is None or away(found) > NEAR:
        raise UsageError(
            found=f"no heat exposure within two days of {clock.wall(at, tz)}",
            expected="a moment during or near one",
            mend="leave --at out to see all exposures",
        )
    return found


def _ns(value: object) -> int:
    assert isinstance(value, datetime)
    return clock.to_ns(value)


def _first(heat: Heat, life: Row | None, exposure: Row | None) -> str:
    """The sentence that answers first."""
    if life is None:
        return f"{_most_heat(heat.lives)} {exposure['sentence'] if exposure is not None else ''}".rstrip()
    if exposure is None:
        why = " because no temperature of it was exported" if life["maximum_degc"] is None else ""
        return f"{life['probe']}: no heat exposure in this record{why}."
    return str(exposure["sentence"])


def _most_heat(lives: Sequence[Row]) -> str:
    """Which probe had the most heat, and which are due for replacement."""
    if all(row["maximum_degc"] is None for row in lives):
        return "Cannot tell: no probe temperature was exported."
    if not lives or not _figure(lives[0], "dose_h") > 0:
        return "No probe whose temperature was exported was above its continuous rating in this record."
    first = lives[0]
    worn = [str(row["probe"]) for row in lives if str(row["replacement"]).startswith("Due")]
    due = (
        f"Due for replacement or regeneration: {', '.join(worn[:MOST])}."
        if worn
        else "None is known to be due for replacement."
    )
    return f"Most heat: {first['probe']} at {first['points']}, dose {number(_figure(first, 'dose_h'))} h at its continuous rating. {due}"


# --- printing ------------------------------------------------------------------------------------


def print_heat(heat: Heat, answer: Answer, *, as_json: bool) -> None:
    """Print the answer on standard output, and where its page is."""
    if as_json:
        typer.echo(json.dumps(heat_facts(heat, answer), indent=2, ensure_ascii=False))
        return
    from dashboards.wording import Reader

    reader = Reader(tz=heat.tz, temperature=heat.unit)
    lines = [*textwrap.wrap(reader.text(answer.sentence), WIDTH)]
    if answer.exposure is not None:
        lines += ["", *_exposure_lines(answer.exposure, reader)]
    if answer.life is not None:
        lines += ["", *_life_lines(answer.life, reader)]
    lines += _list_lines(answer, reader)
    if answer.life is None:
        lines += _fleet_lines(heat, reader)
    lines += ["", *(line for text in CAUTIONS for line in _block("Take care", text))]
    typer.echo("\n".join(lines))
    if heat.page is not None:
        typer.echo(f"\nPage: {heat.page}")


def _figure(row: Row, name: str) -> float:
    value = row[name]
    return float(value) if isinstance(value, (int, float)) else math.nan


def _span(start: int, end: int, reader: Reader) -> str:
    """From when to when; the date of the end only where it is another."""
    same = reader.date(start) == reader.date(end)
    return f"{reader.moment(start)} to {reader.clock(end) if same else reader.moment(end)}"


def _exposure_lines(row: Row, reader: Reader) -> list[str]:
    unit = str(row["unit"])
    peak, bound = _figure(row, "peak_degc"), _figure(row, "bound_degc")
    assumed = ", assumed" if row["ratings_assumed"] else ", as stated"
    hidden = f"; the sampling could hide up to {reader.amount(bound, 'degC', 0.5)}" if bound > peak else ""
    rates = f"up {_rate(row, 'heating_k_per_min', reader)}, down {_rate(row, 'cooling_k_per_min', reader)}"
    dose, before = _figure(row, "dose_h"), _figure(row, "dose_before_h")
    lines = [
        ("Probe", f"{_owner(row)} at {row['point']}"),
        ("When", _span(_ns(row["start"]), _ns(row["end"]), reader)),
        ("Highest", f"{reader.amount(peak, 'degC', 0.5)}{hidden}"),
        (
            "Rated",
            f"{reader.amount(_figure(row, 'rating_continuous_degc'), 'degC', 1.0)} continuous, "
            f"{reader.amount(_figure(row, 'rating_sterilisation_degc'), 'degC', 1.0)} sterilisation{assumed}",
        ),
        (
            "Above",
            f"{_minutes(row, 'minutes_above_continuous')} above continuous, "
            f"{_minutes(row, 'minutes_above_sterilisation')} above sterilisation, "
            f"{_minutes(row, 'minutes_above_110')} above {reader.amount(110.0, 'degC', 1.0)}",
        ),
        ("Rates", f"{rates}{'; ' + str(row['shock']) if row['shock'] else ''}"),
        ("F0", f"{f0_text(_figure(row, 'f0_min'))} (T_ref 121.1 °C, z 10 K)"),
        (
            "Dose",
            f"{number(dose)} h at the continuous rating, after {number(before)} h of exposures before it in this record"
            if math.isfinite(dose)
            else "not known",
        ),
        ("Reading", _before_after(row, "reading", unit, reader)),
        ("Noise", _before_after(row, "noise", unit, reader)),
        ("Calibrated", _calibration(row, reader)),
        ("Verdict", VERDICT_WORDS.get(str(row["verdict"]), str(row["verdict"]))),
    ]
    return [line for head, text in lines for line in _block(head, reader.text(text))]


def _rate(row: Row, name: str, reader: Reader) -> str:
    value = _figure(row, name)
    return reader.amount(value, "K/min", 1.0 if value > 10 else 0.1) if math.isfinite(value) else "not known"


def _minutes(row: Row, name: str) -> str:
    value = _figure(row, name)
    return minutes_text(value) if math.isfinite(value) else "not known"


def _before_after(row: Row, what: str, unit: str, reader: Reader) -> str:
    before, after = _figure(row, f"{what}_before"), _figure(row, f"{what}_after")
    fine = (
        max(abs(before), abs(after)) / 20 if what == "noise" else math.nan
    )  # a spread is known to two digits
    words = [reader.amount(v, unit, fine) if math.isfinite(v) else "not known" for v in (before, after)]
    near = "measuring hours" if what == "reading" else "day"
    text = f"{words[0]} in the {near} before, {words[1]} in the {near} after"
    error, band = _figure(row, "error"), _figure(row, "error_band")
    if what == "reading":
        text += " (three next to it; the process moves too)"
        if math.isfinite(error) and not is_seen(error, band):
            text += f"; no error seen, up to {reader.difference(band, unit, band)} could hide"
        elif math.isfinite(error):
            way = "too high" if error > 0 else "too low"
            text += f"; off by {reader.difference(abs(error), unit, band)} ± {reader.difference(band, unit, band)}, {way}"
    return text


def _calibration(row: Row, reader: Reader) -> str:
    found = str(row["found"] or "")
    if row["calibration"] is None:
        return found or "no calibration of this probe has followed yet"
    return f"next on {reader.moment(_ns(row['calibration']))}{': ' + found if found else ''}"


def _life_lines(row: Row, reader: Reader) -> list[str]:
    bands = [
        _figure(row, n)
        for n in (
            "hours_to_continuous_h",
            "hours_continuous_to_sterilisation_h",
            "hours_above_sterilisation_h",
        )
    ]
    model = f" ({row['model']})" if row["model"] else ""
    heat = (
        f"{number(bands[0], 1.0)} h up to the continuous rating, {number(bands[1], 0.1)} h up to the sterilisation rating, "
        f"{number(bands[2] * 60, 1.0)} min above it"
        if all(math.isfinite(b) for b in bands)
        else "no temperature known"
    )
    moments = [
        reader.moment(_ns(row[n])) if row[n] is not None else "not known" for n in ("last_calibration", "due")
    ]
    lines = [
        ("Life", f"{row['probe']}{model}: {row['sentence']}"),
        ("Heat", heat),
        ("Calibrated", f"{row['calibrations']} times, last {moments[0]}, next due {moments[1]}"),
        ("Replace", str(row["replacement"])),
    ]
    return [line for head, text in lines for line in _block(head, reader.text(text))]


def _list_lines(answer: Answer, reader: Reader) -> list[str]:
    over = [row for row in answer.others if row["kind"] != "sterilisation"]
    routine = len(answer.others) - len(over)
    if not answer.others:
        return []
    lines = [
        "",
        "Exposures above a rating, or that may have been, hottest first:"
        if over
        else "No exposure above a rating.",
    ]
    for row in over[:MOST]:
        lines += textwrap.wrap(
            reader.text(f"{_owner(row)} at {row['sentence']}"),
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    if len(over) > MOST:
        lines.append(f"  ... and {len(over) - MOST} more in tables/exposures.csv")
    if routine:
        hottest = max(
            (_figure(r, "peak_degc") for r in answer.others if r["kind"] == "sterilisation"), default=math.nan
        )
        lines.append(
            f"  and {routine} sterilisations within the rating, up to {reader.amount(hottest, 'degC', 0.5)}"
        )
    return lines


def _fleet_lines(heat: Heat, reader: Reader) -> list[str]:
    lines = ["", "Probes, most heat first (dose: hours at the continuous rating):"]
    for row in heat.lives[:MOST]:
        dose, top = _figure(row, "dose_h"), _figure(row, "maximum_degc")
        shown = f"{number(dose)} h" if math.isfinite(dose) else "not known"
        highest = reader.amount(top, "degC", 1.0) if math.isfinite(top) else "–"
        text = f"{row['probe']} at {row['points'] or 'no point'}: dose {shown}, highest {highest}. {row['replacement']}"
        lines += textwrap.wrap(reader.text(text), WIDTH, initial_indent="  ", subsequent_indent="    ")
    if len(heat.lives) > MOST:
        lines.append(f"  ... and {len(heat.lives) - MOST} more in tables/lives.csv")
    return lines


def _block(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{head:<{LEFT}}", subsequent_indent=" " * LEFT)


# --- for machines --------------------------------------------------------------------------------


def heat_facts(heat: Heat, answer: Answer) -> dict[str, object]:
    """The answer for machines: columns as in tables/columns.csv, times ISO 8601 UTC, null where unknown."""
    return {
        "sentence": answer.sentence,
        "exposure": _plain(answer.exposure),
        "life": _plain(answer.life),
        "exposures": [_plain(row) for row in answer.others],
        "lives": [_plain(row) for row in heat.lives] if answer.life is None else [],
        "cautions": list(CAUTIONS),
        "page": str(heat.page) if heat.page else None,
    }


def _plain(row: Row | None) -> dict[str, object] | None:
    if row is None:
        return None
    return {name: clock.iso(clock.to_ns(v)) if isinstance(v, datetime) else v for name, v in row.items()}
