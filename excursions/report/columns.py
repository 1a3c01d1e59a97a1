"""What every table of a scan holds: its columns with their types, units and meaning."""

from __future__ import annotations

import re

import polars as pl

from excursions.kinds import ORIGINS, SEVERITIES
from excursions.records import OUTCOMES
from excursions.report.concluded import CONCLUDED
from excursions.report.frame import TIME, Columns, one_of
from excursions.report.life_columns import EXPOSURES, LIVES
from excursions.report.result import VERDICTS

COLUMNS: dict[str, Columns] = {
    "points": {
        "point": (pl.String, "measuring point"),
        "measurand": (pl.String, "measured quantity"),
        "unit": (pl.String, "unit of the values of this point in all tables, their sentences included"),
        "exported_unit": (
            pl.String,
            "unit of the reading in its export, in which pages and terminal tell it; empty where none is stated",
        ),
        "probe": (pl.String, "serial number of the probe at the end of the record, empty when not known"),
        "verdict": (pl.String, one_of(VERDICTS)),
        "since": (TIME, "start of the doubt that is open at the end of the record (UTC)"),
        "sentence": (pl.String, "the answer in a sentence"),
        "error": (pl.Float64, "best estimate of reading minus truth at the end of the record, in `unit`"),
        "error_band": (pl.Float64, "half width of its 90 % band, in `unit`"),
        "knowledge": (pl.String, "how much a calibration or sample confirms this"),
        "advice": (pl.String, "what to do next"),
        "caution": (pl.String, "usual caution; local procedures and authorised people decide"),
        "event": (pl.String, "id of the leading event"),
        "record_start": (TIME, "first sample (UTC)"),
        "record_end": (TIME, "last sample (UTC)"),
        "samples": (pl.Int64, "samples used, all signals of the point"),
        "events": (pl.Int64, "number of events, routine ones included"),
    },
    "events": {
        "event": (pl.String, "id: depends on point, kind and start alone"),
        "point": (pl.String, "measuring point"),
        "probe": (pl.String, "serial number of the probe, empty when not known"),
        "kind": (pl.String, "kind of event"),
        "origin": (pl.String, one_of(ORIGINS)),
        "severity": (pl.String, f"{one_of(SEVERITIES)}: by what it does to the reading"),
        "start": (TIME, "onset (UTC)"),
        "end": (TIME, "end (UTC), half-open"),
        "duration_h": (pl.Float64, "end minus start [h]"),
        "onset_uncertainty_s": (pl.Float64, "onset may be off by this much [s]"),
        "open_start": (pl.Boolean, "the record began inside the event"),
        "open_end": (
            pl.Boolean,
            "the record stopped inside the event itself; see `over` for what it left in the reading",
        ),
        "over": (
            TIME,
            "when nothing of it was left (UTC): its end, or when the reading went back or a calibration put a probe's change "
            "right; empty: not over at the end of the record",
        ),
        "size": (pl.Float64, "size of the event in `size_unit`; what it means depends on the kind"),
        "size_low": (pl.Float64, "lower end of the interval of the size [`size_unit`]"),
        "size_high": (
            pl.Float64,
            "upper end of the interval of the size (for heat: what the sampling could hide) [`size_unit`]",
        ),
        "size_unit": (pl.String, "unit of the size"),
        "confidence": (pl.Float64, "probability that kind and origin are right, 0 to 1 [1]"),
        "after": (
            pl.String,
            f"what became of it at the calibrations after it: {one_of(OUTCOMES)}; empty where it is not the probe's",
        ),
        "evidence": (pl.String, "short facts, separated by ' | '"),
        "details": (pl.String, "further figures as name=value, unit in the name, separated by ' | '"),
        "parts": (pl.String, "ids of detections merged into this event"),
    },
    "limits": {
        "point": (pl.String, "measuring point"),
        "kind": (pl.String, "kind of event"),
        "limit": (
            pl.Float64,
            "smallest event found with some certainty on this record, in `unit`; empty: it cannot show it",
        ),
        "limit_at_once": (
            pl.Float64,
            "the same, in `unit`, where it comes from one sample to the next; empty: no difference",
        ),
        "unit": (pl.String, "unit of the limit; empty for ratios of noise"),
        "lasting_h": (pl.Float64, "how long it must last for that [h]; 0 where the limit is a length itself"),
        "sentence": (pl.String, "the same in words"),
    },
    "calibrations": {
        "calibration": (pl.String, "id"),
        "time": (TIME, "when (UTC)"),
        "point": (pl.String, "measuring point"),
        "probe": (pl.String, "serial number"),
        "action": (pl.String, "calibration (parameters taken over) or verification (nothing changed)"),
        "phase": (pl.String, "as_found or as_left"),
        "parameter": (pl.String, "slope, zero_point, offset, cell_constant, gain, zero, span"),
        "value": (pl.Float64, "value in `unit`"),
        "uncertainty": (pl.Float64, "standard uncertainty in `unit`"),
        "unit": (pl.String, "unit of the parameter"),
        "basis": (pl.String, "computed from raw values, as entered, or shown by the reading when it was set"),
        "checks": (pl.String, "what does not fit in this entry, separated by ' | '"),
    },
    "shifts": {
        "shift": (pl.String, "id"),
        "probe": (pl.String, "serial number"),
        "point": (pl.String, "measuring point"),
        "parameter": (pl.String, "calibration parameter"),
        "unit": (pl.String, "unit of the parameter"),
        "start": (TIME, "calibration before, as left (UTC)"),
        "end": (TIME, "calibration after, as found (UTC)"),
        "before": (pl.Float64, "as left before [`unit`]"),
        "after": (pl.Float64, "as found after [`unit`]"),
        "change": (pl.Float64, "after minus before [`unit`]"),
        "uncertainty": (pl.Float64, "standard uncertainty of the change [`unit`]"),
        "p_value": (pl.Float64, "probability of such a change by chance alone [1]"),
        "significant": (pl.Boolean, "a change larger than its uncertainty explains"),
        "reading_error": (
            pl.Float64,
            "what the shift does to the reading where the process sat [unit of the point]",
        ),
        "reading_error_uncertainty": (pl.Float64, "standard uncertainty of that [unit of the point]"),
    },
    "links": {
        "shift": (pl.String, "id of the shift"),
        "rank": (pl.Int64, "1 is the most probable cause"),
        "cause": (pl.String, "event | ageing | unrecorded | calibration (one at either end was itself off)"),
        "event": (pl.String, "id of the event when the cause is one"),
        "probability": (pl.Float64, "probabilities of one shift sum to 1 [1]"),
        "predicted": (pl.Float64, "shift this cause predicts [unit of the parameter]"),
        "predicted_uncertainty": (pl.Float64, "standard uncertainty of that [unit of the parameter]"),
        "reasons": (pl.String, "plain reasons, separated by ' | '"),
    },
    "doubts": {
        "point": (pl.String, "measuring point"),
        "probe": (pl.String, "serial number"),
        "start": (TIME, "readings to doubt from here (UTC)"),
        "end": (TIME, "to here (UTC)"),
        "open_end": (pl.Boolean, "still open at the end of the record"),
        "error_start": (pl.Float64, "reading minus truth at the start [unit of the point]"),
        "error_end": (pl.Float64, "reading minus truth at the end [unit of the point]"),
        "band_start": (pl.Float64, "half width of the 90 % band at the start [unit of the point]"),
        "band_end": (pl.Float64, "half width of the 90 % band at the end [unit of the point]"),
        "error_most": (pl.Float64, "reading minus truth where it is largest [unit of the point]"),
        "band_most": (pl.Float64, "half width of the 90 % band there [unit of the point]"),
        "hours_out_of_tolerance": (pl.Float64, "hours with an error above the tolerance [h]"),
        "basis": (pl.String, "what the shape of the error rests on"),
        "event": (pl.String, "id of the event it starts with, if any"),
        "too_small": (
            pl.String,
            "why it is too small to matter and told nowhere else; empty where it is told",
        ),
        "reasons": (pl.String, "plain reasons, separated by ' | '"),
    },
    "probes": {
        "probe": (pl.String, "serial number, or the point's name in angle brackets when none is known"),
        "point": (pl.String, "measuring point"),
        "measurand": (pl.String, "measured quantity"),
        "installed": (TIME, "start of this installation, or of the record (UTC)"),
        "removed": (TIME, "end of this installation, or of the record (UTC)"),
        "ratings_assumed": (pl.Boolean, "heat ratings are class defaults nobody stated"),
        "rating_continuous_degc": (pl.Float64, "continuous rating [degC]"),
        "rating_sterilisation_degc": (pl.Float64, "sterilisation rating [degC]"),
        "hours": (pl.Float64, "hours recorded in this installation [h]"),
        "maximum_degc": (pl.Float64, "highest temperature seen [degC]"),
        "maximum_time": (TIME, "when (UTC)"),
        "sterilisations": (pl.Int64, "steam cycles"),
        "over_temperatures": (pl.Int64, "exposures above a rating"),
        "minutes_above_rating_min": (pl.Float64, "minutes above the rating that applied [min]"),
        "f0_min": (
            pl.Float64,
            "sum of the size of all steam cycles, F0 [min]; heat on the probe, releases no batch",
        ),
        "dose_h": (pl.Float64, "ageing dose above rating, hours at rating, Q10 = 2 [h]"),
        "cleanings": (pl.Int64, "hot cleanings and washes"),
        "calibrations": (pl.Int64, "calibrations and verifications"),
        "last_calibration": (TIME, "when (UTC)"),
        "probe_events": (pl.Int64, "events whose origin is the probe"),
    },
    "lives": LIVES,
    "exposures": EXPOSURES,
    "changes": {
        "change": (pl.String, "new | worse | better | gone, against the run before in the same folder"),
        "what": (pl.String, "point | verdict | error | event"),
        "point": (pl.String, "measuring point"),
        "event": (pl.String, "id of the event, empty for points"),
        "kind": (pl.String, "kind of event"),
        "start": (TIME, "onset of the event (UTC)"),
        "before": (pl.String, "verdict, or error in the unit of the point, of the run before"),
        "after": (pl.String, "the same of this run"),
        "sentence": (pl.String, "the change in a sentence"),
    },
    "decisions": {
        "subject": (pl.String, "file, tag or point"),
        "what": (pl.String, "what was inferred or assumed"),
        "why": (pl.String, "the evidence"),
        "option": (pl.String, "what would change it"),
    },
    **CONCLUDED,
}


_UNIT = re.compile(r"\[([^\]]+)\]|in (`\w+`)")


def unit_in(meaning: str) -> str:
    """The unit that the meaning of a column states: its name, or the column that holds it in backquotes."""
    found = _UNIT.search(meaning)
    return (found[1] or found[2]) if found else ""


def columns_table() -> pl.DataFrame:
    """The documentation of every column of every table."""
    return pl.DataFrame(
        [
            {
                "table": table,
                "column": column,
                "type": str(kind),
                "unit": unit_in(meaning),
                "meaning": meaning,
            }
            for table, columns in COLUMNS.items()
            for column, (kind, meaning) in columns.items()
        ]
    )
