"""For all tests: marks by folder, and property-based ones that draw the same examples everywhere, in no hurry.

Plain ``pytest`` runs what is quick (``addopts`` in pyproject.toml); ``pytest -m ""`` runs everything.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("house")

# Commands under test start hundreds of times: what one of them compiled, the next need not compile again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

FOLDERS = ("unit", "rules", "reference", "end_to_end", "browser")
HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: Iterable[pytest.Item]) -> None:
    """Mark each test by the folder it stands in."""
    for item in items:
        folder = item.path.relative_to(HERE).parts[0]
        if folder in FOLDERS:
            item.add_marker(folder)
