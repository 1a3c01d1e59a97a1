"""The one place that calls the rooms in order: read -> register -> points -> calibrations -> link -> report."""
