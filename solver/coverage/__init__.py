"""Several cameras on one action: chosen together, unseen by one another, and cut."""
