"""Measurements, kept apart from the tests: each prints ratios to a floor measured in the same run."""
