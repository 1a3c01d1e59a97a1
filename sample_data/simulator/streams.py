"""Random streams that depend on names alone, so that adding a point changes no other point."""

from __future__ import annotations

import hashlib

import numpy as np


def stream(seed: int, *names: str) -> np.random.Generator:
    """Return the generator that belongs to this seed and these names (point, purpose, ...)."""
    digest = hashlib.blake2b("\x1f".join(names).encode(), digest_size=16).digest()
    words = np.frombuffer(digest, dtype="<u4")
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *map(int, words)])))
