"""Standards entered at a temperature at which the probe never stood."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.link import audit, with_misread
from excursions.records import CALIBRATING, Calibration, Link, Parameter, StandardReading
from tests.unit.link.builders import calibration, shift
from tests.unit.link.test_audit import PLANT, SAMPLING, states

WORK = (5.0, 30.0, 55.0)
# -2.0 and 171.6 mV in buffers of 8 degC: by their own temperature the slope is about a whole one.
READ = ((7.0, -2.0), (4.01, 169.0))


def entry(day: float, temp_degc: float) -> Calibration:
    standards = tuple(
        StandardReading(standard=s, raw=raw, standard_unit="pH", raw_unit="mV", temperature_degc=temp_degc)
        for s, raw in READ
    )
    slope = Parameter(value=96.6, uncertainty=0.4, unit="%", basis="computed")
    return replace(calibration(day + 0.03), standards=standards, as_found={"slope": slope})


def told(temp_degc: float, stood: float) -> list[str]:
    line = states(*((d, CALIBRATING) for d in WORK))
    at = np.where(line.code == CALIBRATING, stood, np.nan)
    found = audit([entry(d, temp_degc) for d in WORK], {"ph": replace(line, stood=at)}, SAMPLING, PLANT)
    return [f.sentence for f in found if f.kind == "other temperature"]


def test_another_temperature_is_told_with_the_slope_it_would_give() -> None:
    sentences = told(25.0, 8.0)
    assert len(sentences) == len(WORK)
    assert "the entry gives its standards 25 °C; the probe stood at 8 °C" in sentences[0]
    slope = float(sentences[0].split("its slope is ")[1].split(" %")[0])
    assert slope == pytest.approx(
        171.0 / (55.78 * 3.06) * 100, abs=1.0
    )  # 55.78 mV/pH at 8 degC; 7.07 and 4.01


@pytest.mark.parametrize(("entered", "stood"), [(25.0, 22.0), (20.0, 24.0), (25.0, float("nan"))])
def test_a_few_kelvin_or_a_probe_that_never_rested_say_nothing(entered: float, stood: float) -> None:
    assert told(entered, stood) == []


def test_a_shift_beside_such_an_entry_that_nothing_in_the_record_explains_says_so() -> None:
    line = states(*((d, CALIBRATING) for d in WORK))
    at = np.where(line.code == CALIBRATING, 8.0, np.nan)
    entries = [entry(WORK[0], 8.0), entry(WORK[1], 25.0), entry(WORK[2], 8.0)]
    audited = audit(entries, {"ph": replace(line, stood=at)}, SAMPLING, PLANT)
    moved = [
        shift(-3.8, parameter="slope", start=WORK[0] + 0.03, end=WORK[1] + 0.03),
        shift(0.2, start=70.0, end=90.0),
    ]
    links = [
        Link(shift=s.id, cause=cause, event="", probability=p, rank=r, predicted=0.0, predicted_uncertainty=1.0, reasons=("why",))
        for s in moved
        for r, (cause, p) in enumerate((("unrecorded", 0.9), ("ageing", 0.1)), start=1)
    ]  # fmt: skip
    told = with_misread(links, moved, entries, audited, ZoneInfo("UTC"))
    assert (
        told[0]
        .reasons[0]
        .startswith("the entry of 31 Jan 1970 00:43 gives its standards another temperature")
    )
    assert [link.reasons for link in told[1:]] == [("why",)] * 3
