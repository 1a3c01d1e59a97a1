"""What tells a fault of the probe from a change of the process, and how grave it is."""
