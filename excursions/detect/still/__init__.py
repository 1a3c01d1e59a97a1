"""Readings that keep still."""
