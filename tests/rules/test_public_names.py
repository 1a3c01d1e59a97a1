"""The public list is sorted, complete and loads."""

from __future__ import annotations

import excursions


def test_public_names_are_sorted_and_load() -> None:
    assert list(excursions.__all__) == sorted(excursions.__all__)
    for name in excursions.__all__:
        assert getattr(excursions, name) is not None
