"""For all tests: property-based ones draw the same examples everywhere and are not hurried on a busy machine."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("house")
