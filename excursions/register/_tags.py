"""What one tag tells of itself: its role, its measurand, and the stem that names its loop.

The stem is the name without the words that only say what kind of signal it is.  Two tags of one loop share
it: ``AT-2103.PV`` and ``TT-2103`` both leave ``2103``; ``Site/Area/QT101_pH`` leaves ``site area 101``.
The *fine* stem keeps the measurand's words, so that ``R1.pH.Temp`` goes with ``R1.pH`` and not with ``R1.DO``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from excursions.records import TagSeries
from excursions.register import _words
from excursions.register._traits import Traits, traits_of
from excursions.register._units import quantities
from excursions.register._vocabulary import FLAG_WORDS, GASES, READING

Stem = tuple[str, ...]

ATTACHED = ("temperature", "hold", "wash", "pressure", "status")


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a name or description says.

    role: ``value``, one of ATTACHED, ``setting``, ``limit``, ``process`` or empty (nothing said);
    measurand: key or empty; strong: whether words said it rather than loop letters; flag: ``hold``,
    ``wash`` or ``status`` when such a word stands anywhere; gas: whether it speaks of a gas.
    """

    role: str = ""
    measurand: str = ""
    strong: bool = False
    flag: str = ""
    gas: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """One tag with everything known of it; `order` is its place in the export.

    fine, coarse: stems of the name; told: stem of the description; loop: number behind loop letters.
    """

    name: str
    order: int
    unit: str
    named: Named
    described: Named
    role: str
    why: str
    traits: Traits
    fine: Stem = ()
    coarse: Stem = ()
    told: Stem = ()
    loop: str = ""
    series: TagSeries = field(repr=False)

    @property
    def measurand(self) -> str:
        """Measurand that name or description speak of, or empty."""
        return self.named.measurand or self.described.measurand


def understand(order: int, series: TagSeries) -> Tag:
    """Take a tag's name, description, unit and numbers together into a role."""
    cut, told = _words.segments(series.tag), _words.segments(series.description)
    named, described = says(cut), says(told)
    traits = traits_of(series)
    role, why = _role(named, described, series.unit, traits)
    fine, coarse, loop = _stems(cut, role)
    return Tag(
        name=series.tag,
        order=order,
        unit=series.unit,
        named=named,
        described=described,
        role=role,
        why=why,
        traits=traits,
        fine=fine,
        coarse=coarse,
        told=_stems(told, role)[1] if told else (),
        loop=loop,
        series=series,
    )


def says(cut: tuple[tuple[str, ...], ...]) -> Named:
    """Read a name segment by segment, the last one first: what stands last qualifies what stands before."""
    said = Named()
    for tokens in reversed(cut):
        here = _segment_says(tokens)
        if here.role and not said.role:
            said = here
        elif here.measurand and said.role in ATTACHED and not said.measurand:
            said = replace(said, measurand=here.measurand)
        elif (
            said.role == "value" and not said.strong and here.strong and here.role in ("value", "temperature")
        ):
            said = here
    every = [token for tokens in cut for token in tokens]
    flags = [role for token in every if (role := _words.role_of(token)) in ("hold", "wash", "status")]
    gas = any(token.casefold() in GASES for token in every)
    return replace(said, flag=flags[-1] if flags else "", gas=gas)


def _segment_says(tokens: tuple[str, ...]) -> Named:
    """Role and measurand of one segment.

    Temperature, set point and limit win wherever they stand, because a measurand beside them only says
    whose they are; of the other words the last one wins.  Words go before loop letters.
    """
    measurand = next((m for token in reversed(tokens) if (m := _words.measurand_of(token))), "")
    roles = [_word_role(tokens, at) for at in range(len(tokens))]
    for role in ("setting", "limit", "temperature"):
        if role in roles:
            return Named(role=role, measurand=measurand, strong=True)
    found = next((role for role in reversed(roles) if role), "")
    return Named(role=found, measurand=measurand, strong=True) if found else _letters_say(tokens)


def _word_role(tokens: tuple[str, ...], at: int) -> str:
    """Role by one token; temperature that only says "temperature compensated" is none."""
    role = _words.role_of(tokens[at])
    after = tokens[at + 1].casefold() if at + 1 < len(tokens) else ""
    if role == "temperature" and after.startswith(("comp", "komp")):
        return ""
    if role == "setting" and tokens[at].casefold() in ("op", "cv") and after:
        return ""
    if not role and _words.measurand_of(tokens[at]):
        return "value"
    return "process" if not role and _words.is_process(tokens[at]) else role


def _letters_say(tokens: tuple[str, ...]) -> Named:
    """Role by loop letters before a number, or by a single T or P at the end."""
    for at, token in enumerate(tokens):
        letters = _words.loop_letters(token) if _number_follows(tokens, at) else ""
        if letters == "conductivity":
            return Named(role="value", measurand="conductivity")
        if letters == "analysis":
            return Named(role="value")
        if letters:
            return Named(role=letters, strong=False)
    words = [token for token in tokens if not token.isdigit()]
    if words and words[-1] in ("T", "t") and (len(words) > 1 or len(tokens) <= 2):
        return Named(role="temperature")
    if words and words[-1] in ("P", "p") and len(words) > 1:
        return Named(role="pressure")
    return Named()


def _number_follows(tokens: tuple[str, ...], at: int) -> bool:
    return at + 1 < len(tokens) and tokens[at + 1].isdigit()


def _stems(cut: tuple[tuple[str, ...], ...], role: str) -> tuple[Stem, Stem, str]:
    """Fine stem, coarse stem and loop (the number behind loop letters) of a tag that plays `role`."""
    fine: list[str] = []
    coarse: list[str] = []
    loop = ""
    for tokens in cut:
        for at, token in enumerate(tokens):
            word = token.casefold()
            letters = _words.loop_letters(token) if _number_follows(tokens, at) else ""
            if letters and not _words.measurand_of(token):
                loop = loop or tokens[at + 1]
                if letters != role:
                    fine.append(word)
            elif not _carries_no_identity(tokens, at, role):
                fine.append(word)
                if not _words.measurand_of(token):
                    coarse.append(word)
    return tuple(fine), tuple(coarse), loop


def _carries_no_identity(tokens: tuple[str, ...], at: int, role: str) -> bool:
    word = tokens[at].casefold()
    if word in READING or _words.role_of(tokens[at]) == role:
        return True
    if role in ("hold", "wash", "status", "flag") and word in FLAG_WORDS:
        return True
    single = {"temperature": "t", "pressure": "p"}.get(role, "")
    return word == single and at == max(i for i, t in enumerate(tokens) if not t.isdigit())


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
    if means == ("oxygen_saturation",) and not said.measurand:  # a bare % may be anything
        return ""
    return "value"


def _flag_role(named: Named, described: Named) -> tuple[str, str]:
    for said, source in ((named, "name"), (described, "description")):
        if said.flag:
            return said.flag, f"its {source} says so and it is 0 or 1"
    return "flag", "it is only 0 or 1"
