"""Who moves: bodies, and the action as it was rehearsed or is seen at a cut."""
