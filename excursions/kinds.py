"""The one table of event kinds: what each is called, where it shows, and what to do about it.

Detectors name a kind by its key; wording, order and advice on pages, in tables and in the terminal
follow from this table.  ``origin`` says whose doing an event is:

    probe     damage, fouling or failure of the probe, its element or cable
    process   the measured medium really did that
    routine   a normal sterilisation, wash, hold or calibration
    record    the export or the recording, not the plant
    undecided the record cannot tell
"""

from __future__ import annotations

from dataclasses import dataclass

from excursions.measurands import MEASURANDS

ORIGINS = ("probe", "process", "routine", "record", "undecided")
# An undecided event less likely the probe's than this asks nobody to act and leaves the verdict alone (cp).
WORTH_ASKING = 0.4
SEVERITIES = ("note", "check", "act")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of event.

    Attributes
    ----------
    key, label : str
        Stable key and the words people read.
    signal : str
        ``value`` or ``temperature``: the signal it is seen in.
    size : str
        What the figure in ``Event.size`` means.
    advice : str
        What to do next when the origin is the probe.
    caution : str
        Usual caution for that work; local procedures and authorised people decide.
    """

    key: str
    label: str
    signal: str
    size: str
    advice: str
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
            advice="Verify in two buffers or standards before trusting it; compare slope and zero with the last calibration.",
            caution=_STEAM,
        ),
        Kind(
            key="hidden_heat",
            label="heat that may hide",
            signal="temperature",
            size="highest sample or average",
            advice="Ask for a finer export of that stretch; until then the peak is not known.",
            caution=_STEAM,
        ),
        Kind(
            key="thermal_shock",
            label="thermal shock",
            signal="temperature",
            size="fastest temperature change",
            advice="Look for cracks and verify the reading; find out what cooled or heated it so fast.",
            caution=_RETRACT,
        ),
        Kind(
            key="sterilisation",
            label="sterilisation",
            signal="temperature",
            size="highest temperature seen",
            advice="Nothing to do: counted for the life of the probe.",
            caution=_STEAM,
        ),
        Kind(
            key="temperature_fault",
            label="temperature element fault",
            signal="temperature",
            size="jump of the temperature reading",
            advice="Compare with a reference thermometer; check cable and element. The compensated reading is wrong meanwhile.",
            caution=_RETRACT,
        ),
        Kind(
            key="stuck",
            label="stuck reading",
            signal="value",
            size="level it is stuck at",
            advice="Look at the probe and its input: move it in a standard or in air. If the reading does not follow, replace it.",
            caution=_RETRACT,
        ),
        Kind(
            key="pinned",
            label="pinned at the end of the range",
            signal="value",
            size="level it is pinned at",
            advice="Compare with a sample; check the range of the transmitter and its output.",
            caution=_RETRACT,
        ),
        Kind(
            key="noise_growth",
            label="noise growth",
            signal="value",
            size="noise now over noise before",
            advice="Check cable, connector and grounding; clean the probe and look at the junction or membrane.",
            caution=_RETRACT,
        ),
        Kind(
            key="noise_collapse",
            label="noise collapse",
            signal="value",
            size="noise now over noise before",
            advice="Clean the probe and look for a coating; compare with a sample before and after.",
            caution=_RETRACT,
        ),
        Kind(
            key="periodic",
            label="periodic disturbance",
            signal="value",
            size="amplitude",
            advice="Look for what runs with this period: pump, valve, mains, control loop.",
            caution=_RETRACT,
        ),
        Kind(
            key="step",
            label="step",
            signal="value",
            size="size of the step",
            advice="Verify with a sample or standard; correct by the size of the step only after that.",
            caution=_RETRACT,
        ),
        Kind(
            key="drift",
            label="drift",
            signal="value",
            size="change over the event",
            advice="Verify, then clean and verify again: what cleaning restores was fouling.",
            caution=_RETRACT,
        ),
        Kind(
            key="fouling",
            label="fouling",
            signal="value",
            size="change from clean to dirty",
            advice="Clean more often or with another agent; verify after cleaning.",
            caution="Caustic, acid and hot cleaning agents: protective equipment and local procedures.",
        ),
        Kind(
            key="slow_response",
            label="slower response",
            signal="value",
            size="time constant now over before",
            advice="Clean and test the response in two buffers or standards.",
            caution=_RETRACT,
        ),
        Kind(
            key="dropout",
            label="dropout",
            signal="value",
            size="time without data",
            advice="Check cable, supply and the interface to the historian.",
            caution="",
        ),
        Kind(
            key="bad_quality",
            label="bad quality",
            signal="value",
            size="time marked bad",
            advice="Read the transmitter's messages on the spot.",
            caution="",
        ),
        Kind(
            key="spikes",
            label="spikes",
            signal="value",
            size="largest spike",
            advice="Look for bubbles, loose connectors and moisture in the plug.",
            caution=_RETRACT,
        ),
        Kind(
            key="out_of_range",
            label="outside the possible range",
            signal="value",
            size="reading furthest out",
            advice="Check wiring, scaling and the probe: this reading is impossible.",
            caution=_RETRACT,
        ),
        Kind(
            key="bridged",
            label="bridged stretch",
            signal="value",
            size="time bridged",
            advice="Treat it as missing data; ask for an export that does not interpolate.",
            caution="",
        ),
    )
}

GLASS_KINDS = ("stuck", "thermal_shock", "over_temperature")


def caution_for(kind: str, measurand: str) -> str:
    """The usual cautions for looking into an event of this kind on a probe of this measurand."""
    words = KINDS[kind].caution
    if kind in GLASS_KINDS and MEASURANDS[measurand].glass:
        words = f"{words} {_GLASS}".strip()
    return words
