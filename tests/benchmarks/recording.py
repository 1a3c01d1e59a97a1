"""Confusion table of the recording rules: ``python -m tests.benchmarks.recording [--seeds N]``.

One line a rule: how often the record was called what (a name with "?" is said to be unsure), and how often the
heartbeat and the dead band were right within a tenth where the rule has one.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter, defaultdict

import numpy as np

from excursions.condition import condition
from excursions.records import Sampling
from tests.builders import tag_series
from tests.recorders import BUSY, Made, cases


def said(sampling: Sampling) -> str:
    """The kind, with a question mark where the tool itself is not sure."""
    return sampling.kind if sampling.sure else f"{sampling.kind}?"


def sampling_of(made: Made) -> Sampling:
    """What the tool makes of a made record."""
    measurand = made.measurand
    return condition(tag_series(made.value, time=made.time, tag="AT1"), measurand=measurand).signal.sampling


def near(found: float, true: float) -> bool:
    """Within a tenth, both missing counts as right."""
    if math.isnan(true):
        return math.isnan(found)
    return math.isfinite(found) and abs(found / true - 1) <= 0.1


def shows_heartbeat(made: Made) -> bool:
    """Whether the record holds silences of the heartbeat's length at all, or the rule has none."""
    silent = np.diff(made.time) / 1e9 > 0.95 * made.heartbeat_s
    return math.isnan(made.heartbeat_s) or int(silent.sum()) >= 6


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=2)
    asked = parser.parse_args()
    table: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    beats: dict[str, list[bool]] = defaultdict(list)
    bands: dict[str, list[bool]] = defaultdict(list)
    for busy, made in cases(range(asked.seeds)):
        got = sampling_of(made)
        table[f"{made.name} ({made.kind})", busy][said(got)] += 1
        if made.kind in ("exception", "swinging"):
            if shows_heartbeat(made):
                beats[made.name].append(near(got.heartbeat_s, made.heartbeat_s))
            bands[made.name].append(
                0.5 <= got.deadband / made.deadband <= 2 if made.deadband else got.deadband == 0
            )
    for rule in dict.fromkeys(rule for rule, _ in table):
        for busy in BUSY:
            counts = ", ".join(f"{kind} {count}" for kind, count in table[rule, busy].most_common())
            print(f"{rule:48} {busy:6} {counts}")
    for name, right in beats.items():
        print(
            f"{name:40} heartbeat right {sum(right)}/{len(right)}, dead band within a factor two {sum(bands[name])}/{len(bands[name])}"
        )


if __name__ == "__main__":
    main()
