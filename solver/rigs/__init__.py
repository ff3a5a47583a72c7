"""Rigs: what the camera stands or rolls on."""
