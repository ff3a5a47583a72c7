"""Computes how the cameras of a sequence move: arrays in, arrays out."""
