"""Imports run one way through the house: a room may use what lies before it, never what comes after."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# From the ground floor up; modules named together may not import each other's later floors either.
FLOORS = (
    ("excursions.errors",),
    ("excursions.clock",),
    ("excursions.digits",),
    ("excursions.once",),
    ("excursions.ranks",),
    ("excursions.runs",),
    ("excursions.ahead",),
    ("excursions.physics",),
    ("excursions.measurands",),
    ("excursions.kinds",),
    ("excursions.handbook",),
    ("excursions.plant",),
    ("excursions.records",),
    ("excursions.conclusions",),
    ("excursions.read.options",),
    ("excursions.read.model",),
    ("excursions.read.text",),
    ("excursions.read.exports.times",),
    ("excursions.read.exports.cells",),
    ("excursions.read.exports.layouts",),
    ("excursions.read.exports.upright",),
    ("excursions.read.exports.files",),
    ("excursions.read.exports.gather",),
    ("excursions.read.exports",),
    ("excursions.read.members",),
    ("excursions.read.logs",),
    ("excursions.read",),
    ("excursions.register",),
    ("excursions.condition",),
    ("excursions.states",),
    ("excursions.detect.series",),
    ("excursions.detect.evidence",),
    (
        "excursions.detect.heat",
        "excursions.detect.gone",
        "excursions.detect.still",
        "excursions.detect.level",
    ),
    ("excursions.detect.noise",),
    ("excursions.detect.slow",),
    ("excursions.detect.element",),
    ("excursions.detect",),
    ("excursions.calibrations",),
    ("excursions.link",),
    ("excursions.report",),
    ("excursions.pipeline",),
    ("excursions.site",),
    ("dashboards",),
    ("excursions.cli",),
    ("excursions.__main__",),
)


def floor_of(module: str) -> int:
    """Highest-numbered floor whose name is a prefix of `module` (the longest prefix wins)."""
    best, length = -1, -1
    for number, names in enumerate(FLOORS):
        for name in names:
            if (module == name or module.startswith(f"{name}.")) and len(name) > length:
                best, length = number, len(name)
    return best


def house_files() -> list[Path]:
    return sorted([*ROOT.glob("excursions/**/*.py"), *ROOT.glob("dashboards/**/*.py")])


def imports_of(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found += [f"{node.module}.{alias.name}" for alias in node.names]
    return [name for name in found if name.split(".")[0] in ("excursions", "dashboards")]


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("path", house_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_room_imports_only_what_lies_before_it(path: Path) -> None:
    module = module_of(path)
    if module == "excursions":
        return  # the public names of every room, loaded on first use
    wrong = [name for name in imports_of(path) if floor_of(name) > floor_of(module)]
    assert not wrong, f"{module} reaches up to {wrong}"


def test_every_module_has_its_floor() -> None:
    homeless = [
        module_of(p) for p in house_files() if module_of(p) != "excursions" and floor_of(module_of(p)) < 0
    ]
    assert not homeless


def test_dashboards_know_nothing_of_files_or_detection() -> None:
    allowed = (
        "excursions.report",
        "excursions.records",
        "excursions.conclusions",
        "excursions.kinds",
        "excursions.handbook",
        "excursions.measurands",
        "excursions.clock",
        "excursions.digits",
        "excursions.ranks",
        "excursions.plant",
        "dashboards",
        "excursions.__version__",
    )
    wrong = {
        (module_of(path), name)
        for path in house_files()
        if module_of(path).startswith("dashboards")
        for name in imports_of(path)
        if not name.startswith(allowed)
    }
    assert not wrong
