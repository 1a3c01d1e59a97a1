"""What detectors search with: statistics of one series of samples."""
