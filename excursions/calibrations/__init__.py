"""Calibration arithmetic: parameters from raw values, checks of the entry, shifts between calibrations."""
