"""Rubbish: minutes or hours in which a reading jumps about as no medium does, as while a probe is unplugged and exchanged.

What counts for a change of level is what the reading was before and since; the largest of so many jumps is none.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.survey import Survey, surveyed
from excursions.ranks import median
from excursions.records import BAD, IndexArray, Record

# A jump from one sample to the next by more than both is wild, as a lone spike is (cp).
TOLERANCES, NOISES = 10.0, 10.0
FEWEST = 12  # jumps: half a dozen there and back; fewer are spikes (cp)
# Of the samples, reached by such a jump: products and rinses that follow each other hold their levels (cp).
SHARE = 0.25
ONE_WAY = 0.25  # of the jumps lead either way at least (cp)
PAUSE_S, PAUSE_SAMPLES = 600.0, 8  # longer without any is an end (cp)
# Of the record; what takes more is the way of the place, or a fault that lasts and is told as one (cp).
MOST = 0.01


def without_rubbish(record: Record, survey: Survey) -> Record:
    """The record with its rubbish marked bad and surveyed anew; itself where it has none."""
    stretches = rubbish(record, survey)
    if record.value is None or not stretches.size:
        return record
    quality = record.value.quality.copy()
    for first, past in survey.live.index[stretches - np.array([0, 1])]:
        quality[first : past + 1] = BAD
    given = {f.name: getattr(record, f.name) for f in fields(Record)}
    return surveyed(Record(**{**given, "value": replace(record.value, quality=quality)}))


def rubbish(record: Record, survey: Survey) -> IndexArray:
    """Index ranges, shape (k, 2), of live samples that are rubbish."""
    live = survey.live
    least = max(TOLERANCES * record.point.tolerance_at(median(survey.blocks.level)), NOISES * survey.noise)
    jump = np.where(live.fresh[1:], 0.0, np.diff(live.value))
    at = np.flatnonzero(np.abs(jump) > least) + 1  # the samples they lead to
    if at.size < FEWEST or not least > 0:
        return np.empty((0, 2), dtype=np.int64)
    pause = max(PAUSE_S, PAUSE_SAMPLES * survey.interval_s) * NS_PER_S
    cuts = np.flatnonzero(np.diff(live.time[at]) > pause) + 1
    first, past = np.append(0, cuts), np.append(cuts, at.size)
    count = past - first
    up = np.add.reduceat((jump[at - 1] > 0).astype(np.int64), first)
    stretches = np.column_stack([at[first], at[past - 1]])  # the last jump leads out of it
    length = stretches[:, 1] - stretches[:, 0]
    wild = (count >= FEWEST) & (count >= SHARE * length)
    wild &= np.minimum(up, count - up) >= ONE_WAY * count
    return np.asarray(stretches[wild] if length[wild].sum() <= MOST * len(live) else stretches[:0])
