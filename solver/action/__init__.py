"""Who moves, what is asked of the frame, and the action as it was rehearsed."""
