"""Readings that are missing, or cannot be."""
