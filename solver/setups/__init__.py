"""Choosing a setup: proposals, trials, the judge, the search, the stage."""
