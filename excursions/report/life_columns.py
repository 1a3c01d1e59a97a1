"""Columns of the two tables about the life of probes: name -> (type, meaning)."""

from __future__ import annotations

from typing import get_args

import polars as pl

from excursions.report.exposures import ExposureVerdict
from excursions.report.frame import TIME, Columns, one_of

FIXED_BANDS = {
    "hours_to_40_degc_h": "hours up to 40 degC [h]",
    "hours_40_to_60_degc_h": "hours above 40, up to 60 degC [h]",
    "hours_60_to_80_degc_h": "hours above 60, up to 80 degC [h]",
    "hours_80_to_100_degc_h": "hours above 80, up to 100 degC [h]",
    "hours_100_to_120_degc_h": "hours above 100, up to 120 degC [h]",
    "hours_120_to_130_degc_h": "hours above 120, up to 130 degC [h]",
    "hours_130_to_140_degc_h": "hours above 130, up to 140 degC [h]",
    "hours_above_140_degc_h": "hours above 140 degC [h]",
}
DOSE = "hours at the continuous rating: integral of 2^((T - rating) / 10 K) dt (ASTM F1980 with Q10 = 2; a general rule) [h]"

LIVES: Columns = {
    "probe": (pl.String, "serial number, or the point's name in angle brackets when none is known"),
    "measurand": (pl.String, "measured quantity"),
    "model": (pl.String, "model as the register gives it"),
    "points": (pl.String, "points it sat at, in order, separated by ' | '"),
    "stays": (pl.Int64, "installations inside the record"),
    "swaps_recognised": (pl.Int64, "installations that nobody logged, recognised from the calibrations"),
    "first": (TIME, "start of its first installation, or of the record (UTC)"),
    "last": (TIME, "end of its last installation, or of the record (UTC)"),
    "installed_now": (
        pl.String,
        "point it sits at at the end of the record, empty: on the bench or not known",
    ),
    "hours": (pl.Float64, "operating hours: in an installation inside the record [h]"),
    "hours_with_temperature": (
        pl.Float64,
        "of these, hours with a known temperature; the bands add up to them [h]",
    ),
    "ratings_assumed": (pl.Boolean, "heat ratings of a stay are class defaults nobody stated"),
    "rating_continuous_degc": (pl.Float64, "continuous rating, of the last stay [degC]"),
    "rating_sterilisation_degc": (pl.Float64, "sterilisation rating, of the last stay [degC]"),
    "hours_to_continuous_h": (pl.Float64, "hours up to the continuous rating [h]"),
    "hours_continuous_to_sterilisation_h": (
        pl.Float64,
        "hours above the continuous and up to the sterilisation rating [h]",
    ),
    "hours_above_sterilisation_h": (pl.Float64, "hours above the sterilisation rating [h]"),
    **{name: (pl.Float64, words) for name, words in FIXED_BANDS.items()},
    "maximum_degc": (pl.Float64, "highest temperature sampled [degC]"),
    "maximum_bound_degc": (pl.Float64, "what the sampling could hide around it [degC]"),
    "maximum_time": (TIME, "when (UTC)"),
    "maximum_point": (pl.String, "where"),
    "sterilisations": (pl.Int64, "steam cycles"),
    "over_temperatures": (pl.Int64, "exposures above a rating, and thermal shocks"),
    "cleanings": (pl.Int64, "hot cleanings"),
    "washes": (pl.Int64, "washes"),
    "f0_min": (pl.Float64, "sum of F0 of all exposures [min]; heat on the probe, releases no batch"),
    "dose_h": (pl.Float64, f"ageing dose above the continuous rating, {DOSE}"),
    "all_dose_h": (pl.Float64, "the same at all temperatures, ordinary ageing included [h]"),
    "calibrations": (pl.Int64, "calibrations and verifications"),
    "last_calibration": (TIME, "when (UTC)"),
    "slope_first": (
        pl.Float64,
        "slope (or cell constant, gain) of the first calibration, as found if given [`slope_unit`]",
    ),
    "slope_last": (pl.Float64, "the same of the last one, as left [`slope_unit`]"),
    "slope_unit": (pl.String, "its unit"),
    "zero_first": (
        pl.Float64,
        "zero point (or offset, zero) of the first calibration, as found if given [`zero_unit`]",
    ),
    "zero_last": (pl.Float64, "the same of the last one, as left [`zero_unit`]"),
    "zero_unit": (pl.String, "its unit"),
    "limit": (TIME, "when a parameter reaches its acceptance limit (UTC); empty: no telling"),
    "limit_early": (TIME, "early end of its 90 % interval (UTC)"),
    "limit_late": (TIME, "late end (UTC); empty: no end foreseeable"),
    "due": (TIME, "next calibration by the plan, else by the staircase (UTC)"),
    "sentence": (pl.String, "the life in a sentence"),
    "replacement": (pl.String, "whether it is due for replacement, in a sentence"),
}

EXPOSURES: Columns = {
    "event": (pl.String, "id of the event"),
    "probe": (pl.String, "serial number, empty when not known"),
    "point": (pl.String, "measuring point"),
    "kind": (pl.String, "over_temperature | sterilisation | thermal_shock | hidden_heat"),
    "start": (TIME, "start (UTC)"),
    "end": (TIME, "end (UTC)"),
    "peak_degc": (pl.Float64, "highest sample [degC]"),
    "bound_degc": (pl.Float64, "the true peak lies between the highest sample and this [degC]"),
    "rating_degc": (pl.Float64, "rating it was held against [degC]"),
    "rating_continuous_degc": (pl.Float64, "continuous rating [degC]"),
    "rating_sterilisation_degc": (pl.Float64, "sterilisation rating [degC]"),
    "ratings_assumed": (pl.Boolean, "class defaults nobody stated"),
    "minutes_above_rating": (pl.Float64, "minutes above the rating it was held against [min]"),
    "minutes_above_continuous": (pl.Float64, "minutes above the continuous rating [min]"),
    "minutes_above_sterilisation": (pl.Float64, "minutes above the sterilisation rating [min]"),
    "minutes_above_110": (pl.Float64, "minutes above 110 degC [min]"),
    "heating_k_per_min": (pl.Float64, "fastest heating over a minute [K/min]"),
    "cooling_k_per_min": (pl.Float64, "fastest cooling over a minute [K/min]"),
    "f0_min": (pl.Float64, "lethality F0, T_ref 121.1 degC, z 10 K [min]; releases no batch"),
    "dose_h": (pl.Float64, f"ageing dose above the continuous rating, {DOSE}"),
    "dose_before_h": (pl.Float64, "dose of this probe's exposures before it in the record [h]"),
    "unit": (pl.String, "unit of readings, noise and error"),
    "reading_before": (pl.Float64, "median of the last three measuring hours in the day before [`unit`]"),
    "reading_after": (pl.Float64, "median of the first three measuring hours in the day after [`unit`]"),
    "noise_before": (pl.Float64, "median noise in the day before [`unit`]"),
    "noise_after": (pl.Float64, "median noise in the day after [`unit`]"),
    "error": (
        pl.Float64,
        "reading minus truth afterwards, now where doubt is open, else at most; empty: no doubt follows [`unit`]",
    ),
    "error_band": (pl.Float64, "half width of its 90 % band [`unit`]"),
    "stretches": (pl.Int64, "times above the rating told as one event"),
    "calibration": (TIME, "next calibration of this probe (UTC)"),
    "found": (pl.String, "what it found"),
    "verdict": (
        pl.String,
        one_of(get_args(ExposureVerdict)),
    ),
    "sentence": (pl.String, "the answer in a sentence"),
    "advice": (pl.String, "what to do"),
    "shock": (pl.String, "thermal shock inside it, if any"),
}
