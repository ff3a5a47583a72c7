"""Doing one thing many times, in this process or in several."""
