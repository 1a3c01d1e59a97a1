"""Faults of the temperature element."""
