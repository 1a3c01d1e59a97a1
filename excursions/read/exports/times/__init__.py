"""Written times to instants."""
