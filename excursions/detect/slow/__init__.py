"""Readings that walk away over days, and answers that grow slow."""
