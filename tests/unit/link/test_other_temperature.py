"""Standards entered at a temperature at which the probe never stood."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.link import audit
from excursions.records import CALIBRATING, Calibration, Parameter, StandardReading
from tests.unit.link.builders import calibration
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
    assert "the entry gives its standards 25 degC; the probe stood at 8 degC" in sentences[0]
    slope = float(sentences[0].split("its slope is ")[1].split(" %")[0])
    assert slope == pytest.approx(
        171.0 / (55.78 * 3.06) * 100, abs=1.0
    )  # 55.78 mV/pH at 8 degC; 7.07 and 4.01


@pytest.mark.parametrize(("entered", "stood"), [(25.0, 22.0), (20.0, 24.0), (25.0, float("nan"))])
def test_a_few_kelvin_or_a_probe_that_never_rested_say_nothing(entered: float, stood: float) -> None:
    assert told(entered, stood) == []
