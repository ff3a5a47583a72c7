"""Runs jobs on other machines, and holds the command line of the whole tool."""
