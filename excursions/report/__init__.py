"""Findings as plain objects and tables; no markup, no figures, no files of the user."""
