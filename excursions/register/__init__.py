"""The plant register: read, checked as a whole, inferred where it is silent, written back with comments."""
