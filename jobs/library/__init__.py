"""The package as a library: jobs as Python values, results as tables."""
