"""Nights that are killed, lose power or run out of disk, and what the next night makes of it.

    python -m tests.benchmarks.faults [--trials 500] [--seed 1]

Every write boundary of a night is struck once by kill -9 and once by a power cut; the rest of the trials kill at
random moments, twice in a row, fill the disk, make it read-only or deny permission, set the clock back, run two nights
at once, write a file while it is read, or damage the archive or the ledger.  After each trial one clean night runs, and tables, archive, ledger, digests and the folder must be what they are without any fault.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.faults import (
    ARCHIVE,
    CLOCK,
    DENIED,
    FULL,
    GROWING,
    KILL,
    LEDGER,
    OF_ALL_FILES,
    POWER,
    READ_ONLY,
    TWICE,
    around_night,
    clean_night,
    difference,
    faulted_night,
    in_child,
    prepare,
)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="the figures alone, for a program")
    asked = parser.parse_args()
    _import_everything()
    # In memory where possible: what counts is the order of writes, not the speed of a disk.
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        place = Path(folder)
        expected = in_child(lambda: prepare(place)).answer
        boundaries, seconds = _count(place)
        tried, survived, struck, wrong = Counter(), Counter(), Counter(), []
        begun = time.monotonic()
        for number, (kind, strikes) in enumerate(
            _plan(boundaries, asked.trials, seconds, random.Random(asked.seed))
        ):
            root = place / "trial"
            shutil.copytree(place / "base", root, symlinks=True)
            hit = [_strike(root, mode, at) for mode, at in strikes]
            keys = OF_ALL_FILES if strikes[0][0] == GROWING else None
            faults = difference(in_child(lambda root=root: clean_night(root)).answer, expected, keys)
            shutil.rmtree(root)
            tried[kind] += 1
            struck[kind] += any(hit)
            survived[kind] += not faults
            wrong += [(number, kind, strikes, faults)] if faults else []
            if number % 25 == 24:
                print(f"{number + 1} tried, {survived.total()} right", file=sys.stderr, flush=True)
    if asked.json:
        facts = {"tried": tried.total(), "struck": struck.total(), "survived": survived.total()}
        print(json.dumps(facts | {"boundaries": boundaries, "wrong": wrong}))
        return
    print(f"write boundaries of one night: {boundaries}; {time.monotonic() - begun:.0f} s")
    print(f"{'fault':22} {'tried':>6} {'struck':>7} {'right after the next night':>27}")
    for kind in tried:
        print(f"{kind:22} {tried[kind]:6} {struck[kind]:7} {survived[kind]:27}")
    print(f"{'all':22} {tried.total():6} {struck.total():7} {survived.total():27}")
    for number, kind, strikes, faults in wrong[:5]:
        print(number, kind, strikes, faults)


def _import_everything() -> None:
    """Import what a night needs, and compute nothing: threads do not survive a fork."""
    import tests.sites  # noqa: F401


def _count(place: Path) -> tuple[int, float]:
    root = place / "count"
    shutil.copytree(place / "base", root, symlinks=True)
    ended = in_child(lambda: faulted_night(root, KILL, 0))
    shutil.rmtree(root)
    return int(ended.answer["boundaries"]), ended.seconds


Strike = tuple[str, float]


def _plan(
    boundaries: int, trials: int, seconds: float, draw: random.Random
) -> list[tuple[str, list[Strike]]]:
    """Every boundary as far as the trials go, then chance."""
    every = [(name, [(mode, at)]) for name, mode in (("kill at a boundary", KILL), ("power cut", POWER))
             for at in range(1, boundaries + 1)]  # fmt: skip
    rest = max(trials - len(every), trials // 4)
    if len(every) + rest > trials:
        every = sorted(draw.sample(every, trials - rest))
    plan: list[tuple[str, list[Strike]]] = list(every)
    for number in range(rest):
        at = draw.randint(1, boundaries)
        match number % 12:
            case 0 | 1:
                plan.append(("kill at random", [("random", draw.uniform(0.0, 1.1 * seconds))]))
            case 2:
                plan.append(("killed twice", [(KILL, at), (POWER, draw.randint(1, boundaries))]))
            case 3:
                plan.append(("disk full", [(FULL, at)]))
            case 4:
                plan.append(("disk read-only", [(READ_ONLY, at)]))
            case 5:
                plan.append(("permission denied", [(DENIED, at)]))
            case 6:
                plan.append(("clock set back", [(CLOCK, number)]))
            case 7:
                plan.append(("two runs at once", [(TWICE, number)]))
            case 8:
                plan.append(("written while read", [(GROWING, number)]))
            case 9 | 10:
                plan.append(("archive damaged", [(ARCHIVE, number)]))
            case _:
                plan.append(("ledger damaged", [(LEDGER, number)]))
    return plan


def _strike(root: Path, mode: str, at: float) -> bool:
    """One faulted night; whether the fault struck before the night was over."""
    if mode == "random":
        return in_child(lambda: faulted_night(root, KILL, 0), kill_after=at).signal != 0
    if mode in (CLOCK, TWICE, GROWING, ARCHIVE, LEDGER):
        return around_night(root, mode, random.Random(int(at)))
    ended = in_child(lambda: faulted_night(root, mode, int(at)))
    return ended.signal != 0 or ended.answer["ended"] != "done"


if __name__ == "__main__":
    main()
