"""Readings that change level within samples or minutes."""
