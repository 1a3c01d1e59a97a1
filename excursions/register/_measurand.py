"""Which measurand a reading is and in which unit it stands, with the reason; "other" where it cannot be told."""

from __future__ import annotations

import re
from dataclasses import dataclass

from excursions.digits import written
from excursions.measurands import MEASURANDS, converted, to_canonical
from excursions.read.text.units import PRESSURE, is_bare_percent, pretty, quantities, table_unit, tidy
from excursions.register._tags import Tag

_OXYGEN = frozenset(("oxygen", "oxygen_saturation"))
_CARBON = frozenset(("co2", "co2_pressure"))
# Median above which an oxygen reading without a unit is % saturation: water holds at most 14.6 mg/L at 0 degC
# under air (Benson and Krause 1984), and pure oxygen is rare enough to be stated.
_OXYGEN_MG = 20.0
_STEAM_DEGF = (240.0, 290.0)  # 115 to 143 degC: where a sterilisation dwells when it is written in degF


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Measurand and unit of one tag.

    unit: spelling to state in the register; empty when the file's own unit or the canonical one holds;
    doubt: what could not be told, empty when nothing.
    """

    measurand: str
    why: str
    unit: str = ""
    unit_why: str = ""
    range: tuple[float, float] | None = None
    range_why: str = ""
    doubt: str = ""


def guess_value(tag: Tag) -> Guess:
    """Guess measurand, unit and range of a tag that holds readings."""
    key, why = _measurand(tag)
    if key != "other" and _impossible(tag, key):
        row = MEASURANDS[key]
        return Guess(
            measurand="other",
            why=f"{why}, but its values are no {row.label} in any known unit",
            doubt="measurand",
        )
    if "current" in quantities(tag.unit) or (not tag.unit and tag.traits.raw_current and _says_current(tag)):
        return _raw_current(key, why)
    unit, unit_why, doubt = _unit(tag, key)
    limits, range_why = _range(tag, key, unit or tag.unit)
    return Guess(
        measurand=key,
        why=why,
        unit=unit,
        unit_why=unit_why,
        range=limits,
        range_why=range_why,
        doubt="measurand" if key == "other" else doubt,
    )


def _measurand(tag: Tag) -> tuple[str, str]:
    means = [key for key in quantities(tag.unit) if key in MEASURANDS]
    word, source = tag.named.measurand, "name"
    if not word:
        word, source = tag.described.measurand, "description"
    if word and (tag.named.gas or tag.described.gas):
        return "other", f"its {source} speaks of a gas, not of a liquid"
    if tag.role == "process":
        return "other", "it is a quantity of the process, not of an analytical probe"
    if word:
        return _by_word(tag, word, source, means)
    if len(means) == 1 and not is_bare_percent(tag.unit) and tidy(tag.unit) not in ("v", "g/l"):
        return means[0], f"its unit is {tag.unit}"
    if means:
        return "other", f"its unit {tag.unit} alone does not say of what"
    return _by_numbers(tag)


def _by_word(tag: Tag, word: str, source: str, means: list[str]) -> tuple[str, str]:
    why = f"its {source} says so"
    if means:
        fits = [key for key in means if same_substance(key, word)]
        if fits:
            return fits[0], f"{why} and its unit is {tag.unit}"
        return "other", f"its {source} says {MEASURANDS[word].label}, but its unit is {tag.unit}"
    if word == "oxygen" and "current" not in quantities(tag.unit) and tag.traits.q50 > _OXYGEN_MG:
        return "oxygen_saturation", f"{why}, and its median of {written(tag.traits.q50)} is too high for mg/L"
    return word, why


def same_substance(one: str, other: str) -> bool:
    """Whether two measurands are one, or the same gas told as concentration and as saturation or pressure."""
    return one == other or any({one, other} <= family for family in (_OXYGEN, _CARBON))


def meant_by_unit(tag: Tag, stated: str) -> str:
    """The measurand that a tag's unit makes of a stated one: oxygen in %sat is a saturation; else the stated one."""
    keys = quantities(tag.unit)
    near = [key for key in keys if same_substance(key, stated)]
    return stated if stated in keys or not near else near[0]


def _by_numbers(tag: Tag) -> tuple[str, str]:
    """An analyser's loop letters and a pH-like range; anything else stays "other"."""
    seen = tag.traits
    analyser = tag.named.role == "value" and not tag.unit
    if analyser and not seen.whole and seen.q01 >= 1.5 and seen.high <= 14.0 and 2.0 <= seen.q50 <= 12.5:
        return (
            "ph",
            f"only by its numbers: an analyser whose values lie between {written(seen.low)} and {written(seen.high)}",
        )
    return "other", "neither name nor unit nor description say what it measures"


def _impossible(tag: Tag, key: str) -> bool:
    """Whether the bulk of the values lies outside what is physically possible in every unit that could be meant."""
    row = MEASURANDS[key]
    scale = to_canonical(key, table_unit(tag.unit)) if tag.unit else (1.0, 0.0)
    if scale is None or not tag.traits.count:
        return False
    low, high = sorted(converted(value, scale) for value in (tag.traits.q01, tag.traits.q99))
    return high < row.physical[0] or low > row.physical[1] or (key == "ph" and not -2.0 <= high <= 20.0)


def _says_current(tag: Tag) -> bool:
    return "ma" in re.split(r"[^a-z]+", tag.name.casefold()) or tag.named.measurand == "ph"


def _raw_current(key: str, why: str) -> Guess:
    """A 4-20 mA signal needs its range; only pH has one that nearly every transmitter uses (cp)."""
    if key == "ph":
        return Guess(
            measurand=key,
            why=why,
            unit="mA",
            unit_why="its values are a current of 4 to 20 mA",
            range=(0.0, 14.0),
            range_why="assumed: most pH transmitters put 0 to 14 on 4 to 20 mA",
            doubt="range",
        )
    return Guess(
        measurand="other",
        why=f"it is a current of 4 to 20 mA and nobody said which range stands behind it ({why})",
        unit="mA",
        unit_why="its values are a current of 4 to 20 mA",
        doubt="range",
    )


def _unit(tag: Tag, key: str) -> tuple[str, str, str]:
    """Unit to state (empty: what the file says, or the canonical one), the reason, and what stays in doubt."""
    if tag.unit:
        return _stated_unit(tag, key)
    if key == "conductivity":
        return _conductivity_unit(tag)
    canonical = MEASURANDS[key].unit
    return "", f"nothing states a unit; taken as {canonical}" if canonical else "", ""


def _stated_unit(tag: Tag, key: str) -> tuple[str, str, str]:
    """Unit that the file or the name states, in a spelling the measurand table knows."""
    known = table_unit(tag.unit)
    if key != "other" and to_canonical(key, known) is None:
        return "", f'the unit "{tag.unit}" is not known', "unit"
    if tag.unit_in_name:
        return pretty(known), "its name says so", ""
    if key == "other" or to_canonical(key, tag.unit) is not None:
        return "", "", ""
    return pretty(known), f'the file says "{tag.unit}"', ""


def _conductivity_unit(tag: Tag) -> tuple[str, str, str]:
    """mS/cm against uS/cm by size: both 30 and 3000 uS/cm are common, 100 mS/cm of median is rare."""
    words = re.split(r"[^a-z]+", tag.name.casefold())
    if "ms" in words or "mscm" in words:
        return "mS/cm", "its name says mS/cm", ""
    if tag.traits.q50 > 100.0:
        return "", f"nothing states a unit; a median of {written(tag.traits.q50)} speaks for uS/cm", ""
    return "", "nothing states a unit; taken as uS/cm, although mS/cm is possible", "unit"


_ROUND_ENDS = {
    round(base * 10.0**power, 9) for base in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 8) for power in range(-2, 6)
}


def _range(tag: Tag, key: str, unit: str) -> tuple[tuple[float, float] | None, str]:
    """Range the output is scaled to, where the record touches a round upper end again and again."""
    seen = tag.traits
    scale = to_canonical(key, unit) if unit else (1.0, 0.0)
    top = seen.pinned_high and (round(seen.high, 9) in _ROUND_ENDS or (key == "ph" and seen.high == 14.0))
    bottom = 0.0 if seen.low >= 0.0 else seen.low
    known_bottom = seen.low >= 0.0 or seen.pinned_low
    if (
        key == "other"
        or not top
        or not known_bottom
        or seen.whole
        or scale is None
        or seen.high < 2.0 * seen.q50
    ):
        return None, ""
    factor, offset = scale
    return (
        factor * bottom + offset,
        factor * seen.high + offset,
    ), f"the record touches {seen.high:g} again and again"


def guess_temperature_unit(tag: Tag, *, others_fahrenheit: bool) -> tuple[str, str, str]:
    """Unit to state for a temperature (empty: the file's own or degC), the reason and the doubt."""
    if tag.unit and to_canonical("temperature", table_unit(tag.unit)) is not None:
        return _stated_unit(tag, "temperature")
    seen = tag.traits
    if others_fahrenheit:
        return "degF", "the other temperatures of this export are in degF", "temperature_unit"
    if seen.q01 >= 30.0 and _STEAM_DEGF[0] <= seen.high <= _STEAM_DEGF[1]:
        return (
            "degF",
            f"it reaches {seen.high:.0f} and never falls below {seen.q01:.0f}: steam in degF",
            "temperature_unit",
        )
    return "", "nothing states a unit; taken as degC", ""


def pressure_unit(tag: Tag) -> tuple[str, str]:
    """Pressure unit as the register names it, and the reason; empty when it is not one the house knows."""
    unit = PRESSURE.get(tidy(tag.unit), "")
    if unit in ("bar", "psi") and not tidy(tag.unit).endswith(("a", "abs")):
        half = 0.5 if unit == "bar" else 7.0
        if tag.traits.q01 < half:
            return (
                unit + "_g",
                f"{tag.unit}, and it falls below {half} {unit}, which only a gauge pressure does",
            )
        return unit, f"its unit is {tag.unit}; taken as absolute"
    return unit, f"its unit is {tag.unit}" if unit else ""
