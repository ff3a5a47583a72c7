"""Film back, gate, projection and lens."""
