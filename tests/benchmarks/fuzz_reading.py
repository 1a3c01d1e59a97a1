"""Damages exports at random and reads them: never a traceback, never a hang, never a silent loss.

    python -m tests.benchmarks.fuzz_reading --cases 20000 [--seed 1]

Each case takes a file of the corpus or a freshly written one, damages its bytes (cuts, flips, other separators,
quotes, line ends, doubled or lost pieces, zero bytes) and reads it.  A case fails when anything but an error of
the house comes out, when it takes longer than the limit, or when lines of a long table are not accounted for.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from excursions.errors import ExcursionsError
from excursions.read import Reading, ReadOptions, read_exports

CORPUS = Path(__file__).parents[1] / "corpus" / "files"
LIMIT_S = 10.0
ALPHABET = [
    b",",
    b";",
    b"\t",
    b'"',
    b"\n",
    b"\r",
    b"\x00",
    b"\xff",
    b" ",
    b"-",
    b".",
    b"9",
    b"\xe2\x80",
    b"#",
    b"|",
    b"''",
    b"\xef\xbb\xbf",
    b"e",
    b"/",
    b":",
]

Damage = Callable[[bytes, random.Random], bytes]


def _place(data: bytes, rng: random.Random) -> int:
    return rng.randrange(len(data) + 1)


def cut(data: bytes, rng: random.Random) -> bytes:
    """The end is missing."""
    return data[: _place(data, rng)]


def behead(data: bytes, rng: random.Random) -> bytes:
    """The beginning is missing."""
    return data[_place(data, rng) :]


def flip(data: bytes, rng: random.Random) -> bytes:
    """Some bytes are others."""
    changed = bytearray(data)
    for _ in range(rng.randrange(1, 6)):
        if changed:
            changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def insert(data: bytes, rng: random.Random) -> bytes:
    """Marks that mean something stand where they should not."""
    for _ in range(rng.randrange(1, 6)):
        at = _place(data, rng)
        data = data[:at] + rng.choice(ALPHABET) * rng.choice([1, 1, 1, 2, 50]) + data[at:]
    return data


def drop(data: bytes, rng: random.Random) -> bytes:
    """A piece is missing."""
    at = _place(data, rng)
    return data[:at] + data[at + rng.randrange(1, 40) :]


def double(data: bytes, rng: random.Random) -> bytes:
    """A piece is there twice."""
    at = _place(data, rng)
    return data[: at + rng.randrange(1, 200)] + data[at:]


def replace_mark(data: bytes, rng: random.Random) -> bytes:
    """One mark is another throughout."""
    return data.replace(rng.choice(ALPHABET), rng.choice(ALPHABET))


def shuffle_lines(data: bytes, rng: random.Random) -> bytes:
    """Lines stand in another order."""
    lines = data.split(b"\n")
    rng.shuffle(lines)
    return b"\n".join(lines)


DAMAGES: tuple[Damage, ...] = (cut, behead, flip, insert, drop, double, replace_mark, shuffle_lines)


def made_file(rng: random.Random) -> bytes:
    """A plain long table of random size."""
    separator = rng.choice([",", ";", "\t", "|"])
    tags = [f"AI-{number}" for number in range(rng.randrange(1, 5))]
    rows = [separator.join(["tag", "time", "value"])]
    for number in range(rng.randrange(2, 200)):
        rows.append(
            separator.join(
                [
                    rng.choice(tags),
                    f"2024-03-{1 + number // 24:02d}T{number % 24:02d}:00:00Z",
                    f"{rng.gauss(7, 1):.3f}",
                ]
            )
        )
    return ("\n".join(rows) + "\n").encode()


def complaint(data: bytes, reading: Reading) -> str:
    """What the counts of a reading do not account for; empty when nothing."""
    if any(report.rows != report.used + report.refused for report in reading.files):
        return "rows != used + refused"
    if sum(series.time.size for series in reading.series.values()) != sum(
        report.used for report in reading.files
    ):
        return "readings != used"
    if int(reading.refused["rows"].sum()) != sum(report.refused for report in reading.files):
        return "refused rows are not all listed"
    plain = len(reading.files) == 1 and b'"' not in data and b"\x00" not in data
    if (
        plain
        and reading.files[0].dialect.startswith("long; text, separator")
        and reading.files[0].dialect.endswith("UTF-8")
    ):
        report = reading.files[0]
        text = data.decode("utf-8", errors="replace").removeprefix("\ufeff")
        lines = re.split(r"\r\n|\r|\n", text)[report.data_line - 1 :]
        named = re.search(r'separator (tab|blank|"(.)")', report.dialect, re.S)
        mark = {"tab": "\t", "blank": " "}.get(named[1], named[2]) if named else ","
        # A line of nothing but blanks may count as a line of data or as an empty one.
        filled = sum(any(cell.strip() for cell in line.split(mark)) for line in lines)
        at_most = sum(any(line.split(mark)) for line in lines)
        if not filled <= report.rows + report.remarks <= at_most:
            return f"{filled} lines of data, {report.rows} rows and {report.remarks} remarks"
    return ""


def run(cases: int, seed: int, report: Callable[[str], object] = print) -> int:
    """Run so many cases; returns the number of failures."""
    seeds = [path.read_bytes() for path in sorted(CORPUS.iterdir())]
    names = [path.name for path in sorted(CORPUS.iterdir())]
    failures = read = refused = 0
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(cases):
            rng = random.Random(seed * 1_000_003 + number)
            pick = rng.randrange(2 * len(seeds))
            data, name = (seeds[pick], names[pick]) if pick < len(seeds) else (made_file(rng), "made.csv")
            for damage in rng.choices(DAMAGES, k=rng.choice([1, 1, 2, 3])):
                data = damage(data, rng)
            path = Path(folder) / f"damaged{''.join(Path(name).suffixes)}"
            path.write_bytes(data)
            begun = time.process_time()  # of a processor: the machine may be busy with others
            said = ""
            try:
                said = complaint(
                    data, read_exports([path], ReadOptions(date_order=rng.choice(["", "day-first"])))
                )
                read += 1
            except ExcursionsError as error:
                refused += 1
                said = "" if str(error) else "an error without words"
            except Exception:
                said = traceback.format_exc(limit=-6)
            took = time.process_time() - begun
            slowest = max(slowest, took)
            if took > LIMIT_S:
                said = f"{said} took {took:.1f} s"
            if said:
                failures += 1
                report(f"case {number} ({name}): {said}")
                Path(tempfile.gettempdir(), f"excursions-fuzz-{seed}-{number}{path.suffix}").write_bytes(data)
    report(
        f"{cases} cases: {read} read, {refused} refused with a sentence, {failures} failures; slowest {slowest:.2f} s"
    )
    return failures


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    return 1 if run(chosen.cases, chosen.seed) else 0


if __name__ == "__main__":
    sys.exit(main())
