"""Readings that grow restless, calm or periodic."""
