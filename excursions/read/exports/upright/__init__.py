"""Tables that lie on their side, lean on lines above them, or stand one below the other: set upright."""
