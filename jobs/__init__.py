"""Reads jobs, solves them on this machine, and writes and reviews the takes."""
