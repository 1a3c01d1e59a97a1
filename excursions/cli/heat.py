"""Heat in the terminal: the answer in a sentence, the exposure, then all of them; and the same as JSON.

It is printed from rows of the tables ``lives`` and ``exposures``, so that a finished report folder answers as well as a scan.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import typer

from excursions import clock
from excursions.cli.answer import spoken
from excursions.cli.heat_asked import MOST, Answer, Heat, Row, at, figure, ns, owner
from excursions.cli.wrapping import wrapped
from excursions.clock import minutes_text
from excursions.digits import DEGREE, f0_text, number
from excursions.report.exposures import VERDICT_WORDS
from excursions.report.lives import is_unknown
from excursions.report.reader import Exported, Reader, exported_in
from excursions.report.wording import is_seen

WIDTH, LEFT = 80, 12
CAUTIONS = (
    "Steam, pressure, hot chemicals and broken glass hurt people: isolate, vent, drain and cool before a fitting is "
    "opened. Local procedures and authorised people decide who cools, retracts or replaces a probe, and when.",
    "F0 and dose describe heat on the probe. They release no batch and are no promise of a probe's maker.",
)


# --- printing ------------------------------------------------------------------------------------


def print_heat(heat: Heat, answer: Answer, *, as_json: bool) -> None:
    """Print the answer on standard output, and where its page is."""
    reader = Reader(tz=heat.tz, temperature=heat.unit)
    if as_json:
        facts = spoken(heat_facts(heat, answer), reader.text)
        typer.echo(json.dumps(facts, indent=2, ensure_ascii=False))
        return
    if answer.exposure is not None:
        reader = replace(reader, exported=_exported(heat, answer.exposure))
    lines = [*wrapped(reader.text(answer.sentence), WIDTH)]
    if answer.exposure is not None:
        lines += ["", *_exposure_lines(answer.exposure, reader)]
    if answer.life is not None:
        lines += ["", *_life_lines(answer.life, reader)]
    lines += _list_lines(answer, reader)
    if answer.life is None:
        lines += _fleet_lines(answer.lives, reader)
    lines += ["", *(line for text in CAUTIONS for line in _block("Take care", text))]
    typer.echo("\n".join(lines))
    if heat.page is not None:
        typer.echo(f"\nPage: {heat.page}")


def _exported(heat: Heat, row: Row) -> Exported | None:
    """The unit in which the point of a row was exported, where it is another than the table's."""
    point = heat.plant.point(str(row["point"]))
    return exported_in(point, point.unit) if point is not None else None


def _span(start: int, end: int, reader: Reader) -> str:
    """From when to when; the date of the end only where it is another."""
    lasting = round((end - start) / clock.NS_PER_MINUTE) * clock.NS_PER_MINUTE
    start -= start % clock.NS_PER_MINUTE  # as sentences and pages write it
    end = start + lasting  # so that its length is theirs
    same = reader.date(start) == reader.date(end)
    return f"{reader.moment(start)} to {reader.clock(end) if same else reader.moment(end)}"


def _exposure_lines(row: Row, reader: Reader) -> list[str]:
    unit = str(row["unit"])
    peak, bound = figure(row, "peak_degc"), figure(row, "bound_degc")
    assumed = ", assumed" if row["ratings_assumed"] else ", as stated"
    hidden = f"; the sampling could hide up to {reader.amount(bound, 'degC', DEGREE)}" if bound > peak else ""
    rates = f"up {_rate(row, 'heating_k_per_min', reader)}, down {_rate(row, 'cooling_k_per_min', reader)}"
    dose, before = figure(row, "dose_h"), figure(row, "dose_before_h")
    lines = [
        ("Probe", at(owner(row), row["point"])),
        ("When", _span(ns(row["start"]), ns(row["end"]), reader)),
        ("Highest", f"{reader.amount(peak, 'degC', DEGREE)}{hidden}"),
        (
            "Rated",
            f"{reader.amount(figure(row, 'rating_continuous_degc'), 'degC', 1.0)} continuous, "
            f"{reader.amount(figure(row, 'rating_sterilisation_degc'), 'degC', 1.0)} sterilisation{assumed}",
        ),
        (
            "Above",
            f"{_minutes(row, 'minutes_above_continuous')} above continuous, "
            f"{_minutes(row, 'minutes_above_sterilisation')} above sterilisation, "
            f"{_minutes(row, 'minutes_above_110')} above {reader.amount(110.0, 'degC', 1.0)}",
        ),
        ("Rates", f"{rates}{'; ' + str(row['shock']) if row['shock'] else ''}"),
        ("F0", f"{f0_text(figure(row, 'f0_min'))} (T_ref 121.1 °C, z 10 K)"),
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
    value = figure(row, name)
    return reader.amount(value, "K/min", 1.0 if value > 10 else 0.1) if math.isfinite(value) else "not known"


def _minutes(row: Row, name: str) -> str:
    value = figure(row, name)
    return minutes_text(value) if math.isfinite(value) else "not known"


def _before_after(row: Row, what: str, unit: str, reader: Reader) -> str:
    before, after = figure(row, f"{what}_before"), figure(row, f"{what}_after")
    fine = (
        max(abs(before), abs(after)) / 20 if what == "noise" else math.nan
    )  # a spread is known to two digits
    words = [reader.amount(v, unit, fine) if math.isfinite(v) else "not known" for v in (before, after)]
    near = "measuring hours" if what == "reading" else "day"
    text = f"{words[0]} in the {near} before, {words[1]} in the {near} after"
    error, band = figure(row, "error"), figure(row, "error_band")
    if what == "reading":
        text += " (medians of the three hours next to it, in which the process may have moved as well)"
        if math.isfinite(error) and not is_seen(error, band):
            text += f"; no error seen, up to {reader.difference(band, unit, band)} could hide"
        elif math.isfinite(error):
            way = "too high" if error > 0 else "too low"
            most = "up to " if row["calibration"] is not None else ""
            text += f"; off by {most}{reader.difference(abs(error), unit, band)} ± {reader.difference(band, unit, band)}, {way}"
    return text


def _calibration(row: Row, reader: Reader) -> str:
    found = str(row["found"] or "")
    if row["calibration"] is None:
        return found or "no calibration of this probe has followed yet"
    return f"next on {reader.moment(ns(row['calibration']))}{': ' + found if found else ''}"


def _life_lines(row: Row, reader: Reader) -> list[str]:
    bands = [
        figure(row, n)
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
        told(ns(row[n])) if row[n] is not None else "not known"
        for n, told in (("last_calibration", reader.moment), ("due", reader.date))
    ]
    lines = [
        ("Life", f"{row['probe']}{model}: {row['sentence']}"),
        ("Heat", heat),
        ("Calibrated", _calibrated(row["calibrations"], *moments)),
        ("Replace", str(row["replacement"])),
    ]
    return [line for head, text in lines for line in _block(head, reader.text(text))]


def _calibrated(count: object, last: str, due: str) -> str:
    """``twice, last 9 Sep 2026, 09:30, next due 2 Oct 2026``."""
    if not count:
        return "never, as far as the logs given say"
    often = {"1": "once", "2": "twice"}.get(str(count), f"{count} times")
    return f"{often}, last {last}, next due {due}"


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
        lines += wrapped(
            reader.text(str(row["sentence"]) if is_unknown(owner(row)) else at(owner(row), row["sentence"])),
            WIDTH,
            first="  ",
            then="    ",
        )
    if len(over) > MOST:
        lines.append(f"  ... and {len(over) - MOST} more in tables/exposures.csv")
    if routine:
        hottest = max(
            (figure(r, "peak_degc") for r in answer.others if r["kind"] == "sterilisation"), default=math.nan
        )
        lines.append(
            f"  and {routine} sterilisations within the rating, up to {reader.amount(hottest, 'degC', DEGREE)}"
        )
    return lines


def _fleet_lines(lives: Sequence[Row], reader: Reader) -> list[str]:
    lines = ["", "Probes, most heat first (dose: hours at the continuous rating):"]
    for row in lives[:MOST]:
        dose, top = figure(row, "dose_h"), figure(row, "maximum_degc")
        shown = f"{number(dose)} h" if math.isfinite(dose) else "not known"
        highest = reader.amount(top, "degC", 1.0) if math.isfinite(top) else "–"
        text = f"{at(row['probe'], row['points'])}: dose {shown}, highest {highest}. {row['replacement']}"
        lines += wrapped(reader.text(text), WIDTH, first="  ", then="    ")
    if len(lives) > MOST:
        lines.append(f"  ... and {len(lives) - MOST} more in tables/lives.csv")
    return lines


def _block(head: str, text: str) -> list[str]:
    return wrapped(text, WIDTH, first=f"{head:<{LEFT}}", then=" " * LEFT)


# --- for machines --------------------------------------------------------------------------------


def heat_facts(heat: Heat, answer: Answer) -> dict[str, object]:
    """The answer for machines: columns as in tables/columns.csv, times ISO 8601 UTC, null where unknown."""
    return {
        "sentence": answer.sentence,
        "exposure": _plain(answer.exposure),
        "life": _plain(answer.life),
        "exposures": [_plain(row) for row in answer.others],
        "lives": [_plain(row) for row in answer.lives],
        "cautions": list(CAUTIONS),
        "page": str(heat.page) if heat.page else None,
    }


def _plain(row: Row | None) -> dict[str, object] | None:
    if row is None:
        return None
    return {name: clock.iso(clock.to_ns(v)) if isinstance(v, datetime) else v for name, v in row.items()}
