"""Which buffer a label means, and what is said where the tables end."""

from __future__ import annotations

import math

import pytest

from excursions.physics.buffers import buffer_ph, buffer_table, is_technical


def test_a_technical_buffer_is_its_label_at_25_degc() -> None:
    found = buffer_ph(7.0, 25.0)
    assert found.ph == pytest.approx(7.0, abs=1e-12)
    assert "technical buffer" in found.remark


def test_a_technical_buffer_follows_its_chemistry_over_temperature() -> None:
    """Phosphate: 6.881 at 20 degC and 6.865 at 25 degC, so a 7.00 is 7.016 at 20 degC."""
    assert buffer_ph(7.0, 20.0).ph == pytest.approx(7.016, abs=1e-9)


@pytest.mark.parametrize(
    ("nominal", "reference"), [(4.01, True), (4.00, False), (7.0, False), (6.86, True), (9.21, False)]
)
def test_labels_tell_reference_from_technical_buffers(nominal: float, reference: bool) -> None:
    assert buffer_table(nominal)[1] is reference


def test_a_set_with_one_technical_buffer_is_technical() -> None:
    assert is_technical([4.01, 7.0])
    assert not is_technical([4.01, 6.86, 9.18])
    assert buffer_ph(4.01, 25.0, technical=True).ph == pytest.approx(4.01, abs=1e-12)


def test_without_a_temperature_25_degc_is_taken_and_said() -> None:
    found = buffer_ph(9.18, math.nan)
    assert found.ph == pytest.approx(9.180)
    assert "25 degC" in found.remark


@pytest.mark.parametrize(("nominal", "temp"), [(12.45, 25.0), (10.01, 80.0)])
def test_beyond_the_tables_the_label_stands_with_a_wide_uncertainty(nominal: float, temp: float) -> None:
    found = buffer_ph(nominal, temp)
    assert found.ph == nominal
    assert found.uncertainty == 0.05
    assert "no published table" in found.remark
