"""Units as they stand in headers and beside readings."""

from __future__ import annotations

from excursions.measurands import MEASURANDS
from excursions.read.text.fold import plain

_MORE_UNITS = (
    "a ma kpa bar mbar barg bar_g psi psig psia pa mpa hpa %rh l/h l/min m3/h m³/h kg/h t/h gpm rpm 1/min hz v mv mm m cm "
    "kg g t l m3 - % ‰ °dh ph pphm ppb ppm na s h d kw w kwh a.u. au counts w/m2 nm us/cm ms/cm µs/cm us/cm@25 g/l mg/l "
    "ug/l mmol/l mol/l bool on/off degc degf °c °f k nl/h sm3/h nm3/h cp cst mpas l/s m/s"
)
UNITS = frozenset(
    {plain(unit).casefold() for unit in _MORE_UNITS.split()}
    | {plain(m.unit).casefold() for m in MEASURANDS.values() if m.unit}
    | {plain(alias).casefold() for m in MEASURANDS.values() for alias in m.aliases}
)


def is_unit(text: str) -> bool:
    """Whether a text is a known unit; a single letter is rather a name."""
    said = plain(text).strip("[]() ").casefold()
    return said in UNITS and not (len(said) == 1 and said.isalpha())
