"""Sine, arctangent, exponential and the like, with the same bits on every processor."""
