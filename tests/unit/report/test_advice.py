"""What to do names what the probe at hand is verified in."""

from __future__ import annotations

import pytest

from excursions.kinds import KINDS, advice_for
from excursions.measurands import MEASURANDS


@pytest.mark.parametrize("measurand", MEASURANDS)
def test_every_advice_is_a_whole_sentence_for_every_measurand(measurand: str) -> None:
    told = [advice_for(kind, measurand) for kind in KINDS]
    assert not any("{" in advice or "}" in advice for advice in told)
    assert any(MEASURANDS[measurand].verified_in in advice for advice in told)


def test_nobody_is_sent_to_buffers_with_an_oxygen_probe() -> None:
    assert "two buffers" in advice_for("over_temperature", "ph")
    assert "buffer" not in advice_for("over_temperature", "oxygen")
    assert "air" in advice_for("over_temperature", "oxygen_saturation")
