"""The cut of an action as other programs read it."""
