"""Across the cut: what continuity finds, and the choice that minds it."""
