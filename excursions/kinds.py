"""The one table of event kinds: what each is called, how it is told, and what the rooms do with it.

Detectors name a kind by its key; wording, order, advice, the chance that it changed the probe for good and its place
on the pages follow from this table.  A kind that states no traits is told, listed and linked to nothing.
``origin`` says whose doing an event is:

    probe     damage, fouling or failure of the probe, its element or cable
    process   the measured medium really did that
    routine   a normal sterilisation, wash, hold or calibration
    record    the export or the recording, not the plant
    undecided the record cannot tell
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from excursions.measurands import MEASURANDS

ORIGINS = ("probe", "process", "routine", "record", "undecided")
# An undecided event less likely the probe's than this asks nobody to act and leaves the verdict alone (cp).
WORTH_ASKING = 0.4
SEVERITIES = ("note", "check", "act")

Trait = Literal[
    "heat",  # exposes the probe to heat
    "may be heat",  # may have exposed it, which the export cannot tell: told beside heat, held against nothing
    "moves",  # its size is a change of the reading, up or down
    "gradual",  # grows over its whole length, and goes on after a calibration inside it
    "walks",  # a slow change of the reading or of its response: stillness at the same time explains it
    "slow to see",  # the drawing of how it began must reach far back
    "follows heat",  # may be what heat did, when it begins soon after
    "held against heat",  # a change of the reading or its noise worth naming beside an exposure
    "damages",  # changes a probe otherwise than by heat, so that the shift after it teaches nothing of heat
    "doubts",  # readings after it are in doubt until somebody calibrates
    "unusable",  # readings meanwhile are no readings
    "dead",  # the reading does not follow the process
    "ends",  # once over, the readings after it are as good as before
    "untouched",  # leaves the parameters alone: a calibration that finds nothing does not refute it
    "washes off",  # cleaning may put it right
    "export",  # may be made by the recording or the export
    "glass",  # broken glass may be its cause or its consequence
]
Family = Literal["heat", "still", "moved", "noise", "missing", "other"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of event.

    Attributes
    ----------
    key, label : str
        Stable key and the words people read; `short` where the label has no room.
    signal : str
        ``value`` or ``temperature``: the signal it is seen in.
    size : str
        What the figure in ``Event.size`` means.
    said : str
        How its figures follow the label in a sentence: {size}, {change} (signed, with its uncertainty), {ratio},
        {when}, {lasting}, {bound} (upper end of its interval), {still} (how long, or still so at the end), {above} (minutes above the rating).
    stood : str
        The same for one whose details say at which {level} the signal stood, where a size would say nothing.
    again : str
        The same for one that plays back what the signal did {earlier} before.
    advice : str
        What to do next when the origin is the probe.
    family : str
        What it belongs to on a calendar.
    traits : tuple of Trait
        What the rooms do with it.
    lasting : float
        How often it changes the parameters for good when it is the probe's, 0 to 1 (cp).
    caution : str
        Usual caution for that work; local procedures and authorised people decide.
    """

    key: str
    label: str
    size: str
    advice: str
    said: str = "of {size} on {when}"
    stood: str = ""
    again: str = ""
    short: str = ""
    signal: str = "value"
    family: Family = "other"
    traits: tuple[Trait, ...] = ()
    lasting: float = 0.0
    caution: str = ""


_STEAM = "Steam, pressure and hot surfaces: isolate, vent and cool down before touching the fitting."
_RETRACT = "Retract or remove a probe only when the line is isolated, drained and depressurised, or with a fitting made for it."
_GLASS = (
    "Broken glass may be in the product and in the fitting: wear gloves and eye protection and tell quality."
)

KINDS: dict[str, Kind] = {
    k.key: k
    for k in (
        Kind(
            key="over_temperature",
            label="over-temperature",
            signal="temperature",
            size="highest temperature seen",
            said="to {size} on {when}{above}",
            family="heat",
            traits=("heat", "doubts", "glass"),
            lasting=0.5,
            advice="Verify in {standards} before trusting it; {compare}.",
            caution=_STEAM,
        ),
        Kind(
            key="hidden_heat",
            label="heat that may hide",
            signal="temperature",
            size="highest sample or average",
            said="behind {size} on {when}: between samples up to about {bound}",
            family="heat",
            traits=("may be heat", "ends"),
            advice="Ask for a finer export of that stretch; until then the peak is not known.",
            caution=_STEAM,
        ),
        Kind(
            key="thermal_shock",
            label="thermal shock",
            signal="temperature",
            size="fastest temperature change",
            family="heat",
            traits=("heat", "doubts", "ends", "glass"),
            lasting=0.3,
            advice="Look for cracks and verify the reading; find out what cooled or heated it so fast.",
            caution=_RETRACT,
        ),
        Kind(
            key="sterilisation",
            label="sterilisation",
            signal="temperature",
            size="highest temperature seen",
            said="to {size} on {when}{above}",
            family="heat",
            traits=("heat",),
            lasting=0.003,
            advice="Nothing to do: counted for the life of the probe.",
            caution=_STEAM,
        ),
        Kind(
            key="temperature_fault",
            label="temperature element fault",
            signal="temperature",
            size="jump of the temperature reading",
            said="of {size} from {when}{still}",
            stood=", standing at {level} from {when}{still}",
            short="temperature fault",
            family="heat",
            traits=("ends", "untouched"),
            lasting=0.05,
            advice="Compare with a reference thermometer; check cable and element. The compensated reading is wrong meanwhile.",
            caution=_RETRACT,
        ),
        Kind(
            key="stuck",
            label="stuck reading",
            size="level it is stuck at",
            said="at {size} from {when}{still}",
            again=", the values of {earlier} before over again, from {when}{still}",
            family="still",
            traits=("dead", "unusable", "ends", "untouched", "damages", "held against heat", "glass"),
            lasting=0.2,
            advice="Look at the probe and its input: move it in a standard or in air. If the reading does not follow, replace it.",
            caution=_RETRACT,
        ),
        Kind(
            key="pinned",
            label="pinned at the end of the range",
            size="level it is pinned at",
            short="pinned at range end",
            said="at {size} from {when}{still}",
            family="still",
            traits=("dead", "unusable", "ends", "untouched"),
            lasting=0.05,
            advice="Compare with a sample; check the range of the transmitter and its output. Replace the probe if it does not follow a standard.",
            caution=_RETRACT,
        ),
        Kind(
            key="noise_growth",
            label="noise growth",
            size="noise now over noise before",
            said="to {ratio} times the usual, from {when}",
            family="noise",
            traits=("slow to see", "follows heat", "held against heat", "ends"),
            lasting=0.15,
            advice="Check cable, connector and grounding; clean the probe and look at the junction or membrane.",
            caution=_RETRACT,
        ),
        Kind(
            key="noise_collapse",
            label="noise collapse",
            size="noise now over noise before",
            said="to {ratio} times the usual, from {when}",
            family="noise",
            traits=("slow to see", "held against heat", "ends", "washes off"),
            lasting=0.15,
            advice="Clean the probe and look for a coating; compare with a sample before and after.",
            caution=_RETRACT,
        ),
        Kind(
            key="periodic",
            label="periodic disturbance",
            size="amplitude",
            family="noise",
            traits=("held against heat", "ends", "untouched"),
            lasting=0.02,
            advice="Look for what runs with this period: pump, valve, mains, control loop.",
            caution=_RETRACT,
        ),
        Kind(
            key="switching",
            label="switched offset",
            size="size of the offset",
            said="of {size} from {when}",
            family="noise",
            traits=("held against heat", "ends", "untouched"),
            lasting=0.02,
            advice="Look for what switches at these moments: pump, valve, heater. Check the grounding of medium, probe and cable.",
            caution=_RETRACT,
        ),
        Kind(
            key="step",
            label="step",
            size="size of the step",
            said="of {change} on {when}",
            family="moved",
            traits=("moves", "follows heat", "held against heat", "damages", "doubts"),
            lasting=0.85,
            advice="Verify with a sample or standard; correct by the size of the step only after that.",
            caution=_RETRACT,
        ),
        Kind(
            key="slow_return",
            label="slow return from steam",
            size="how far off the reading stands after each steaming",
            said=", {change} off for hours each time, from {when}",
            family="moved",
            traits=("slow to see", "follows heat", "held against heat", "ends"),
            lasting=0.2,
            advice="Look for moisture in plug and cable, and at what the steam reaches of it: window, membrane, junction or filling, as it has them; trust it only once it has settled.",
            caution=_STEAM,
        ),
        Kind(
            key="drift",
            label="drift",
            size="change over the event",
            said="of {change} from {when} over {lasting}",
            family="moved",
            traits=(
                "moves",
                "gradual",
                "walks",
                "slow to see",
                "follows heat",
                "held against heat",
                "damages",
                "doubts",
                "washes off",
            ),
            lasting=0.8,
            advice="Verify, then clean and verify again: what cleaning restores was fouling.",
            caution=_RETRACT,
        ),
        Kind(
            key="fouling",
            label="fouling",
            size="change from clean to dirty",
            said="of {change} from {when} over {lasting}",
            family="moved",
            traits=(
                "moves",
                "gradual",
                "walks",
                "slow to see",
                "follows heat",
                "damages",
                "doubts",
                "washes off",
            ),
            lasting=0.5,
            advice="Clean more often or with another agent; verify after cleaning.",
            caution="Caustic, acid and hot cleaning agents: protective equipment and local procedures.",
        ),
        Kind(
            key="slow_response",
            label="slower response",
            size="time constant now over before",
            said=", {ratio} times as slow as before, from {when}",
            family="moved",
            traits=("walks", "slow to see", "follows heat", "held against heat", "washes off"),
            lasting=0.2,
            advice="Clean it, then test how fast it follows in {standards}.",
            caution=_RETRACT,
        ),
        Kind(
            key="dropout",
            label="dropout",
            size="time without data",
            said="from {when}, {lasting}",
            family="missing",
            traits=("unusable", "ends", "untouched", "export"),
            lasting=0.02,
            advice="Check cable, supply and the interface to the historian.",
        ),
        Kind(
            key="bad_quality",
            label="bad quality",
            size="time marked bad",
            said="from {when}, {lasting}",
            family="missing",
            traits=("unusable", "ends", "untouched", "export"),
            lasting=0.02,
            advice="Read the transmitter's messages on the spot.",
        ),
        Kind(
            key="spikes",
            label="spikes",
            size="largest spike",
            family="noise",
            traits=("ends", "untouched"),
            lasting=0.03,
            advice="Look for bubbles, loose connectors and moisture in the plug.",
            caution=_RETRACT,
        ),
        Kind(
            key="out_of_range",
            label="outside the possible range",
            size="reading furthest out",
            said="at {size} on {when}",
            short="impossible reading",
            family="still",
            traits=("dead", "unusable", "ends", "untouched", "held against heat"),
            lasting=0.05,
            advice="Check wiring, scaling and the probe: this reading is impossible. Replace the probe if it does not follow a standard.",
            caution=_RETRACT,
        ),
        Kind(
            key="bridged",
            label="bridged stretch",
            size="time bridged",
            said="from {when}, {lasting}",
            family="missing",
            traits=("untouched", "export"),
            advice="Treat it as missing data; ask for an export that does not interpolate.",
        ),
    )
}


def having(trait: Trait) -> tuple[str, ...]:
    """Keys of the kinds with this trait, in the order of the table; ``ValueError`` for a trait that does not exist."""
    if trait not in get_args(Trait):
        raise ValueError(f"no trait {trait!r}: {', '.join(get_args(Trait))}")
    return tuple(kind.key for kind in KINDS.values() if trait in kind.traits)


MOVES = having("moves")  # their size is a change of the reading, also where the reading is a temperature
HEAT_KINDS = having("heat")
TOLD_AS_HEAT = (*HEAT_KINDS, *having("may be heat"))
GRADUAL = having("gradual")
DOUBTED = having("doubts")
UNUSABLE = having("unusable")
DEAD = having("dead")
WALKS = having("walks")
_MAY_BREAK = having("glass")


def advice_for(kind: str, measurand: str, *, calibrated: bool = True) -> str:
    """What to do about an event of this kind, when the origin is the probe, with what this measurand is verified in.

    calibrated : whether there is a calibration to compare with
    """
    compare = (
        "compare the result with the last calibration"
        if calibrated
        else "note the result, for no calibration was given to compare it with"
    )
    return KINDS[kind].advice.format(standards=MEASURANDS[measurand].verified_in, compare=compare)


def caution_for(kind: str, measurand: str) -> str:
    """The usual cautions for looking into an event of this kind on a probe of this measurand."""
    words = KINDS[kind].caution
    if kind in _MAY_BREAK and MEASURANDS[measurand].glass:
        words = f"{words} {_GLASS}".strip()
    return words
