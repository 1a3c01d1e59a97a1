"""Readings brought together tag by tag, from many portions and files."""
