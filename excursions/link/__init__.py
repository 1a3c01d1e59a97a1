"""From events to calibration shifts and back, and which readings to doubt since when and by how much."""
