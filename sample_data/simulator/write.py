"""Files as a plant would hand them over: three dialects of exports, a calibration log, samples, a register.

Everything is byte-identical on every run: gzip without a time stamp, fixed Parquet settings.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from sample_data.simulator.calibrate import Calibrated
from sample_data.simulator.grid import NS, IntArray
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.record import TagRows
from sample_data.simulator.truth import ShiftTruth, TruthRow

STATUS_WORDS = ("", "Bad", "No Data", "I/O Timeout")
_QUALITY_NUMBERS = {0: 192, 1: 64, 2: 0}


def _packed(text: str, path: Path) -> None:
    """Write gzip with neither name nor time inside."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=buffer, mtime=0, compresslevel=9) as packed:
        packed.write(text.encode())
    path.write_bytes(buffer.getvalue())


def _frame(rows: TagRows, decimals: int) -> pl.DataFrame:
    words = pl.Series([STATUS_WORDS[k] for k in rows.status.tolist()], dtype=pl.String)
    frame = pl.DataFrame({"ns": rows.time, "value": rows.value, "quality": rows.quality, "word": words})
    return frame.with_columns(
        text=pl.when(pl.col("word") != "").then(pl.col("word")).otherwise(_number(pl.col("value"), decimals))
    )


def _number(column: pl.Expr, decimals: int) -> pl.Expr:
    """Shortest text of a rounded number, without an exponent and without a trailing ``.0``."""
    return column.round(decimals).cast(pl.String).str.replace(r"\.0$", "").str.replace(r"^-0$", "0")


def _local(zone: str, pattern: str) -> pl.Expr:
    stamp = pl.from_epoch(pl.col("ns"), time_unit="ns").dt.replace_time_zone("UTC").dt.convert_time_zone(zone)
    return stamp.dt.strftime(pattern)


def write_long(tags: Sequence[TagRows], path: Path, *, decimals: dict[str, int], zone: str) -> None:
    """Long CSV, gzip: semicolon, day first, decimal comma, local wall time, OPC classic quality numbers; sorted by time."""
    frames = [
        _frame(rows, decimals[rows.tag]).with_columns(tag=pl.lit(rows.tag), row=pl.int_range(pl.len()))
        for rows in tags
    ]
    merged = pl.concat(frames).with_columns(pl.col("ns").cum_max().over("tag").alias("late"))
    merged = merged.sort("late", "tag", "row", maintain_order=True)
    table = merged.select(
        Tag="tag",
        Zeitpunkt=_local(zone, "%d.%m.%Y %H:%M:%S"),
        Wert=pl.col("text").str.replace(".", ",", literal=True),
        Guete=pl.col("quality").replace_strict(_QUALITY_NUMBERS, return_dtype=pl.Int64),
    )
    _packed(table.write_csv(separator=";"), path)


def write_wide(tags: Sequence[TagRows], path: Path, *, decimals: dict[str, int]) -> None:
    """Wide CSV, gzip: comma, ISO times in UTC, a row of units under the tag names; empty where nothing was recorded."""
    wide = _wide(
        tags,
        {
            rows.tag: _frame(rows, decimals[rows.tag]).select("ns", pl.col("text").alias(rows.tag))
            for rows in tags
        },
    )
    units = ",".join(["", *(f"[{rows.unit}]" if rows.unit else "" for rows in tags)])
    body = wide.select(_local("UTC", "%Y-%m-%dT%H:%M:%SZ").alias("Time"), *[rows.tag for rows in tags])
    head, rest = body.write_csv().split("\n", 1)
    _packed(f"{head}\n{units}\n{rest}", path)


def write_parquet(tags: Sequence[TagRows], path: Path, *, decimals: dict[str, int]) -> None:
    """Wide Parquet, zstd: time in UTC microseconds; null where nothing was recorded or the quality was bad."""
    frames = {}
    for rows in tags:
        value = pl.when(pl.col("quality") < 2).then(pl.col("value").round(decimals[rows.tag]))
        frames[rows.tag] = _frame(rows, decimals[rows.tag]).select("ns", value.alias(rows.tag))
    wide = _wide(tags, frames)
    stamp = pl.from_epoch(pl.col("ns"), time_unit="ns").dt.replace_time_zone("UTC").dt.cast_time_unit("us")
    wide.select(time=stamp, **{rows.tag: pl.col(rows.tag).cast(pl.Float32) for rows in tags}).write_parquet(
        path, compression="zstd", compression_level=19, statistics=False
    )


def _wide(tags: Sequence[TagRows], frames: dict[str, pl.DataFrame]) -> pl.DataFrame:
    wide = pl.concat([f.select("ns") for f in frames.values()]).unique().sort("ns")
    for rows in tags:
        wide = wide.join(
            frames[rows.tag].unique("ns", keep="first", maintain_order=True), on="ns", how="left"
        )
    return wide.sort("ns")


def write_calibrations(entries: Sequence[Calibrated], start_ns: int, path: Path, *, zone: str) -> None:
    """A calibration log: a row for as found and one for as left, raw values and standards, local times."""
    rows = []
    for entry in sorted((e for e in entries if e.logged), key=lambda e: (e.time, e.point)):
        for phase in ("as found", "as left") if entry.action == "calibration" else ("as found",):
            rows.append(_log_row(entry, phase, start_ns))
    table = pl.DataFrame(rows, infer_schema_length=None).with_columns(ns=pl.col("ns").cast(pl.Int64))
    table = table.select(
        _local(zone, "%d.%m.%Y %H:%M").alias("date"), *[c for c in table.columns if c != "ns"]
    )
    path.write_text(table.write_csv(), encoding="utf-8")


def _log_row(entry: Calibrated, phase: str, start_ns: int) -> dict[str, object]:
    found = phase == "as found"
    raw = entry.raw_found if found else entry.raw_left
    known = dict(entry.figures_found if found else entry.figures_left)
    # Zeros of oxygen and CO2 stand in the raw values alone: their units have no column in this log.
    for name in ("zero", "zero_point") if entry.measurand in ("oxygen", "oxygen_saturation", "co2") else ():
        known.pop(name, None)
    row: dict[str, object] = {
        "ns": start_ns + round(entry.time) // 60 * 60 * NS, "point": entry.point, "serial": entry.probe,
        "action": entry.action, "phase": phase, "standard unit": STANDARD_UNITS[entry.measurand][0],
        "raw unit": STANDARD_UNITS[entry.measurand][1],
    }  # fmt: skip
    for k in range(2):
        there = k < len(entry.standards)
        row[f"standard {k + 1}"] = f"{entry.standards[k]:g}" if there else None
        row[f"raw {k + 1}"] = f"{raw[k]:g}" if there else None
        row[f"temperature {k + 1} [degC]"] = f"{entry.temperatures[k]:.1f}" if there else None
    for name, header in FIGURES.items():
        row[header] = f"{known[name]:.{DECIMALS[name]}f}" if name in known else None
    row["air pressure [hPa]"] = "1013" if entry.measurand in ("oxygen", "oxygen_saturation") else None
    row["comment"] = entry.comment
    return row


STANDARD_UNITS = {
    "ph": ("pH", "mV"),
    "redox": ("mV", "mV"),
    "conductivity": ("uS/cm", "uS"),
    "oxygen": ("%", "nA"),
    "oxygen_saturation": ("%", "deg"),
    "co2": ("mbar", "mV"),
    "turbidity": ("NTU", "NTU"),
}
FIGURES = {
    "slope": "slope [%]",
    "zero_point": "zero point",
    "offset": "offset [mV]",
    "cell_constant": "cell constant [1/cm]",
    "gain": "gain",
    "zero": "zero [NTU]",
}
DECIMALS = {"slope": 1, "zero_point": 2, "offset": 1, "cell_constant": 4, "gain": 3, "zero": 2}


def write_samples(sims: Sequence[SimulatedPoint], path: Path, *, zone: str) -> None:
    """Laboratory samples: point, local time, value, unit."""
    frames = [
        pl.DataFrame({"ns": sim.sample_time, "value": sim.sample_value}).with_columns(
            point=pl.lit(sim.spec.name),
            unit=pl.lit(sim.spec.unit),
            digits=pl.lit(_digits(sim.spec.resolution)),
        )
        for sim in sims
        if sim.sample_time.size
    ]
    rows = pl.concat(frames).sort("ns", "point")
    value = pl.Series([f"{v:.{d}f}" for v, d in zip(rows["value"], rows["digits"], strict=True)])
    rows.select(
        "point", _local(zone, "%d.%m.%Y %H:%M").alias("date"), value.alias("value"), "unit"
    ).write_csv(path)


def _digits(resolution: float) -> int:
    return max(len(f"{resolution:.6f}".rstrip("0").split(".")[1]), 0)


def write_truth(rows: Sequence[TruthRow], path: Path) -> None:
    """Events that really happened."""
    pl.DataFrame(
        [
            {
                "point": r.point, "probe": r.probe, "kind": r.kind, "role": r.role, "is_fault": r.is_fault,
                "start": _iso(r.start), "end": _iso(r.end), "size": round(r.size, 5), "unit": r.unit, "mode": r.mode,
                "noise_one_minute": round(r.noise, 6), "noise_one_hour": round(r.slow, 6), "noise_one_day": round(r.daily, 6), "note": r.note,
            }
            for r in rows
        ],
        infer_schema_length=None,
    ).write_csv(path)  # fmt: skip


def write_shift_truth(rows: Sequence[ShiftTruth], path: Path) -> None:
    """What really shifted between two entries of the log, and why."""
    pl.DataFrame(
        [
            {
                "point": r.point, "probe": r.probe, "parameter": r.parameter, "start": _iso(r.start), "end": _iso(r.end),
                "change": round(r.change, 5), "unit": r.unit, "main_cause": r.main,
                "main_start": _iso(r.main_start) if r.main_start else "", "reading_error": round(r.reading_error, 5),
                "shares": "; ".join(f"{name} {value:+.5g}" for name, value in r.shares),
            }
            for r in rows
        ],
        infer_schema_length=None,
    ).write_csv(path)  # fmt: skip


def _iso(instant: int) -> str:
    seconds: IntArray = pl.Series([instant]).to_numpy() // NS
    return str(pl.from_epoch(pl.Series(seconds), time_unit="s").dt.strftime("%Y-%m-%dT%H:%M:%SZ")[0])
