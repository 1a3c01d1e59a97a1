"""Calibration logs and lists of laboratory samples."""
