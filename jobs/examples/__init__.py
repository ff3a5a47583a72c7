"""Jobs that come with the package, ready to be solved."""
