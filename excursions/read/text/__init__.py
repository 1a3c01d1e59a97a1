"""Bytes, letters, numbers and words, as every file may write them."""
