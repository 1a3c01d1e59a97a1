"""What one tag tells of itself: name, description, unit and numbers taken together into a role.

The stem is the name without the words that only say what kind of signal it is.  Two tags of one loop share
it: ``AT-2103.PV`` and ``TT-2103`` both leave ``2103``; ``Site/Area/QT101_pH`` leaves ``site area 101``.
The *fine* stem keeps the measurand's words, so that ``R1.pH.Temp`` goes with ``R1.pH`` and not with ``R1.DO``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from excursions.read.text.aggregates import noted
from excursions.read.text.units import is_bare_percent, quantities
from excursions.register import _words
from excursions.register._look import Look
from excursions.register._says import Named, Stem, says, split_unit, stems, take_unit
from excursions.register._traits import Traits


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """One tag with everything known of it; `order` is its place in the export.

    unit: as the file states it, else as the name ends with it (`unit_in_name`);
    fine, coarse: stems of the name; told: stem of the description; loop: number behind loop letters.
    """

    name: str
    order: int
    unit: str
    unit_in_name: bool
    named: Named
    described: Named
    role: str
    why: str
    traits: Traits
    fine: Stem = ()
    coarse: Stem = ()
    told: Stem = ()
    loop: str = ""
    look: Look = field(repr=False)

    @property
    def measurand(self) -> str:
        """Measurand that name or description speak of, or empty."""
        return self.named.measurand or self.described.measurand


def understand(order: int, look: Look, name: str = "") -> Tag:
    """Take a tag's name (or what of it names the signal), description, unit and numbers together into a role."""
    name, unit = split_unit(name or look.tag)
    cut, suffix = take_unit(_words.segments(name))
    told, _ = take_unit(_words.segments(split_unit(noted(look.description)[0])[0]))
    named, described = says(cut), says(told)
    traits = look.traits
    unit = unit or suffix
    role, why = _role(named, described, look.unit or unit, traits)
    fine, coarse, loop = stems(cut, role)
    return Tag(
        name=look.tag,
        order=order,
        unit=look.unit or unit,
        unit_in_name=not look.unit and bool(unit),
        named=named,
        described=described,
        role=role,
        why=why,
        traits=traits,
        fine=fine,
        coarse=coarse,
        told=stems(told, role)[1] if told else (),
        loop=loop,
        look=look,
    )


def _role(named: Named, described: Named, unit: str, traits: Traits) -> tuple[str, str]:
    """Role of a tag and the evidence, strongest first: unit, words of the name, description, letters, numbers."""
    said = named if named.strong or not described.strong else described
    source = "name" if said is named else "description"
    if said.role in ("setting", "limit"):
        return said.role, f"its {source} says so"
    if traits.flag:
        return _flag_role(named, described)
    by_unit = _unit_role(unit, said)
    if by_unit:
        return by_unit, f"its unit is {unit}"
    if said.role in ("hold", "wash", "status"):
        return (
            "status" if traits.whole else "unclear"
        ), f"its {source} says {said.role}, but it is no switch"
    if said.role:
        return said.role, f"its {source} says so" if said.strong else "by its loop letters"
    return "value", "nothing speaks against a reading"


def _unit_role(unit: str, said: Named) -> str:
    """Role that a unit settles whatever the name says; empty when it settles nothing."""
    means = quantities(unit)
    if not means or "current" in means:
        return ""
    for role in ("temperature", "process"):
        if role in means:
            return role
    if "pressure" in means and said.measurand not in ("co2", "co2_pressure"):
        return "pressure"
    if is_bare_percent(unit) and not said.measurand:
        return ""
    return "value"


def _flag_role(named: Named, described: Named) -> tuple[str, str]:
    for said, source in ((named, "name"), (described, "description")):
        if said.flag:
            return said.flag, f"its {source} says so and it is 0 or 1"
    return "flag", "it is only 0 or 1"
