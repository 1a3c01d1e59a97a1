"""pH of buffers against tables of other sources than the one in the package."""

from __future__ import annotations

import pytest

from excursions.physics.buffers import buffer_names, buffer_ph, buffer_table
from excursions.physics.tables import look_up
from tests.reference.tables import rows

PRINTED = [row for row in rows("ph_buffers_other_tables") if 0.0 <= float(row["temp_degc"]) <= 95.0]


def tolerance(row: dict[str, str]) -> float:
    """Half a unit of the last printed digit, plus what the sources differ by in scale.

    Phthalate: the NBS scale lies up to 0.016 above the one of IUPAC away from 10 to 40 degC, and the pharmacopoeia
    follows it (4.02 at 30 degC).  HJ 1147-2020 follows a national scale, up to 0.006 off.
    """
    half = 0.5 * 10.0 ** -int(row["decimals"])
    if row["buffer"] == "phthalate":
        return half + 0.016
    return half + (0.0065 if row["source"].startswith("HJ") else 0.001)


@pytest.mark.parametrize(
    "row", PRINTED, ids=lambda row: f"{row['source']}-{row['buffer']}-{row['temp_degc']}"
)
def test_table_against_other_sources(row: dict[str, str]) -> None:
    found = look_up("ph_buffers", row["buffer"], float(row["temp_degc"]))
    assert found == pytest.approx(float(row["ph"]), abs=tolerance(row))


@pytest.mark.parametrize(
    ("nominal", "ph"),
    [(1.68, 1.679), (4.01, 4.005), (6.86, 6.865), (7.41, 7.413), (9.18, 9.180), (10.01, 10.012)],
)
def test_reference_buffers_at_25_degc(nominal: float, ph: float) -> None:
    """Buck and others, Pure Appl. Chem. 74 (2002) 2169, Table 2."""
    found = buffer_ph(nominal, 25.0)
    assert found.ph == pytest.approx(ph, abs=0.0005)
    assert buffer_table(nominal)[1]


@pytest.mark.parametrize(
    ("nominal", "temp", "ph"), [(9.18, 10.0, 9.332), (10.01, 40.0, 9.889), (6.86, 50.0, 6.833)]
)
def test_reference_buffers_away_from_25_degc(nominal: float, temp: float, ph: float) -> None:
    """The same table."""
    assert buffer_ph(nominal, temp).ph == pytest.approx(ph, abs=0.0005)


def test_every_table_has_its_buffer() -> None:
    assert len(buffer_names()) == 6
