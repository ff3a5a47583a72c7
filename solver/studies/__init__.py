"""Studying a camera: what it does, how it was made, what a crew explains."""
