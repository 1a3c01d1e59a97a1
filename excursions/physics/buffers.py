"""The pH of a buffer at the temperature it really had.

A calibration log names a buffer by its pH at 25 degC ("7.00", "4.01").  Reference buffers of known
composition have published tables.  Technical buffers (7.00, 9.00, 10.00 ...) follow their maker's own table,
which is rarely at hand: they are taken as the reference buffer of the same chemistry, moved to the nominal
value at 25 degC, with a larger uncertainty and a remark.

References
----------
.. [1] Covington, Bates, Durst, "Definition of pH scales, standard reference values, measurement of pH and
   related terminology", Pure Appl. Chem. 57 (1985) 531.
.. [2] Buck et al., "Measurement of pH. Definition, standards, and procedures", Pure Appl. Chem. 74 (2002)
   2169, Table 2.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from excursions.physics.tables import column_table, look_up

REFERENCE_DEGC = 25.0

# Standard uncertainties [pH].  Reference: U = 0.003 (k = 2) for primary buffers [2]_, doubled for what is
# poured from a bottle (cp); technical: bottles state +-0.02 (cp), taken as a rectangle.
_U_REFERENCE = 0.003
_U_REFERENCE_HOT = 0.006
_U_TECHNICAL = 0.012
_HOT_DEGC = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BufferValue:
    """pH of a buffer at a temperature, its standard uncertainty, the table it came from, and a remark."""

    ph: float
    uncertainty: float
    table: str
    remark: str = ""


# Names a log may give to a reference buffer, and how far its nominal value may lie from the table at 25 degC.
_REFERENCE_NAMES: dict[str, tuple[float, ...]] = {
    "tetroxalate": (1.68, 1.679),
    "phthalate": (4.01, 4.005, 4.008),
    "phosphate_1_1": (6.86, 6.865, 6.87, 6.88),
    "phosphate_1_3.5": (7.41, 7.413, 7.42),
    "borax": (9.18, 9.22, 9.225),
    "carbonate": (10.01, 10.012),
}
# Chemistry of technical buffers, by range of their nominal value (cp).
_TECHNICAL: tuple[tuple[float, float, str], ...] = (
    (1.5, 2.2, "tetroxalate"),
    (3.5, 4.7, "phthalate"),
    (6.0, 7.8, "phosphate_1_1"),
    (8.6, 9.5, "borax"),
    (9.5, 10.5, "carbonate"),
)


def buffer_table(nominal: float) -> tuple[str, bool]:
    """Return (table, is a reference buffer) for a buffer's nominal pH; table is empty when none fits."""
    for name, values in _REFERENCE_NAMES.items():
        if any(math.isclose(nominal, value, abs_tol=0.0006) for value in values):
            return name, True
    for low, high, name in _TECHNICAL:
        if low <= nominal < high:
            return name, False
    return "", False


def is_technical(nominals: Iterable[float]) -> bool:
    """Whether a set of buffers is a technical one: any label that no reference buffer carries.

    Buffers are bought as a set, so a 4.01 beside a 7.00 is a technical 4.01, true to its label at 25 degC, and not
    the reference buffer of 4.005.
    """
    return any(not buffer_table(nominal)[1] for nominal in nominals)


def buffer_ph(nominal: float, temp_degc: float, *, technical: bool = False) -> BufferValue:
    """Return the pH of the buffer called `nominal` at `temp_degc`.

    Parameters
    ----------
    nominal : float
        pH on the label, at 25 degC.
    temp_degc : float
        Temperature of the buffer; NaN is taken as 25 degC and said so.
    technical : bool
        Treat it as a technical buffer even where a reference buffer carries the label.

    Returns
    -------
    BufferValue
        Outside the table's range, or with no table, the nominal value with an uncertainty of 0.05 and a remark.
    """
    assumed = not math.isfinite(temp_degc)
    at = REFERENCE_DEGC if assumed else temp_degc
    remark = "no temperature entered, taken as 25 degC" if assumed else ""
    table, reference = buffer_table(nominal)
    value = look_up("ph_buffers", table, at) if table else math.nan
    if not math.isfinite(value):
        return BufferValue(
            ph=nominal,
            uncertainty=0.05,
            table="",
            remark=f"no published table for buffer {nominal:g} at {at:g} degC: nominal value used",
        )
    if reference and not technical:
        spread = _U_REFERENCE_HOT if at > _HOT_DEGC else _U_REFERENCE
        return BufferValue(ph=value, uncertainty=spread, table=table, remark=remark)
    moved = value + nominal - look_up("ph_buffers", table, REFERENCE_DEGC)
    words = f"technical buffer {nominal:g}: shape over temperature taken from {table.replace('_', ' ')}"
    return BufferValue(
        ph=moved, uncertainty=_U_TECHNICAL, table=table, remark="; ".join(filter(None, (words, remark)))
    )


def buffer_names() -> tuple[str, ...]:
    """Reference buffers there is a table for."""
    return tuple(name for name in column_table("ph_buffers") if name != "temp_degc")
