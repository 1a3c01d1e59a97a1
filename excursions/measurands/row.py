"""What the house needs to know of one measured quantity: the columns of the table of measurands.

Every default that is common practice without a source is marked (cp) where it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Readings [low, high] (canonical unit) among which a standard is read while a probe is calibrated."""

    label: str
    low: float
    high: float


def around(label: str, at: float, away: float) -> Window:
    """The window of a standard of this value, wide enough for a worn probe."""
    return Window(label=label, low=at - away, high=at + away)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Standard uncertainties of a calibration (cp).

    What two calibrations have in common (the maker's table of a buffer, the probe's own thermometer) cancels in a
    shift and is left out on purpose; what differs from one bottle, day and hand to the next is in.

    raw : repeatability of the raw signal in its unit (``raw_relative``: share of it)
    reading : repeatability of a reading in the canonical unit (``reading_relative``: share of it)
    standard, standard_relative : bottle to bottle, canonical unit and share
    entered : of a figure that was entered without raw values, by parameter, in the parameter's unit;
        a value for ``cell_constant``, ``gain`` and ``slope`` of other units than % is a share.
    """

    raw: float = 0.0
    raw_relative: float = 0.0
    reading: float = 0.0
    reading_relative: float = 0.0
    standard: float = 0.0
    standard_relative: float = 0.0
    entered: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What one parameter usually does, in its unit, or as a share of its value where `share` is set.

    Every figure is common practice without a source (cp), rounded, and weak on purpose: widths are about as large
    as the values, so that a plant's own record outweighs them after a few calibrations.

    ageing, ageing_spread : change a month, and how much that rate differs from probe to probe
    wander : standard deviation of what else moves it in a month (handling, conditioning); grows with sqrt(time)
    kick : standard deviation of a damage
    """

    ageing: float
    ageing_spread: float
    wander: float
    kick: float
    share: bool = False

    def scale(self, value: float) -> float:
        """Factor from the table's figures to the parameter's unit."""
        return abs(value) if self.share else 1.0


A_SHARE = Expected(
    ageing=-0.005, ageing_spread=0.005, wander=0.01, kick=0.12, share=True
)  # of a gain or span


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """Between which figures a calibration parameter is accepted (NaN: no limit on that side), and whose they are.

    wears_out : whether reaching `low` is the end of the probe's useful life, so that time left can be told
    """

    low: float
    high: float = math.nan
    source: str = "common practice, no source"
    wears_out: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurand:
    """One row of the table.

    Attributes
    ----------
    key, label : str
        Stable key (register, tables) and the words people read.
    unit : str
        Canonical unit; every value inside the house is in it.
    aliases : mapping of unit spelling to (factor, offset)
        canonical = factor * given + offset.
    said : tuple of str
        Everyday words for it that the register understands, lower case.
    tokens, beginnings : tuple of str
        Whole tokens of tag names and descriptions that name it, and beginnings of tokens (compounds, endings);
        folded: no case, no accents.  English, German, French, Spanish and Portuguese (cp).
    shortened : tuple of str
        Words for it that people shorten by leaving out the vowels.
    physical : (low, high)
        Readings outside are impossible in the canonical unit.
    usual : (low, high)
        Where readings normally lie; used to tell measurands apart, never to refuse.
    typical : float
        Where a process may sit when nothing else is known (cp); NaN where it may be anywhere.
    tolerance, tolerance_relative : float
        Reading error that matters: the greater of the absolute and the relative one (cp; the register overrides).
    trace_units, trace_most, trace_below, trace_tolerance : tuple of str, float, float, float
        Spellings of units in which traces are exported, usual reading from which even these hold no traces, usual reading
        below which only traces are measured in any unit (NaN: no such), and the reading error that matters among traces (cp).
    rating_continuous_degc, rating_sterilisation_degc, rating_sterilisation_min : float
        Assumed class defaults (cp); called assumed wherever they show.
    glass : bool
        Whether something of glass can break.
    glass_reads : float
        What the reading goes to when the glass is broken; NaN where that says nothing.
    empty_reads : float
        What it reads when the pipe is empty, exactly; NaN where that says nothing.
    electrode : bool
        Whether the probe is an electrode of high resistance, which no bubble makes spike.
    verified_in : str
        What people verify it in, as it stands in a sentence (cp).
    fouls : int
        Which way dirt moves the reading: -1, 1, or 0 where it may go either way (cp).
    parameters : tuple of str
        Calibration parameters in order of importance.
    family : str
        How it is calibrated: ``electrode``, ``offset``, ``cell`` or ``linear``.
    windows : tuple of Window
        Standards among which it is read while it is calibrated.
    assumed : Assumed
        Uncertainties of its calibration.
    ageing : mapping of parameter to Expected
        What its parameters usually do; a parameter without a row moves like the gain of any probe.
    accepted : mapping of (parameter, unit) to Accepted
        Limits of its parameters.
    gain_share : float
        How often a lasting change of the reading is the gain's, not the zero's (cp).
    classes, classes_percent : four floats or None
        Upper bounds of the USGS rating classes, canonical unit and per cent; the greater counts where both are given.
    """

    key: str
    label: str
    unit: str
    aliases: dict[str, tuple[float, float]] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    tokens: tuple[str, ...] = ()
    beginnings: tuple[str, ...] = ()
    shortened: tuple[str, ...] = ()
    physical: tuple[float, float] = (-math.inf, math.inf)
    usual: tuple[float, float] = (-math.inf, math.inf)
    typical: float = math.nan
    tolerance: float = 0.0
    tolerance_relative: float = 0.0
    trace_units: tuple[str, ...] = ()
    trace_most: float = math.nan
    trace_below: float = math.nan
    trace_tolerance: float = math.nan
    # A probe that is rated for steam carries both figures; one that is not has its sterilisation rating equal to its
    # continuous rating in the register.  All of them are assumed defaults (cp).
    rating_continuous_degc: float = 80.0
    rating_sterilisation_degc: float = 130.0
    rating_sterilisation_min: float = 60.0
    glass: bool = False
    glass_reads: float = math.nan
    empty_reads: float = math.nan
    electrode: bool = False
    verified_in: str = "standards"
    fouls: int = 0
    parameters: tuple[str, ...] = ()
    family: str = "linear"
    windows: tuple[Window, ...] = ()
    assumed: Assumed = field(default_factory=Assumed)
    ageing: dict[str, Expected] = field(default_factory=dict)
    accepted: dict[tuple[str, str], Accepted] = field(default_factory=dict)
    gain_share: float = 0.5
    classes: tuple[float, float, float, float] | None = None
    classes_percent: tuple[float, float, float, float] | None = None
