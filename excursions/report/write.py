"""Tables and run facts into a folder: whole or not at all, and harmless in a spreadsheet."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from pathlib import Path
from typing import BinaryIO

import polars as pl

from excursions.errors import UsageError
from excursions.report.columns import columns_table
from excursions.report.concluded import audit_table, corrected_table, due_table, lessons_table
from excursions.report.life import exposures_table, lives_table, probes_table
from excursions.report.lives import probe_lives
from excursions.report.result import ScanResult
from excursions.report.rounded import rounded
from excursions.report.tables import (
    calibrations_table,
    changes_table,
    decisions_table,
    doubts_table,
    events_table,
    limits_table,
    links_table,
    points_table,
    shifts_table,
)

# A cell that starts with one of these is run as a formula by common spreadsheets.
FORMULA_STARTS = r"^[=+\-@\t\r]"


def all_tables(result: ScanResult) -> dict[str, pl.DataFrame]:
    """Every table of a scan by its name."""
    lives = probe_lives(result)
    made = {
        "points": points_table(result),
        "events": events_table(result),
        "limits": limits_table(result),
        "calibrations": calibrations_table(result),
        "shifts": shifts_table(result),
        "links": links_table(result),
        "doubts": doubts_table(result),
        "probes": probes_table(result),
        "lives": lives_table(result, lives),
        "exposures": exposures_table(result, lives),
        "changes": changes_table(result),
        "audit": audit_table(result),
        "lessons": lessons_table(result),
        "due": due_table(result),
        "corrected": corrected_table(result),
        "decisions": decisions_table(result),
    }
    return {name: rounded(name, frame) for name, frame in made.items()}


def harmless(frame: pl.DataFrame) -> pl.DataFrame:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    text = [name for name, kind in frame.schema.items() if kind == pl.String]
    return frame.with_columns(
        pl.when(pl.col(name).str.contains(FORMULA_STARTS))
        .then(pl.concat_str(pl.lit("'"), pl.col(name)))
        .otherwise(pl.col(name))
        .alias(name)
        for name in text
    )


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that a reader sees the old one or the new one, never a part."""
    part = (
        path.parent / f".{path.name}.{secrets.token_hex(4)}"
    )  # known before it is there: no interrupt leaves it
    try:
        with _made(part) as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(part, 0o644 & ~_umask())
        os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _made(path: Path) -> BinaryIO:
    """A new file open for writing, its folder made where it is missing."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")
    except OSError as error:
        raise UsageError(
            found=f'"{path.parent}", where nothing can be written ({error.strerror})',
            expected="a folder that exists or can be made",
            mend="name another place with --out",
        ) from error


def _umask() -> int:
    """What the user's mask takes from the rights of new files (it can only be read by setting it)."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def csv_bytes(frame: pl.DataFrame) -> bytes:
    """A table as UTF-8 CSV with ISO 8601 times in UTC."""
    stamps = [name for name, kind in frame.schema.items() if isinstance(kind, pl.Datetime)]
    shown = harmless(frame).with_columns(pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ") for name in stamps)
    return shown.write_csv().encode()


def write_tables(
    result: ScanResult, refused: pl.DataFrame, out: Path, contradicted: pl.DataFrame | None = None
) -> list[Path]:
    """Write every table as CSV and Parquet, the refused rows, those that two files contradict one another in, the column guide and ``run.json``.

    Returns the paths written.  Parquet keeps the text as it came; CSV has formula starts disarmed.
    """
    written = []
    for name, frame in (all_tables(result) | {"columns": columns_table()}).items():
        path = out / "tables" / f"{name}.csv"
        write_whole(path, csv_bytes(frame))
        written.append(path)
        if name != "columns":
            written.append(_write_parquet(frame, out / "tables" / f"{name}.parquet"))
    write_whole(out / "refused.csv", csv_bytes(refused))
    if contradicted is not None and contradicted.height:
        write_whole(out / "contradicted.csv", csv_bytes(contradicted))
        written.append(out / "contradicted.csv")
    else:
        (out / "contradicted.csv").unlink(missing_ok=True)
    write_whole(out / "run.json", run_json(result).encode())
    return [*written, out / "refused.csv", out / "run.json"]


def write_corrected(frame: pl.DataFrame, path: Path) -> Path:
    """Write corrected samples as the ending of the path says (``.csv``, else Parquet); an existing file of another
    making is never written over.

    Raises
    ------
    UsageError
        If a file is there that does not hold these columns.
    """
    if path.exists() and not _is_ours(path, frame.columns):
        raise UsageError(
            found=f'"{path}", which is there already and holds something else',
            expected="a folder without a file of this name",
            mend="name another folder with --corrected",
        )
    if path.suffix == ".csv":
        write_whole(path, csv_bytes(frame))
        return path
    return _write_parquet(frame, path)


def _is_ours(path: Path, columns: list[str]) -> bool:
    try:
        there = pl.scan_csv(path) if path.suffix == ".csv" else pl.scan_parquet(path)
        return there.collect_schema().names() == columns
    except (pl.exceptions.PolarsError, OSError):
        return False


def _write_parquet(frame: pl.DataFrame, path: Path) -> Path:
    from io import BytesIO

    buffer = BytesIO()
    frame.write_parquet(buffer, compression="zstd", statistics=True)
    write_whole(path, buffer.getvalue())
    return path


def run_json(result: ScanResult) -> str:
    """What went in, what was decided and with what: enough to repeat the run."""
    return json.dumps(result.run, indent=2, sort_keys=True, ensure_ascii=False) + "\n"
