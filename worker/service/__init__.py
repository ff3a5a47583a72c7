"""The HTTP service: takes while the hand is on the mouse, and batches."""
