"""The plant register: read, checked as a whole, inferred where it is silent, written back with comments.

In: a TOML file, or the tag series of an export.  Out: a :class:`Plant`, and every inference as a decision.
Promises: all faults of a register at once, each with line and nearest right word; the same export gives
the same plant.  Never: reads data files, pairs two loops on weak evidence, hides what it assumed.
"""

from excursions.register._infer import infer_plant
from excursions.register._load import RegisterReading, load_register
from excursions.register._look import Look, Usual, look_of, looks_of, usual_levels
from excursions.register._problems import RegisterProblems
from excursions.register._write import write_register

__all__ = [
    "Look",
    "RegisterProblems",
    "RegisterReading",
    "Usual",
    "infer_plant",
    "load_register",
    "look_of",
    "looks_of",
    "usual_levels",
    "write_register",
]
