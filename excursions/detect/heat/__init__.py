"""Heat on the probe."""
